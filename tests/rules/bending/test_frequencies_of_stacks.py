"""Bending frequencies of stacks, compared with beams built by hand and with a finite-element library.

Shear, rotary inertia and assumed springs are left out here; test_joints_of_stacks.py adds them.
"""

from __future__ import annotations

import importlib
import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rules.bending.beam import Segment, Spring
from rules.bending.frequencies import bending_frequencies
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from tests.support.stacks import (
    CARBIDE_GPA,
    CARBIDE_KG_M3,
    STEEL_GPA,
    STEEL_KG_M3,
    derived_of,
    holder_and_cutter,
    known,
    one_rod,
    ring_kg_per_mm,
    ring_mm4,
    slender_and_rigid,
)

STEEL, CARBIDE = STEEL_GPA * 1e3, CARBIDE_GPA * 1e3
"""N/mm²."""


@pytest.fixture(autouse=True)
def _slender_and_rigid(monkeypatch: pytest.MonkeyPatch) -> None:
    slender_and_rigid(monkeypatch)


def _frequencies(request: dict[str, Any]) -> tuple[float, ...]:
    found = derived_of(request).stiffness.frequencies_hz
    assert not isinstance(found, Missing), found
    return tuple(one.typical for one in found)


def _lack(request: dict[str, Any]) -> set[str]:
    found = derived_of(request).stiffness.frequencies_hz
    assert isinstance(found, Missing)
    return set(found.fields)


def test_uniform_rod() -> None:
    """First principles: 1.8751²/(2π)·√(EI/ρA)/L² = 1005.0 Hz of ⌀20 × 120 mm of steel; four elements, 0.01 % high."""
    exact = 1.8751040687**2 / (2 * math.pi) * math.sqrt(STEEL * 1e6 / 7850) * 20e-3 / 4 / 0.12**2
    assert exact == pytest.approx(1005.0, abs=0.05)
    assert _frequencies(one_rod({"length_mm": 120, "outer_mm": 20}))[0] == pytest.approx(exact, rel=1e-4)


def _pieces(cutter_density: float = CARBIDE_KG_M3) -> list[Segment]:
    """Return holder, overlap and cutter of the stack of `holder_and_cutter`."""
    holder, shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    of_holder = ring_kg_per_mm(40, 12, STEEL_KG_M3)
    of_shank = ring_kg_per_mm(12, 0, cutter_density)
    return [
        Segment(30, holder, of_holder),
        Segment(30, holder + shank, of_holder + of_shank),
        Segment(50, shank, of_shank),
    ]


def test_overlap_bends_and_weighs_together() -> None:
    """First principles: stiffness and mass of holder and shank add up over the grip."""
    assert _frequencies(holder_and_cutter()) == pytest.approx(bending_frequencies(_pieces()), rel=1e-12)


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_stated_mass_of_an_inserted_part_scales_its_density(factor: float) -> None:
    """First principles: a cutter of twice its outline's mass swings as one of twice the density."""
    request = holder_and_cutter()
    request["stack"]["components"][1]["mass_kg"] = factor * 80 * ring_kg_per_mm(12, 0, CARBIDE_KG_M3)
    by_hand = bending_frequencies(_pieces(factor * CARBIDE_KG_M3))
    assert _frequencies(request) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("mass_kg", [0.6, 1.4, 9.0])
def test_mass_of_the_holder_is_mostly_behind_the_line(mass_kg: float) -> None:
    """What is stated for a base holder includes its taper, which does not swing."""
    request = holder_and_cutter()
    before = _frequencies(request)
    request["stack"]["components"][0]["mass_kg"] = mass_kg
    assert _frequencies(request) == before


