"""Deflection of stacks at the tip: overlaps, collets, flutes, cones and stated springs, each calculated by hand.

Shear and assumed springs are left out here; test_joints_of_stacks.py adds them.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.analysis import StackAnalysis
from rules.bending.analysis import Bending
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from tests.support.operations import operation_of
from tests.support.stacks import (
    CARBIDE_GPA,
    STEEL_GPA,
    bent_by_hand,
    derived_of,
    holder_and_cutter,
    known,
    named,
    one_rod,
    ring_mm4,
    slender_and_rigid,
)

STEEL, CARBIDE = STEEL_GPA * 1e3, CARBIDE_GPA * 1e3
"""N/mm²."""


@pytest.fixture(autouse=True)
def _slender_and_rigid(monkeypatch: pytest.MonkeyPatch) -> None:
    slender_and_rigid(monkeypatch)


def _bending(derived: StackAnalysis) -> Bending:
    bending = derived.stiffness.bending
    assert isinstance(bending, Bending), bending
    return bending


def _compliance(request: dict[str, Any]) -> float:
    """Return mm/N."""
    return _bending(derived_of(request)).compliance_um_per_n.typical / 1e3


def _lack(request: dict[str, Any]) -> set[str]:
    bending = derived_of(request).stiffness.bending
    assert isinstance(bending, Missing)
    return set(bending.fields)


def _shares(request: dict[str, Any]) -> dict[tuple[str, str], float]:
    return {
        (one.component or named(one.joint) or one.kind, one.kind): one.share
        for one in _bending(derived_of(request)).shares
    }


def test_a_rod_alone() -> None:
    """First principles: L³/(3·E·I) of ⌀20 × 120 mm of steel."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20})
    assert _compliance(rod) == pytest.approx(120**3 / (3 * STEEL * ring_mm4(20)), rel=1e-12)


def test_a_stepped_rod_with_a_bore() -> None:
    """First principles: ⌀30 bored 10 over 50 mm, then ⌀16 over 70 mm: (L³ − l³)/(3·E·I₁) + l³/(3·E·I₂)."""
    rod = one_rod({"length_mm": 50, "outer_mm": 30, "bore_mm": 10}, {"length_mm": 70, "outer_mm": 16})
    by_hand = (120**3 - 70**3) / (3 * STEEL * ring_mm4(30, 10)) + 70**3 / (3 * STEEL * ring_mm4(16))
    assert _compliance(rod) == pytest.approx(by_hand, rel=1e-12)


def test_own_modulus_wins_over_the_table() -> None:
    """First principles: compliance goes with 1/E; the grade's own modulus needs no material beside it."""
    table = _compliance(one_rod({"length_mm": 120, "outer_mm": 20}))
    own = _compliance(one_rod({"length_mm": 120, "outer_mm": 20}, youngs_modulus_gpa=105))
    assert own == pytest.approx(2 * table, rel=1e-12)
    bare = one_rod({"length_mm": 120, "outer_mm": 20}, youngs_modulus_gpa=105, material=None)
    assert _compliance(bare) == pytest.approx(2 * table, rel=1e-12)


def _overlap(hole: float) -> float:
    """Return mm/N of 30 mm of holder, 30 mm of both, 50 mm of cutter; the hole is the holder's over the grip."""
    holder, shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    both = STEEL * ring_mm4(40, hole) + shank
    return bent_by_hand([(0, 30, holder), (30, 60, both), (60, 110, shank)], 110)


def test_shank_and_holder_bend_together() -> None:
    """First principles: over the grip the stiffnesses of both add up."""
    assert _compliance(holder_and_cutter()) == pytest.approx(_overlap(12), rel=1e-12)


def test_hole_of_the_outer_part_is_the_shank() -> None:
    """First principles: where a bore is drawn too small, no metal is counted twice."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"] = [
        {"length_mm": 30, "outer_mm": 40, "bore_mm": 12},
        {"length_mm": 30, "outer_mm": 40},
    ]
    assert _compliance(request) == pytest.approx(_overlap(12), rel=1e-12)


def test_wider_bore_stays_a_hole() -> None:
    """First principles: between a bore of 20 and a shank of 12 there is nothing that bends."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"] = [
        {"length_mm": 30, "outer_mm": 40, "bore_mm": 12},
        {"length_mm": 30, "outer_mm": 40, "bore_mm": 20},
    ]
    assert _compliance(request) == pytest.approx(_overlap(20), rel=1e-12)


