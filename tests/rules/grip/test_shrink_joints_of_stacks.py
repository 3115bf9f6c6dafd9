"""Shrink-fit joints of stacks by Lamé and the rotating ring, every figure recalculated in the test."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.grip.analysis import Grip
from rules.grip.shrink import ShrinkJoint
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from service.sheets.figures import value_of
from tests.support.operations import change, drop
from tests.support.stacks import codes, derived_of, known, report_of, undecided_fields

THIN, THICK = 24.0, 32 - 8 * 19 / 64
"""Hub at its face, and 45 mm behind it: a cone of 32 to 24 mm over 64 mm, which ends at the face."""
LEAST, MOST = 22 - 11 - 0.8 * (1.6 + 0.8), 30 - 0.4 * (1.6 + 0.8)
"""µm: bore −30 to −22, shank h6 of 12 mm 0 to −11, less 0.8 of both roughnesses, or 0.4 by the later edition."""


def _joint(**side: Any) -> dict[str, Any]:
    """Return tool steel of 32 to 24 mm on a carbide shank ⌀12, 45 mm deep, Rz 1.6 and 0.8 µm, at 8000 rpm."""
    request = base_request("shrink")
    holder, cutter = request["stack"]["components"]
    holder["workpiece_side"] |= {"roughness_rz_um": 1.6} | side
    cutter["machine_side"]["roughness_rz_um"] = 0.8
    return request


def _shrink(request: dict[str, Any]) -> ShrinkJoint:
    joint = derived_of(request).grips[0].shrink
    assert isinstance(joint, ShrinkJoint), joint
    return joint


def _grip(request: dict[str, Any]) -> Grip:
    return derived_of(request).grips[0]


def _pressure_per_um(outer: float) -> float:
    """Return MPa/µm: p = δ/(d·[((D² + d²)/(D² − d²) + 0.3)/210 + (1 − 0.22)/600]), E in GPa."""
    wall = (outer**2 + 12**2) / (outer**2 - 12**2)
    return 1 / (12 * ((wall + 0.3) / 210 + (1 - 0.22) / 600))


def _loss_um(outer: float, rpm: float) -> float:
    """Return what speed takes of the diametral interference: growth of the bore less growth of the shank, µm."""
    omega = rpm * math.pi / 30
    a, b = 6e-3, outer / 2e3
    bore = 2 * 7800 * omega**2 * a / (4 * 210e9) * (3.3 * b**2 + 0.7 * a**2)
    shank = 2 * 14500 * omega**2 * a**3 / (4 * 600e9) * (1 - 0.22)
    return (bore - shank) * 1e6


def test_interference_by_limits_of_size_and_roughness() -> None:
    """First principles: least = 22 − 11, greatest = 30 − 0, both less what is pressed flat."""
    joint = _shrink(_joint())
    assert (joint.least_um, joint.most_um) == pytest.approx((LEAST, MOST), rel=1e-12)
    assert (joint.diameter_mm, joint.grip_mm) == (12, 45)


def test_roughness_not_stated_smooths_nothing() -> None:
    """First principles: the limits of size alone."""
    joint = _shrink(base_request("shrink"))
    assert (joint.least_um, joint.most_um) == pytest.approx((11, 30), rel=1e-12)


def test_thin_wall_gives_the_pressure_and_thick_wall_the_loss() -> None:
    """First principles: the hub presses least where it is thinnest, and speed opens it most where it is thickest."""
    joint = _shrink(_joint())
    assert joint.pressure_per_um == pytest.approx(_pressure_per_um(THIN), rel=1e-12)
    assert joint.pressure_per_um < _pressure_per_um(THICK)
    assert joint.at_speed_um == pytest.approx(LEAST - _loss_um(THICK, 8000), rel=1e-12)
    assert _loss_um(THICK, 8000) > _loss_um(THIN, 8000)


@pytest.mark.parametrize(
    ("material", "assembled", "stated", "friction"),
    [
        ("cemented_carbide", None, None, 0.12),
        ("cemented_carbide", "heated_degreased", None, 0.12),
        ("high_speed_steel", None, None, 0.12),
        ("high_speed_steel", "heated", None, 0.15),
        ("high_speed_steel", "heated_degreased", None, 0.2),
        ("high_speed_steel", "heated", 0.1, 0.1),
    ],
)
def test_friction_by_assembly(material: str, assembled: str | None, stated: float | None, friction: float) -> None:
    """DIN 7190-1 has values for steel on steel by assembly and none for carbide; a stated one wins."""
    request = _joint(friction=stated, assembled=assembled)
    request["stack"]["components"][1]["material"] = material
    assert _shrink(request).friction == friction


@pytest.mark.parametrize(("stated", "friction"), [(None, 0.12), (0.2, 0.2)])
def test_capacity_by_friction(stated: float | None, friction: float) -> None:
    """First principles: T = μ·p·π·d²·L/2 and F = μ·p·π·d·L at what speed leaves of the least interference."""
    grip = _grip(_joint(friction=stated))
    pressure = _pressure_per_um(THIN) * (LEAST - _loss_um(THICK, 8000))
    assert grip.basis == "interference"
    assert known(grip.torque_n_m) == pytest.approx(friction * pressure * math.pi * 12**2 * 45 / 2e3, rel=1e-12)
    assert known(grip.axial_n) == pytest.approx(friction * pressure * math.pi * 12 * 45, rel=1e-12)


def test_at_rest_nothing_is_lost() -> None:
    """First principles: without a speed asked the least interference stands."""
    request = _joint()
    drop(request["operations"][0], "spindle_speed_rpm")
    assert _shrink(request).at_speed_um == pytest.approx(LEAST, rel=1e-12)


def test_stress_at_the_bore_is_the_worse_of_both_walls() -> None:
    """First principles: σθ = p·(D² + d²)/(D² − d²) + ρω²/4·((3+ν)b² + (1−ν)a²), σr = −p, von Mises."""
    omega = 8000 * math.pi / 30
    stresses = []
    for outer in (THIN, THICK):
        pressure = _pressure_per_um(outer) * (MOST - _loss_um(outer, 8000))
        turning = 7800 * omega**2 / 4 * (3.3 * (outer / 2e3) ** 2 + 0.7 * 6e-3**2) / 1e6
        hoop = pressure * (outer**2 + 12**2) / (outer**2 - 12**2) + turning
        stresses.append(math.sqrt(hoop**2 + hoop * pressure + pressure**2))
    assert _shrink(_joint()).hub_stress_mpa == pytest.approx(max(stresses), rel=1e-12)


@pytest.mark.parametrize(
    ("material", "stated", "yields"), [("tool_steel", None, 1200), ("tool_steel", 900, 900), ("steel", 1100, 1100)]
)
def test_yield_stress_of_the_hub(material: str, stated: float | None, yields: float) -> None:
    """What is stated wins over the table."""
    request = _joint()
    request["stack"]["components"][0] |= {"material": material, "yield_mpa": stated}
    assert _shrink(request).yield_mpa == yields


def test_yield_stress_that_no_table_knows() -> None:
    """Only the stress rule waits for it; the rest of the joint is known."""
    request = _joint()
    request["stack"]["components"][0]["material"] = "steel"
    assert _shrink(request).yield_mpa == Missing(("/stack/components/0/yield_mpa",))
    report = report_of(request)
    assert undecided_fields(report, "SHR-010") == {"/stack/components/0/yield_mpa"}
    assert {"SHR-020", "SHR-030"} <= set(report.decided)


def test_opening_temperature() -> None:
    """First principles: the greatest interference by size (smoothing comes later) and 0.1 % of play, 11.5e-6/K."""
    assert known(_shrink(_joint()).opening_temperature_c) == pytest.approx(20 + (30 + 12) / (12e3 * 11.5e-6), rel=1e-12)


def test_release_is_where_the_interference_is_gone() -> None:
    """First principles: the loss grows with the square of the speed."""
    release = known(_shrink(_joint()).release_speed_rpm)
    assert release == pytest.approx(1000 * math.sqrt(LEAST / _loss_um(THICK, 1000)), rel=1e-12)
    assert _loss_um(THICK, release) == pytest.approx(LEAST, rel=1e-12)


@pytest.mark.parametrize("asked", [{}, {"torque_n_m": 0}, {"torque_n_m": 0, "axial_pull_n": 0}])
def test_nothing_asked_holds_until_it_lets_go(asked: dict[str, float]) -> None:
    """First principles: no demand is met until the interference is gone; no factor of safety is made of it."""
    request = _joint()
    change(request["operations"][0], asked)
    grip = _grip(request)
    assert isinstance(grip.shrink, ShrinkJoint)
    assert grip.holding_speed_rpm == grip.shrink.release_speed_rpm
    assert grip.safety is None


def test_holding_speed_by_hand() -> None:
    """First principles: 20 N·m about ⌀12 and 1000 N along need √(3333² + 1000²) N of friction."""
    request = _joint()
    change(request["operations"][0], {"torque_n_m": 20, "axial_pull_n": 1000})
    needed = math.hypot(2000 * 20 / 12, 1000) / (0.12 * _pressure_per_um(THIN) * math.pi * 12 * 45)
    by_hand = 1000 * math.sqrt((LEAST - needed) / _loss_um(THICK, 1000))
    assert known(_grip(request).holding_speed_rpm) == pytest.approx(by_hand, rel=1e-12)


@given(
    torque=st.floats(0.01, 40),
    pull=st.floats(0, 5000),
    bore=st.floats(-60, -18),
    friction=st.floats(0.05, 0.3),
    grip_mm=st.floats(5, 45),
)
def test_at_the_holding_speed_capacity_equals_demand(
    torque: float, pull: float, bore: float, friction: float, grip_mm: float
) -> None:
    """First principles: there the factor of safety is 1; a demand beyond the capacity at rest holds at no speed."""
    request = _joint(deviation={"lower_um": bore - 8, "upper_um": bore}, friction=friction)
    change(request["operations"][0], {"torque_n_m": torque, "axial_pull_n": pull})
    request["stack"]["joints"][0]["grip_length_mm"] = grip_mm
    drop(request["operations"][0], "spindle_speed_rpm")
    at_rest = _grip(request)
    holding = known(at_rest.holding_speed_rpm)
    assert (holding == 0) is (known(at_rest.safety) <= 1)
    if not 0.2 <= holding <= 9e5:
        return
    change(request["operations"][0], {"spindle_speed_rpm": holding})
    # near the speed at which nothing is left, the rest is a small difference
    assert known(_grip(request).safety) == pytest.approx(1, abs=1e-6)
    for factor, holds in ((0.99, True), (1.01, False)):
        change(request["operations"][0], {"spindle_speed_rpm": holding * factor})
        assert (known(_grip(request).safety) > 1) is holds


def test_a_loose_fit_holds_nothing() -> None:
    """First principles: a bore as wide as its nominal on a shank that may be smaller: no least interference."""
    request = _joint(deviation={"lower_um": -2, "upper_um": 4})
    grip = _grip(request)
    assert (grip.torque_n_m, grip.axial_n, grip.holding_speed_rpm) == (0, 0, 0)
    joint = _shrink(request)
    assert (joint.least_um, joint.at_speed_um, joint.release_speed_rpm) == (0, 0, 0)
    assert joint.most_um == pytest.approx(2 - 0.96, rel=1e-9)
    assert "SHR-030" in codes(report_of(request))
    change(request["operations"][0], {"torque_n_m": 1})
    assert _grip(request).safety == 0
    assert "GRIP-070" in codes(report_of(request))


@pytest.mark.parametrize(("lower", "most"), [(3, 0.0), (0, 0.0), (-0.25, 0.25), (-2, 2.0)])
def test_greatest_interference_of_a_bore_about_its_nominal(lower: float, most: float) -> None:
    """First principles: the widest shank h6 is ⌀12 itself, so what the bore lacks of it is all there can be."""
    request = base_request("shrink")
    request["stack"]["components"][0]["workpiece_side"]["deviation"] = {"lower_um": lower, "upper_um": 4}
    assert _shrink(request).most_um == pytest.approx(most, abs=1e-9)


def test_roughness_may_eat_all_of_it() -> None:
    """First principles: 0.8 · (20 + 0.8) µm is more than the 11 µm there are."""
    joint = _shrink(_joint(roughness_rz_um=20))
    assert joint.least_um == 0
    assert joint.most_um == pytest.approx(30 - 0.4 * 20.8, rel=1e-12)


def test_rating_wins_but_speed_still_loosens() -> None:
    """First principles: the rating less μ·Δp·π·d²·L/2, with the pressure that speed takes from the thickest wall."""
    request = _joint(rated_torque_n_m=90, rated_grip_mm=45)
    rated, computed = _grip(request), _grip(_joint())
    loss = 0.12 * _pressure_per_um(THICK) * _loss_um(THICK, 8000) * math.pi * 12**2 * 45 / 2e3
    assert rated.basis == "rating"
    assert known(rated.torque_n_m) == pytest.approx(90 - loss, rel=1e-9)
    assert known(rated.axial_n) == pytest.approx(2000 * (90 - loss) / 12, rel=1e-9)
    assert rated.shrink == computed.shrink
    assert rated.holding_speed_rpm == computed.holding_speed_rpm


def test_stated_pull_wins_over_the_computed_one() -> None:
    """What the maker rates stands, also where he rates the pull alone."""
    grip = _grip(_joint(rated_axial_force_n=100, rated_grip_mm=45))
    assert known(grip.axial_n) == pytest.approx(100)


def test_capacity_at_a_speed_that_is_not_known() -> None:
    """A speed asked as cutting speed of an unknown diameter leaves open what it takes away, so the capacity too."""
    request = _joint()
    drop(request["operations"][0], "spindle_speed_rpm")
    del request["stack"]["components"][1]["cutting_diameter_mm"]
    change(request["operations"][0], {"cutting_speed_m_per_min": 20_000, "torque_n_m": 20})
    lack = Missing(("/stack/components/1/cutting_diameter_mm",))
    grip = _grip(request)
    assert (grip.torque_n_m, grip.axial_n, grip.safety) == (lack, lack, lack)


def test_figures_of_the_report() -> None:
    """First principles: pressures are those of the thin wall, at speed the least and at rest the greatest."""
    request = _joint()
    report = report_of(request)
    found, turning = report.grip[0].shrink_fit, report.operation.grip[0]
    assert found is not None
    left = LEAST - _loss_um(THICK, 8000)
    assert found.least_interference_um == pytest.approx(LEAST, abs=6e-4)
    assert found.greatest_interference_um == pytest.approx(MOST, abs=6e-4)
    assert turning.interference_at_speed_um == pytest.approx(left, abs=6e-4)
    assert turning.least_pressure_mpa.value == pytest.approx(_pressure_per_um(THIN) * left, abs=6e-3)
    assert found.greatest_pressure_mpa.value == pytest.approx(_pressure_per_um(THIN) * MOST, abs=6e-3)
    assert (found.friction, found.yield_mpa) == (0.12, 1200)
    assert found.release_speed_rpm == turning.holding_speed_rpm


@pytest.mark.parametrize(
    ("pointer", "fields"),
    [
        ("0/material", {"/stack/components/0/material"}),
        ("0/profile", {"/stack/components/0/profile"}),
        ("1/material", {"/stack/components/1/material"}),
        ("1/profile", {"/stack/components/1/profile"}),
        ("1/machine_side/tolerance", {"/stack/components/1/machine_side/tolerance"}),
        ("0/workpiece_side/deviation", {"/stack/components/0/workpiece_side/tolerance"}),
        ("0/workpiece_side/diameter_mm", {"/stack/components/0/workpiece_side/diameter_mm"}),
    ],
)
def test_a_missing_field_is_named(pointer: str, fields: set[str]) -> None:
    """Capacity and holding speed wait for the same fields, and so does the rule."""
    request = _joint()
    index, *steps, last = pointer.split("/")
    place = request["stack"]["components"][int(index)]
    for step in steps:
        place = place[step]
    del place[last]
    grip = _grip(request)
    for value in (grip.shrink, grip.torque_n_m, grip.axial_n, grip.holding_speed_rpm):
        assert isinstance(value, Missing)
        assert set(value.fields) == fields
    report = report_of(request)
    assert undecided_fields(report, "SHR-030") == fields
    assert report.grip[0].shrink_fit is None
    assert not report.speed_complete


@pytest.mark.parametrize("lengths", [(0, 90), (70, 20), (60, 30)])
def test_hub_not_drawn_as_far_as_its_bore_reaches(lengths: tuple[float, float]) -> None:
    """A hub whose outside lies within the shank, even at its face alone, has no wall: its outline is asked for."""
    request = _joint()
    request["stack"]["components"][0]["profile"] = [
        {"length_mm": length, "outer_mm": outer} for length, outer in zip(lengths, (32, 11.9), strict=True) if length
    ]
    assert _grip(request).shrink == Missing(("/stack/components/0/profile",))


@pytest.mark.parametrize("bores", [[(83, 4)], [(20, 2), (63, 4)], [(20, 4), (63, 2)]])
def test_hollow_shank(bores: list[tuple[float, float]]) -> None:
    """First principles: a bore of 4 gives more: (d² + d_i²)/(d² − d_i²) − ν in place of 1 − ν; the widest counts."""
    request = _joint()
    request["stack"]["components"][1]["profile"] = [
        {"length_mm": length, "outer_mm": 12, "bore_mm": bore} for length, bore in bores
    ]
    wall = (THIN**2 + 12**2) / (THIN**2 - 12**2)
    per_um = 1 / (12 * ((wall + 0.3) / 210 + ((12**2 + 4**2) / (12**2 - 4**2) - 0.22) / 600))
    assert _shrink(request).pressure_per_um == pytest.approx(per_um, rel=1e-12)


@pytest.mark.parametrize("asked", [{}, {"torque_n_m": 1}])
def test_no_grip_at_all(asked: dict[str, float]) -> None:
    """First principles: a shank that stands out by all of its length is not held; whatever is asked, it is told."""
    request = _joint()
    change(request["operations"][0], asked)
    holder, cutter = request["stack"]["components"]
    # outlines drawn longer than the lengths stated still lie over each other at the face
    holder["profile"][1]["length_mm"] = 70
    cutter["profile"][0]["length_mm"] = 90
    request["stack"]["joints"] = [{"upper": "holder", "lower": "end-mill", "projection_mm": 83}]
    assert value_of(report_of(request).grip[0].torque_capacity_n_m) in (None, 0)
