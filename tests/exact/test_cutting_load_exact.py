"""Cutting load: exact mathematics and first principles."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.cutting.analysis import work_material
from rules.cutting.formulas import (
    MillingLoad,
    effective_diameter_mm,
    helical_pull_n,
    milling_load,
    speed_from_cutting_speed_rpm,
)
from rules.cutting.holes import chisel_edge_ratio, hole_load, tapping_torque_n_m
from rules.cutting.tooth_sums import sine_power_integral, tooth_sums


def test_c45_worked_by_hand() -> None:
    """First principles: C45, ⌀20, 4 teeth, half engaged, a_p 10, f_z 0.1, v_c 150 m/min, with a pocket calculator.

    h_m = (2/1.5708)·0.5·0.1 = 0.063662; k_c = 2220·0.063662^−0.14 = 3264.4; n = 2387.3; ∫ sin^0.86 φ dφ over a right
    angle is √π/2·Γ(0.93)/Γ(1.43) = 1.04581; F_t = 4/(2π)·2220·10·0.1^0.86·1.04581 = 2040.3 N; T = 20.403 N·m;
    P = 5.1007 kW; pull at 38°: 1594.0 N.
    """
    steel = work_material("c45")
    speed = speed_from_cutting_speed_rpm(150.0, 20.0)
    load = milling_load(
        20.0, 4, 10.0, 10.0, 0.1, speed, steel.unit_force_mpa, steel.exponent, radial_ratio=steel.radial_ratio
    )
    assert speed == pytest.approx(2387.32, abs=0.01)
    assert load.mean_chip_thickness_mm == pytest.approx(0.063662, abs=1e-6)
    assert load.specific_force_mpa == pytest.approx(3264.4, rel=1e-4)
    assert load.power_kw == pytest.approx(5.1007, rel=1e-4)
    assert load.mean_torque_n_m == pytest.approx(20.4027, rel=1e-4)
    assert load.mean_tangential_n == pytest.approx(2040.27, rel=1e-4)
    assert helical_pull_n(load.mean_tangential_n, 38.0) == pytest.approx(1594.03, rel=1e-4)
    assert load.teeth_in_cut == pytest.approx(1.0, rel=1e-14)


class Case(NamedTuple):
    """A cut of a 12 mm cutter with 4 teeth: 10 mm deep, 0.08 mm a tooth, k_c1.1 = 2500 MPa."""

    radial_mm: float
    exponent: float
    helix_deg: float
    runout_um: float
    mean_n_m: float
    peak_n_m: float
    peak_n: float


def _load(case: Case, axial_mm: float = 10.0, ratio: float = 0.0) -> MillingLoad:
    return milling_load(
        12.0, 4, axial_mm, case.radial_mm, 0.08, None, 2500.0, case.exponent,
        radial_ratio=ratio, helix_deg=case.helix_deg, runout_um=case.runout_um,
    )  # fmt: skip


@pytest.mark.parametrize(
    "case",
    [
        Case(12.0, 0.0, 0.0, 0.0, 15.27887, 16.97056, 2000.0),
        Case(12.0, 0.0, 0.0, 20.0, 15.27887, 19.9706, 2353.6),
        Case(12.0, 0.0, 0.0, 80.0, 15.27887, 28.9706, 3414.2),
        Case(12.0, 0.26, 0.0, 0.0, 32.12350, 35.81185, 4220.5),
        Case(12.0, 0.26, 30.0, 0.0, 32.12350, 34.5028, 4152.3),
        Case(12.0, 0.26, 45.0, 0.0, 32.12350, 32.3349, 4074.9),
        Case(1.2, 0.26, 0.0, 0.0, 3.83903, 15.85659, 2642.76),
        Case(1.2, 0.26, 30.0, 0.0, 3.83903, 6.26690, 1031.1),
        Case(1.2, 0.26, 45.0, 0.0, 3.83903, 4.4856, 737.7),
    ],
)
def test_slots_and_side_cuts(case: Case) -> None:
    """First principles: Γ functions for the means, sums of sines for straight teeth, quadrature for the helix.

    The runout of 80 µm is e = 40 µm: the thickest chip of a slot is h = f + e·√2 at 45° before and behind, and so on.
    """
    load = _load(case)
    assert load.mean_torque_n_m == pytest.approx(case.mean_n_m, rel=1e-6)
    assert load.peak_torque_n_m == pytest.approx(case.peak_n_m, rel=1e-4)
    assert load.peak_in_plane_n == pytest.approx(case.peak_n, rel=1e-4)


def test_a_depth_of_one_axial_pitch_cuts_evenly() -> None:
    """First principles: a_p = πD/(Z·tan β) leaves the same arc in the cut at every rotation."""
    pitch = math.pi * 12.0 / (4.0 * math.tan(math.radians(30.0)))
    assert pitch == pytest.approx(16.32419, abs=5e-6)
    for count in (1, 2, 3):
        load = _load(Case(1.2, 0.26, 30.0, 0.0, 0.0, 0.0, 0.0), pitch * count)
        assert load.peak_torque_n_m == pytest.approx(load.mean_torque_n_m, rel=1e-5)


def test_force_of_a_side_cut_acts_where_the_chips_are() -> None:
    """First principles: one straight stretch of arc φs moves up the edge; its force stays until it leaves at the top.

    Its centre lies between 4.26 and 7.57 mm in down milling, mirrored between 2.43 and 5.74 mm in up milling. The
    lowest place counts, since it deflects least stiffly. Straight teeth act at half of the depth.
    """
    assert _load(Case(1.2, 0.26, 30.0, 0.0, 0.0, 0.0, 0.0)).in_plane_height_mm == pytest.approx(2.43, abs=0.05)
    assert _load(Case(1.2, 0.26, 0.0, 0.0, 0.0, 0.0, 0.0)).in_plane_height_mm == 5.0
    assert _load(Case(12.0, 0.26, 30.0, 0.0, 0.0, 0.0, 0.0)).in_plane_height_mm == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize(
    ("runout_um", "torque", "force"), [(10.0, 7.513, 1289.0), (20.0, 8.487, 1457.0), (40.0, 9.912, 1704.0)]
)
def test_runout_of_a_side_cut_is_at_its_least_favourable(runout_um: float, torque: float, force: float) -> None:
    """First principles: slices at one direction of the runout, down milling; the worst is up to 9 % above."""
    load = _load(Case(1.2, 0.26, 30.0, runout_um, 0.0, 0.0, 0.0), ratio=0.3)
    assert torque <= load.peak_torque_n_m <= torque * 1.09
    assert force * 0.97 <= load.peak_in_plane_n <= force * 1.09


@given(st.floats(0.0, 3.0), st.floats(0.0, math.pi))
def test_integral_of_a_power_of_the_sine(power: float, angle: float) -> None:
    """First principles: Γ functions over half a turn, symmetry about a right angle, ∫ sin = 1 − cos."""
    whole = math.sqrt(math.pi) * math.gamma((power + 1.0) / 2.0) / math.gamma(power / 2.0 + 1.0)
    assert sine_power_integral(power, math.pi) == pytest.approx(whole, rel=1e-13)
    both = sine_power_integral(power, angle) + sine_power_integral(power, math.pi - angle)
    assert both == pytest.approx(whole, rel=1e-13)
    assert sine_power_integral(1.0, angle) == pytest.approx(1.0 - math.cos(angle), abs=1e-12)
    assert sine_power_integral(0.0, angle) == pytest.approx(angle, abs=1e-13)


@pytest.mark.parametrize(
    ("diameter", "depth", "tilt", "across"),
    [
        (10.0, 0.3, 0.0, 3.41174),
        (10.0, 0.3, 15.0, 5.72839),
        (6.0, 0.1, 0.0, 1.53623),
        (10.0, 5.0, 0.0, 10.0),
        (10.0, 0.3, 80.0, 10.0),
    ],
)
def test_effective_diameter_of_a_ball_nose(diameter: float, depth: float, tilt: float, across: float) -> None:
    """First principles: 2·√(a_p·(D − a_p)); tilted, D·sin(τ + acos(1 − 2·a_p/D)), and D past a right angle."""
    assert effective_diameter_mm(diameter, depth, diameter / 2.0, tilt) == pytest.approx(across, abs=5e-6)


@pytest.mark.parametrize(
    ("diameter", "feed", "unit", "exponent", "force", "torque", "thrusts"),
    [
        (8.5, 0.2, 2220.0, 0.14, 3131.3, 5.656, (1141.0, 1863.0)),
        (10.0, 0.25, 2500.0, 0.26, 4468.3, 13.964, (2394.0, 3910.0)),
        (3.0, 0.06, 1160.0, 0.26, None, 0.2028, None),
    ],
)
def test_drills(
    diameter: float, feed: float, unit: float, exponent: float, force: float | None, torque: float,
    thrusts: tuple[float, float] | None,
) -> None:  # fmt: skip
    """First principles: two lips at D/4, κ = 59°; thrust 0.5·k_c·f·D/2·sin κ to 0.7·k_c·f·D/2, the upper one counts."""
    load = hole_load(diameter, 0.0, feed, 2, 59.0, unit, exponent)
    assert load.torque_n_m == pytest.approx(torque, rel=2e-4)
    if force is not None and thrusts is not None:
        assert load.specific_force_mpa == pytest.approx(force, abs=0.06)
        assert load.thrust_n == pytest.approx(thrusts[1], abs=0.6)
        lower = load.thrust_n * 0.5 / 0.7 * math.sin(math.radians(59.0))
        assert lower == pytest.approx(thrusts[0], abs=0.6)


def test_a_reamer_and_taps() -> None:
    """First principles: ⌀20 from 19.6 with 6 edges at 45°; k_c·P²·D/8 of the thread groove."""
    load = hole_load(20.0, 19.6, 0.4, 6, 45.0, 2220.0, 0.14)
    assert load.specific_force_mpa == pytest.approx(3404.7, abs=0.06)
    assert load.torque_n_m == pytest.approx(2.697, abs=6e-4)
    for diameter, pitch, torque in ((6.0, 1.0, 1.875), (10.0, 1.5, 7.03125), (16.0, 2.0, 20.0)):
        assert tapping_torque_n_m(diameter, pitch, 2500.0) == pytest.approx(torque, rel=1e-12)


@given(st.floats(1.0, 50.0), st.floats(0.0, 0.99), st.floats(0.01, 1.0), st.integers(1, 8), st.floats(10.0, 90.0))
def test_core_drill_torque_is_force_times_mean_radius(
    diameter: float, share: float, feed: float, edges: int, lead: float
) -> None:
    """First principles: all edges together press with k_c times their section, at the middle of the ring they cut."""
    load = hole_load(diameter, share * diameter, feed, edges, lead, 2000.0, 0.2)
    radius = diameter * (1.0 + share) / 4.0
    assert load.torque_n_m == pytest.approx(edges * load.edge_force_n * radius / 1000.0, rel=1e-12)
    assert load.edge_force_n == pytest.approx(
        load.specific_force_mpa * feed / edges * diameter * (1.0 - share) / 2.0, rel=1e-9
    )
    assert load.specific_force_mpa == pytest.approx(2000.0 / load.thickness_mm**0.2, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: hole_load(0.0, 0.0, 0.2, 2, 59.0, 2000.0, 0.2), "diameter"),
        (lambda: hole_load(10.0, 10.0, 0.2, 2, 59.0, 2000.0, 0.2), "hole before"),
        (lambda: hole_load(10.0, -1.0, 0.2, 2, 59.0, 2000.0, 0.2), "hole before"),
        (lambda: hole_load(10.0, 0.0, 0.0, 2, 59.0, 2000.0, 0.2), "feed"),
        (lambda: hole_load(10.0, 0.0, 0.2, 0, 59.0, 2000.0, 0.2), "edge"),
        (lambda: hole_load(10.0, 0.0, 0.2, 2, 91.0, 2000.0, 0.2), "angle"),
        (lambda: chisel_edge_ratio(0.0, 0.2), "diameter"),
        (lambda: chisel_edge_ratio(10.0, math.nan), "feed"),
        (lambda: tapping_torque_n_m(10.0, 0.0, 2000.0), "pitch"),
        (lambda: tapping_torque_n_m(10.0, 1.5, 0.0), "specific force"),
    ],
)
def test_refuses_what_makes_no_hole(call: Callable[[], object], words: str) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("eccentricity", [0.6, 0.8, 1.5, 30.0])
@pytest.mark.parametrize("power", [0.6, 0.77, 1.0])
def test_one_of_two_teeth_cuts_both_feeds(power: float, eccentricity: float) -> None:
    """Exact: from half a feed of eccentricity, one tooth of two cuts 2·f_z at most, in a whole range of directions."""
    sums = tooth_sums(2, math.pi, power, 0.0, eccentricity)
    assert sums.along == pytest.approx(2.0**power, rel=1e-9)
    assert sums.vector == pytest.approx(2.0**power, rel=1e-9)