def test_deflection_is_split_where_two_bend_together() -> None:
    """First principles: each has the share of its own stiffness in what the overlap gives."""
    holder, shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    overlap = bent_by_hand([(30, 60, holder + shank)], 110)
    of_holder = bent_by_hand([(0, 30, holder)], 110) + overlap * holder / (holder + shank)
    shares = _shares(holder_and_cutter())
    assert shares[("holder", "component")] == pytest.approx(of_holder / _overlap(12), rel=1e-12)
    assert shares[("end-mill", "component")] == pytest.approx(1 - of_holder / _overlap(12), rel=1e-12)


def test_shank_that_reaches_behind_the_gauge_line_is_clipped() -> None:
    """First principles: gripped 75 mm deep the rod begins 15 mm behind the line; only what lies before it bends."""
    request = holder_and_cutter()
    request["stack"]["joints"][0]["grip_length_mm"] = 75
    holder, shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    by_hand = bent_by_hand([(0, 60, holder + shank), (60, 65, shank)], 65)
    assert _compliance(request) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("drawn", [True, False])
def test_a_slotted_collet_bends_with_nothing(drawn: bool) -> None:
    """First principles: a collet, even one that is drawn, carries no bending; holder bore 28, shank ⌀12 gripped 40."""
    request = base_request("nut_collet")
    if drawn:
        request["stack"]["components"][1] |= {
            "material": "steel",
            "profile": [{"length_mm": 40, "outer_mm": 27, "bore_mm": 12}],
        }
    shank = CARBIDE * ring_mm4(12)
    wide, narrow = STEEL * ring_mm4(63), STEEL * ring_mm4(50, 28)
    by_hand = bent_by_hand(
        [(0, 26, wide), (26, 40, narrow), (40, 80, narrow + shank), (80, 97, shank), (97, 123, shank * 0.8**4)], 123
    )
    assert _compliance(request) == pytest.approx(by_hand, rel=1e-12)
    assert ("collet-1", "component") not in _shares(request)


@pytest.mark.parametrize(("policy", "ratio"), [(None, 0.8), ({"flute_bending_ratio": 0.7}, 0.7)])
def test_flutes_bend_like_a_thinner_rod(policy: dict[str, float] | None, ratio: float) -> None:
    """First principles: the last 25 mm bend like a rod of ratio·D, so with ratio⁴; 0.8 unless the policy says else."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20}, flute_length_mm=25)
    if policy is not None:
        rod["policy"] = policy
    full = STEEL * ring_mm4(20)
    assert _compliance(rod) == pytest.approx(
        bent_by_hand([(0, 95, full), (95, 120, full * ratio**4)], 120),
        rel=1e-12,
    )


def test_flutes_longer_than_the_cutter() -> None:
    """First principles: all of it bends like the thinner rod."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20}, flute_length_mm=500)
    assert _compliance(rod) == pytest.approx(120**3 / (3 * STEEL * ring_mm4(16)), rel=1e-12)


