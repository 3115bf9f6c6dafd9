"""The unbalance of a stack: residuals and eccentric masses."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.balance.analysis import UnbalanceSum, unbalance_question, unbalance_sum
from rules.quantities.missing import Missing
from rules.random_vectors.random_sum import RandomClocking
from rules.rulebook.loader import base_request
from rules.runout.analysis import Vector
from rules.schema.parsing import parse_request
from tests.support.operations import change
from tests.support.stacks import analysis_of, codes, derived_of, known, report_of


def _sum(vectors: list[Vector]) -> UnbalanceSum:
    question = unbalance_question(vectors)
    return unbalance_sum(vectors, question, RandomClocking.figures_of([question])[0])


def test_two_equal_residuals() -> None:
    """First principles: |R| of two unit vectors is 2·|cos(θ/2)|; its 95 % point is 2·cos(π/40)."""
    two = [Vector(1.0, "measured", None), Vector(1.0, "measured", None)]
    assert _sum(two).p95 == pytest.approx(2 * math.cos(math.pi / 40), abs=1e-5)
    assert _sum(two).worst == 2.0


def test_capability_contributors_have_no_worst_case() -> None:
    """A plane Gaussian that keeps 2 g·mm in 95 % of parts has its 95 % point there, and no hard end."""
    found = _sum([Vector(2.0, "capability", None)])
    assert found.p95 == pytest.approx(2.0, rel=1e-6)
    assert found.worst is None


def test_eccentric_mass_of_a_single_joint() -> None:
    """First principles: 0.5 kg set off by a(z) bring 0.5·a(z) g·mm, here with nothing else."""
    request = base_request("shell_mill")
    holder, cutter = request["stack"]["components"]
    holder["unbalance_g_mm"] = cutter["unbalance_g_mm"] = 0
    cutter["mass_kg"] = 0.5
    derived = analysis_of(parse_request(request))
    assert not isinstance(derived.balance.unbalance, Missing)
    # the holder reads 4 µm at its face and 5 µm at 40 mm, the cutter's centre of mass lies 20 mm out
    assert derived.balance.unbalance.worst == pytest.approx(0.5 * 4.5 / 2, rel=1e-9)
    # anywhere up to that: 95 % within √0.95 of it
    assert derived.balance.unbalance.p95 == pytest.approx(0.5 * 4.5 / 2 * math.sqrt(0.95), rel=1e-9)
    # and 70 mm from the gauge line
    assert not isinstance(derived.balance.couple, Missing)
    assert derived.balance.couple.worst == pytest.approx(0.5 * 4.5 / 2 * 70, rel=1e-9)
    assert derived.balance.couple.rms == pytest.approx(0.5 * 4.5 / 2 * 70 * math.sqrt(0.5), rel=1e-9)


def test_a_residual_and_eccentric_masses_up_to_their_limits() -> None:
    """First principles: 3 g·mm measured, 0.75 and 2.1 g·mm at most; 400,000 draws and quadrature give 4.9019."""
    vectors = [Vector(3.0, "measured", None), Vector(0.75, "limit", None), Vector(2.1, "limit", None)]
    found = _sum(vectors)
    assert found.p95 == pytest.approx(4.9019, abs=1e-4)
    assert found.worst == pytest.approx(5.85)
    at_limits = [vector._replace(law="measured") for vector in vectors]
    assert _sum(at_limits).p95 == pytest.approx(5.5742, abs=1e-4)


def test_gauge_pin_is_not_run() -> None:
    """A stack with a gauge pin is read, so no speed is judged on it."""
    request = base_request("nut_collet")
    cutter = request["stack"]["components"][2]
    request["stack"]["components"][2] = {
        key: cutter[key] for key in ("id", "machine_side", "profile", "material", "unbalance_g_mm", "runout")
    } | {"kind": "gauge_pin"}
    assert analysis_of(parse_request(request)).balance.highest_speed_rpm is None


def test_missing_masses_are_named() -> None:
    """The holder's mass cannot follow from an outline that starts at the gauge line."""
    request = base_request("press_in")
    del request["stack"]["components"][0]["mass_kg"]
    balance = analysis_of(parse_request(request)).balance
    assert isinstance(balance.highest_speed_rpm, Missing)
    assert "/stack/components/0/mass_kg" in balance.highest_speed_rpm.fields


def test_two_planes_stand_for_resultant_and_couple() -> None:
    """First principles: alone, an unbalance at 20 of 80 mm has three quarters in the first plane, a quarter beyond."""
    request = base_request("shrink")
    holder, cutter = request["stack"]["components"]
    for part in (holder, cutter):
        part |= {"unbalance_g_mm": 0, "runout": {"statements": [{"tir_um": 0, "at_mm": 10}]}}
    holder |= {"unbalance_g_mm": 4, "centre_of_mass_mm": 20}
    face = known(derived_of(request).geometry.last_clamping_face)
    planes = report_of(request).balance.planes
    assert [one.from_gauge_line_mm for one in planes] == [0, face]
    by_hand = [4 * (1 - 20 / face), 4 * 20 / face]
    assert [one.unbalance_p95_g_mm for one in planes] == pytest.approx(by_hand, abs=6e-4)