def test_own_density_wins_over_the_table() -> None:
    """First principles: f goes with 1/√ρ."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20})
    heavy = one_rod({"length_mm": 120, "outer_mm": 20}, density_kg_m3=2 * STEEL_KG_M3)
    assert _frequencies(heavy) == pytest.approx([f / math.sqrt(2) for f in _frequencies(rod)], rel=1e-12)


def test_collet_swings_along() -> None:
    """First principles: 0.17 kg spread evenly over the collet's 40 mm, without stiffness."""
    narrow, shank = STEEL * ring_mm4(50, 28), CARBIDE * ring_mm4(12)
    of_narrow, of_shank = ring_kg_per_mm(50, 28, STEEL_KG_M3), ring_kg_per_mm(12, 0, CARBIDE_KG_M3)
    beam = [
        Segment(26, STEEL * ring_mm4(63), ring_kg_per_mm(63, 0, STEEL_KG_M3)),
        Segment(14, narrow, of_narrow),
        Segment(40, narrow + shank, of_narrow + of_shank + 0.17 / 40),
        Segment(17, shank, of_shank),
        # flutes bend like a rod of 0.8 of the diameter; their mass is the outline's
        Segment(26, shank * 0.8**4, of_shank),
    ]
    assert _frequencies(base_request("nut_collet")) == pytest.approx(bending_frequencies(beam), rel=1e-12)