def test_solid_ratio_undoes_the_flutes() -> None:
    """A ratio of 1 bends as if there were no flutes."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20})
    fluted = one_rod({"length_mm": 120, "outer_mm": 20}, flute_length_mm=25) | {"policy": {"flute_bending_ratio": 1}}
    assert _compliance(fluted) == pytest.approx(_compliance(rod), rel=1e-12)


def test_flutes_about_a_coolant_bore() -> None:
    """First principles: I = π/64·((0.8·D)⁴ − d⁴): the flutes thin the outside, the bore stays what it is."""
    rod = one_rod({"length_mm": 100, "outer_mm": 20, "bore_mm": 4}, flute_length_mm=100)
    assert _compliance(rod) == pytest.approx(100**3 / (3 * STEEL * ring_mm4(16, 4)), rel=1e-12)


def test_flutes_that_leave_no_wall_about_the_bore() -> None:
    """First principles: 0.8 · 20 is less than the bore of 17: nothing is left to bend, and the outline is asked for."""
    rod = one_rod({"length_mm": 100, "outer_mm": 20, "bore_mm": 17}, flute_length_mm=30)
    assert _lack(rod) == {"/stack/components/0/profile"}


@pytest.mark.parametrize("tip_mm", [39.0, 30.0, 10.0, 4.0])
def test_a_cone(tip_mm: float) -> None:
    """Literature: Roark (from memory), solid cone of root D and tip d under an end load: 64·L³/(3π·E·D³·d)."""
    rod = one_rod({"length_mm": 100, "outer_mm": 40, "outer_end_mm": tip_mm})
    exact = 64 * 100**3 / (3 * math.pi * STEEL * 40**3 * tip_mm)
    assert _compliance(rod) == pytest.approx(exact, rel=2e-3)


@pytest.mark.parametrize("grip_mm", [10, 25.5, 44])
def test_a_cone_about_a_shank(grip_mm: float) -> None:
    """First principles: 210·(I_cone(z) − I_shank) + 600·I_shank along the grip, by fine midpoint sums in the test."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"] = [
        {"length_mm": 60, "outer_mm": 50, "outer_end_mm": 26, "bore_mm": 12}
    ]
    request["stack"]["joints"][0]["grip_length_mm"] = grip_mm
    tip = 60 + 80 - grip_mm
    steps = 60_000
    total = bent_by_hand([(60, tip, CARBIDE * ring_mm4(12))], tip)
    for step in range(steps):
        z = 60 * (step + 0.5) / steps
        stiffness = STEEL * ring_mm4(50 - 24 * z / 60, 12)
        if z > 60 - grip_mm:
            stiffness += CARBIDE * ring_mm4(12)
        total += (tip - z) ** 2 / stiffness * 60 / steps
    assert _compliance(request) == pytest.approx(total, rel=1e-3)


def test_springs_stand_in_series() -> None:
    """First principles: 1/k_r + (L − z)²/k_t for spindle and its joint at z = 0, and for the clamp at z = 60."""
    request = holder_and_cutter()
    request["machine"] = {
        "kind": "stated",
        "spindle_radial_stiffness_n_per_um": 100,
        "spindle_tilting_stiffness_n_m_per_mrad": 50,
    }
    request["stack"]["joints"] = [
        {"upper": "spindle", "lower": "holder", "tilting_stiffness_n_m_per_mrad": 25},
        {
            "upper": "holder",
            "lower": "end-mill",
            "grip_length_mm": 30,
            "radial_stiffness_n_per_um": 40,
            "tilting_stiffness_n_m_per_mrad": 10,
        },
    ]
    spindle = 1 / 100e3 + 110**2 / 50e6
    seat = 110**2 / 25e6
    clamp = 1 / 40e3 + 50**2 / 10e6
    total = _overlap(12) + spindle + seat + clamp
    assert _compliance(request) == pytest.approx(total, rel=1e-12)
    shares = _shares(request)
    assert shares[("spindle", "spindle")] == pytest.approx(spindle / total, rel=1e-12)
    assert shares[("spindle/holder", "joint")] == pytest.approx(seat / total, rel=1e-12)
    assert shares[("holder/end-mill", "joint")] == pytest.approx(clamp / total, rel=1e-12)
    assert sum(shares.values()) == pytest.approx(1, rel=1e-12)
    assert len(derived_of(request).stiffness.interfaces) == 3


def test_joint_of_a_collet_gives_way_at_the_socket() -> None:
    """First principles: a collet's seat is a joint too: (123 − 80)²/k_t at the holder's face."""
    request = base_request("nut_collet")
    rigid = _compliance(request)
    request["stack"]["joints"].append({"upper": "holder", "lower": "collet-1", "tilting_stiffness_n_m_per_mrad": 30})
    assert _compliance(request) - rigid == pytest.approx((123 - 80) ** 2 / 30e6, rel=1e-9)