@pytest.mark.parametrize(
    ("side", "reach"),
    [
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, 3),
        ({"coupling": "polygonal_taper", "size": "63"}, 3),
        ({"coupling": "steep_taper", "size": "40", "form": "mas_403"}, 10),
        ({"coupling": "declared", "designation": "own", "gender": "male"}, None),
    ],
)
def test_repeatability_of_the_taper(side: dict[str, Any], reach: float | None) -> None:
    """First principles: a seat that repeats within e brings m·e of the whole stack; none without a known e."""
    request = base_request("shell_mill")
    request["stack"]["components"][0]["machine_side"] = side
    for part in request["stack"]["components"]:
        part |= {"unbalance_g_mm": 0, "runout": {"statements": [{"tir_um": 0, "at_mm": 10}]}}
    found = derived_of(request).balance.sums
    assert not isinstance(found, Missing)
    assert found.static.worst == 0
    mass = 1.1 + max(0.38, known(derived_of(request).masses.outline_masses[1]))
    assert found.in_spindle.worst == pytest.approx(0 if reach is None else mass * reach, rel=1e-9)


def test_forces_on_the_bearings() -> None:
    """First principles: one residual at 20 mm, p 60 and q 200 mm: 1.4 and 0.4 times its force."""
    request = base_request("shell_mill")
    holder, cutter = request["stack"]["components"]
    for part in (holder, cutter):
        part |= {"unbalance_g_mm": 0, "runout": {"statements": [{"tir_um": 0, "at_mm": 10}]}}
    holder |= {"unbalance_g_mm": 6, "centre_of_mass_mm": 20}
    holder["machine_side"] = {"coupling": "declared", "designation": "own", "gender": "male"}
    request["machine"] = {"kind": "stated", "bearings": {"front_mm": 60, "spacing_mm": 200, "dynamic_rating_n": 2000}}
    change(request["operations"][0], {"spindle_speed_rpm": 10_000})
    force = 6e-6 * (10_000 * math.pi / 30) ** 2
    balance = report_of(request).operation.balance
    assert balance.front_bearing_force_n == pytest.approx(1.4 * force, abs=0.006)
    assert balance.rear_bearing_force_n == pytest.approx(0.4 * force, abs=0.006)


@pytest.mark.parametrize(("share", "fires"), [(0.999, True), (1.001, False)])
def test_bearing_judged_by_its_rating(share: float, fires: bool) -> None:
    """One percent of the dynamic rating; the mass of the stack does not count."""
    request = base_request("shrink")
    request["machine"]["bearings"] = {"front_mm": 60, "spacing_mm": 200}
    force = derived_of(request).balance.bearing_forces_n
    assert isinstance(force, tuple)
    request["machine"]["bearings"]["dynamic_rating_n"] = 100 * force[0] * share
    assert ("BAL-030" in codes(report_of(request))) is fires


@given(
    name=st.sampled_from(["press_in", "long_reach", "nut_collet", "shrink", "side_lock", "shell_mill"]),
    index=st.integers(0, 4),
    factor=st.floats(1.0, 20.0),
    grade=st.sampled_from(["G0.4", "G1", "G2.5", "G6.3", "G16"]),
    speed=st.floats(2000, 30_000),
)
def test_overstating_a_mass_never_passes(name: str, index: int, factor: float, grade: str, speed: float) -> None:
    """First principles: with a heavier statement an unbalance that is too high stays so, or is no longer decided."""
    request = base_request(name)
    change(request["operations"][0], {"spindle_speed_rpm": speed, "balance_grade": grade})
    part = request["stack"]["components"][index % len(request["stack"]["components"])]
    stated = derived_of(request).balance.permitted
    # from the mass at which the computed one bounds it
    part["mass_kg"] = 5 * part.get("mass_kg", 1)
    bound = derived_of(request).balance
    part["mass_kg"] *= factor
    heavier = derived_of(request).balance
    assert known(heavier.permitted).kg == pytest.approx(known(bound.permitted).kg)
    assert known(heavier.permitted).kg <= known(stated).stated_kg * 1.5
    if known(bound.unbalance).p95 > known(bound.permissible_g_mm):
        assert known(heavier.unbalance).p95 > known(heavier.permissible_g_mm)


def test_a_mass_without_an_outline_permits_nothing() -> None:
    """What nothing bounds is not judged: the outline is asked for."""
    request = base_request("shrink")
    del request["stack"]["components"][0]["profile"]
    permissible = derived_of(request).balance.permissible_g_mm
    assert isinstance(permissible, Missing)
    assert permissible.fields == ("/stack/components/0/profile",)