def test_collet_that_stands_out() -> None:
    """First principles: the collet's mass lies where the collet does, 10 mm further out."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["face_projection_mm"] = 10
    narrow, shank = STEEL * ring_mm4(50, 28), CARBIDE * ring_mm4(12)
    of_narrow, of_shank = ring_kg_per_mm(50, 28, STEEL_KG_M3), ring_kg_per_mm(12, 0, CARBIDE_KG_M3)
    beam = [
        Segment(26, STEEL * ring_mm4(63), ring_kg_per_mm(63, 0, STEEL_KG_M3)),
        Segment(24, narrow, of_narrow),
        Segment(30, narrow + shank, of_narrow + of_shank + 0.17 / 40),
        Segment(10, shank, of_shank + 0.17 / 40),
        Segment(17, shank, of_shank),
        Segment(26, shank * 0.8**4, of_shank),
    ]
    assert _frequencies(request) == pytest.approx(bending_frequencies(beam), rel=1e-12)


def test_springs_of_spindle_and_joint() -> None:
    """First principles: the same beam on the same springs, N/µm being 10³ N/mm and N·m/mrad 10⁶ N·mm/rad."""
    request = holder_and_cutter()
    request["machine"] = {
        "kind": "stated",
        "spindle_radial_stiffness_n_per_um": 80,
        "spindle_tilting_stiffness_n_m_per_mrad": 60,
    }
    request["stack"]["joints"][0] |= {"radial_stiffness_n_per_um": 40, "tilting_stiffness_n_m_per_mrad": 12}
    springs = [Spring(0.0, 80e3, 60e6), Spring(60.0, 40e3, 12e6)]
    assert _frequencies(request) == pytest.approx(bending_frequencies(_pieces(), springs), rel=1e-12)


# What is lacking


def test_bending_needs_no_masses() -> None:
    """Without the density of the cutter it still bends; only its frequency is lacking, and its material asked for."""
    request = holder_and_cutter()
    del request["stack"]["components"][1]["material"]
    request["stack"]["components"][1]["youngs_modulus_gpa"] = 600
    assert not isinstance(derived_of(request).stiffness.bending, Missing)
    assert _lack(request) == {"/stack/components/1/material"}


def test_mass_of_a_collet_is_asked_for() -> None:
    """A collet without mass leaves the frequency open, not the bending."""
    request = base_request("nut_collet")
    del request["stack"]["components"][1]["mass_kg"]
    assert not isinstance(derived_of(request).stiffness.bending, Missing)
    assert _lack(request) == {"/stack/components/1/mass_kg"}


def test_place_of_a_collet_is_asked_for() -> None:
    """A collet whose length is not stated has no place for its mass: leaving it out would overstate the frequency."""
    request = base_request("nut_collet")
    del request["stack"]["components"][1]["workpiece_side"]["length_mm"]
    assert _lack(request) == {"/stack/components/1/workpiece_side/length_mm"}


# Another program

DEMO = Path(__file__).parents[3] / "demo_data" / "stacks" / "18-slender-reach-at-speed.json"
ENDS = (0.0, 26.0, 31.0, 32.0, 50.0, 80.0, 212.0, 216.0, 252.0, 260.0, 279.0)
"""mm: the holder to 80, the extension from 32 to 252, the end mill from 216 to 279, its flutes from 260."""


def _demo_section(z: float) -> tuple[float, float]:
    """Return E·I (N·mm²) and mass per length (kg/mm) of the demo stack, read off its request by eye."""
    bends = weighs = 0.0
    if z < 80:
        outer, bore = (63, 12) if z < 26 else (50, 12) if z < 31 else (50, 16) if z < 50 else (38, 16)
        bends += STEEL * ring_mm4(outer, bore)
        weighs += ring_kg_per_mm(outer, bore, STEEL_KG_M3)
    if 32 < z < 252:
        bore = 5 if z < 212 else 8
        bends += STEEL * ring_mm4(16, bore)
        weighs += ring_kg_per_mm(16, bore, STEEL_KG_M3)
    if z > 216:
        bends += CARBIDE * ring_mm4(8 if z < 260 else 6.4, 1.2)
        weighs += 0.041 / 63
    return bends, weighs


def test_demo_stack_against_finite_elements() -> None:
    """Literature: scikit-fem 12, Hermite line element, on a beam read off the request by eye; 0.5 mm elements."""
    fem: Any = importlib.import_module("skfem")
    helpers: Any = importlib.import_module("skfem.helpers")
    linear: Any = importlib.import_module("scipy.linalg")
    nodes = np.concatenate([[0.0], *(np.linspace(a, b, round(2 * (b - a)) + 1)[1:] for a, b in pairwise(ENDS))])
    basis = fem.Basis(fem.MeshLine(nodes), fem.ElementLineHermite())
    sections = np.array([_demo_section((a + b) / 2) for a, b in pairwise(nodes)])
    bends, weighs = sections[:, 0][:, None], sections[:, 1][:, None]
    stiffness = fem.BilinearForm(lambda u, v, _: bends * helpers.dd(u)[0][0] * helpers.dd(v)[0][0]).assemble(basis)
    mass = fem.BilinearForm(lambda u, v, _: weighs * u * v).assemble(basis)
    order = basis.nodal_dofs.T.reshape(-1)[2:]
    grid = np.ix_(order, order)
    stiff, heavy = stiffness.toarray()[grid], mass.toarray()[grid]
    scale = 1.0 / np.sqrt(np.diag(stiff))
    stiff, heavy = (scale[:, None] * matrix * scale for matrix in (stiff, heavy))
    force = np.zeros(len(stiff))
    force[-2] = scale[-2]
    compliance = float(force @ np.linalg.solve(stiff, force))
    largest = linear.eigh(heavy, stiff, eigvals_only=True)[:-4:-1]
    hertz = [math.sqrt(1000.0 / value) / (2 * math.pi) for value in largest]

    derived = derived_of(json.loads(DEMO.read_text(encoding="utf-8")))
    bending = derived.stiffness.bending
    assert not isinstance(bending, Missing)
    assert not isinstance(derived.stiffness.frequencies_hz, Missing)
    assert bending.compliance_um_per_n.typical == pytest.approx(compliance * 1e3, rel=1e-6)
    found = [one.typical for one in derived.stiffness.frequencies_hz]
    assert found[0] == pytest.approx(hertz[0], rel=2e-4)
    assert found[1:] == pytest.approx(hertz[1:], rel=1e-2)


def test_deflection_of_the_demo_stack() -> None:
    """First principles: 15 N at its tip bend it by what the unit-load integral over its pieces says."""
    derived = derived_of(json.loads(DEMO.read_text(encoding="utf-8")))
    compliance = sum(((279 - a) ** 3 - (279 - b) ** 3) / (3 * _demo_section((a + b) / 2)[0]) for a, b in pairwise(ENDS))
    assert known(derived.stiffness.deflection_um).typical == pytest.approx(15e3 * compliance, rel=1e-9)


def test_teeth_pass_as_often_as_they_are_many() -> None:
    """First principles: 6000/min are 100 turns a second, and four teeth pass in each."""
    request = base_request("nut_collet")
    request["machine"]["spindle_tilting_stiffness_n_m_per_mrad"] = 2000
    of = next(fact.known for fact in derived_of(request).facts if fact.kind == "operation")
    assert of["spindle_frequency_hz"] == pytest.approx(100.0)
    assert of["tooth_passing_hz"] == pytest.approx(400.0)
    assert of["tooth_passing_to_critical"] == pytest.approx(24_000 / of["critical_speed_rpm"])
    assert of["bending_frequency_hz"] == pytest.approx(of["critical_speed_rpm"] / 60)