def test_no_spring_stated_is_rigid() -> None:
    """A joint of which only the grip is stated adds nothing."""
    assert not derived_of(holder_and_cutter()).stiffness.interfaces
    assert {kind for _, kind in _shares(holder_and_cutter())} == {"component"}


@pytest.mark.parametrize("base", ["press_in", "long_reach", "nut_collet", "shrink", "side_lock", "declared"])
def test_shares_make_a_whole(base: str) -> None:
    """First principles: the parts of the strain energy add up."""
    shares = _shares(base_request(base))
    assert sum(shares.values()) == pytest.approx(1, rel=1e-12)
    assert all(0 < share <= 1 for share in shares.values())


def test_deflection_under_the_force_asked() -> None:
    """First principles: compliance times force; none asked, none told."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20})
    assert derived_of(rod).stiffness.deflection_um is None
    rod["operations"] = [operation_of({"radial_force_n": 250})]
    by_hand = 250 * 120**3 / (3 * STEEL * ring_mm4(20)) * 1e3
    assert known(derived_of(rod).stiffness.deflection_um).typical == pytest.approx(by_hand, rel=1e-12)


# What is lacking


@pytest.mark.parametrize("point_mm", [0.01, 0.001])
def test_a_pointed_cone_is_no_gap(point_mm: float) -> None:
    """A cone that is drawn to its point is covered to its tip; its compliance is finite, as Roark's 1/d says."""
    rod = one_rod({"length_mm": 100, "outer_mm": 12}, {"length_mm": 6, "outer_mm": 12, "outer_end_mm": point_mm})
    assert _compliance(rod) > 0


def test_gap_between_face_and_outline() -> None:
    """A holder drawn 50 of its 60 mm leaves a gap before a shank gripped 5 mm deep: its outline is asked for."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"][0]["length_mm"] = 50
    request["stack"]["joints"][0]["grip_length_mm"] = 5
    assert _lack(request) == {"/stack/components/0/profile"}


def test_shank_bridges_a_gap() -> None:
    """Gripped deeper than the gap the shank carries on alone; nothing is lacking."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"][0]["length_mm"] = 50
    holder, shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    by_hand = bent_by_hand([(0, 30, holder), (30, 50, holder + shank), (50, 110, shank)], 110)
    assert _compliance(request) == pytest.approx(by_hand, rel=1e-12)


def test_cutter_drawn_too_short() -> None:
    """Of 50 mm that stand out 40 are drawn, and their end is the tip: the cutter's outline is asked for."""
    request = holder_and_cutter()
    request["stack"]["components"][1]["profile"][0]["length_mm"] = 40
    assert _lack(request) == {"/stack/components/1/profile"}


def test_outline_whose_bore_leaves_no_wall() -> None:
    """A bore as wide as the part is a slip of the pen: nothing is computed from it."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["profile"][0]["bore_mm"] = 40
    assert _lack(request) == {"/stack/components/0/profile"}


@pytest.mark.parametrize(
    ("removed", "fields"),
    [
        (["0/material"], {"/stack/components/0/material"}),
        (["0/profile"], {"/stack/components/0/profile"}),
        (["1/material"], {"/stack/components/1/material"}),
        (["0/material", "1/material"], {"/stack/components/0/material", "/stack/components/1/material"}),
        (
            ["0/profile", "0/material", "1/material"],
            {"/stack/components/0/profile", "/stack/components/0/material", "/stack/components/1/material"},
        ),
    ],
)
def test_everything_missing_is_named(removed: list[str], fields: set[str]) -> None:
    """Outline and material of every component that bends, at once."""
    request = holder_and_cutter()
    for place in removed:
        index, field = place.split("/")
        del request["stack"]["components"][int(index)][field]
    assert _lack(request) == fields


def test_without_a_tool_there_is_no_tip() -> None:
    """A holder alone has no place where a force would act."""
    request = holder_and_cutter()
    del request["stack"]["components"][1]
    assert _lack(request) == {"/stack/components/-"}
