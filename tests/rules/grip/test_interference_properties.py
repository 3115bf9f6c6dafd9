"""Properties of interference joints: pressure, capacity and speed, and rejected input."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rules.grip.formulas import (
    Ring,
    bore_growth_um,
    effective_interference_um,
    holding_speed_rpm,
    hub_stress_mpa,
    inner_hoop_mpa,
    interference_at_speed_um,
    joint_pressure_mpa,
    opening_temperature_c,
    pressure_per_um,
    release_speed_rpm,
    shaft_stress_mpa,
    slip_force_n,
    slip_torque_n_m,
    surface_growth_um,
)

MATERIALS = {
    "steel": (210.0, 0.3, 7850.0),
    "carbide": (600.0, 0.22, 14500.0),
    "aluminium": (70.0, 0.33, 2700.0),
    "tungsten": (350.0, 0.28, 17500.0),
}
STEEL = MATERIALS["steel"]

materials = st.sampled_from(sorted(MATERIALS.values()))
joints_mm = st.floats(3.0, 50.0)
walls = st.floats(1.05, 5.0)
bores = st.floats(0.0, 0.9)
microns = st.floats(0.1, 100.0)
speeds = st.floats(100.0, 60_000.0)


def _hub(joint_mm: float, wall: float, material: tuple[float, float, float] = STEEL) -> Ring:
    return Ring(joint_mm, joint_mm * wall, *material)


def _shaft(joint_mm: float, bore: float = 0.0, material: tuple[float, float, float] = STEEL) -> Ring:
    return Ring(joint_mm * bore, joint_mm, *material)


@given(joints_mm, walls, bores, materials, materials, microns, st.floats(0.0, 50.0))
def test_pressure_is_linear_in_the_interference(
    joint: float,
    wall: float,
    bore: float,
    of_hub: tuple[float, float, float],
    of_shaft: tuple[float, float, float],
    delta: float,
    times: float,
) -> None:
    """First principles: p = (p/δ)·δ, so so many times the interference is so many times the pressure."""
    hub, shaft = _hub(joint, wall, of_hub), _shaft(joint, bore, of_shaft)
    pressure = joint_pressure_mpa(delta, joint, hub, shaft)
    assert pressure > 0
    assert joint_pressure_mpa(times * delta, joint, hub, shaft) == pytest.approx(times * pressure, rel=1e-12)
    assert pressure == pytest.approx(delta * pressure_per_um(joint, hub, shaft), rel=1e-15)


@given(joints_mm, walls, bores, st.floats(0.0, 1000.0))
def test_without_interference_there_is_no_pressure(joint: float, wall: float, bore: float, play: float) -> None:
    """First principles: parts with play do not press, and do not pull either."""
    assert joint_pressure_mpa(-play, joint, _hub(joint, wall), _shaft(joint, bore)) == 0.0


@given(joints_mm, walls, st.floats(1.01, 3.0), bores, materials, materials, microns)
def test_a_thicker_hub_presses_more_and_a_hollow_shaft_less(
    joint: float,
    wall: float,
    thicker: float,
    bore: float,
    of_hub: tuple[float, float, float],
    of_shaft: tuple[float, float, float],
    delta: float,
) -> None:
    """First principles: stiffer parts give way less, so the same interference makes more pressure."""
    thin, thick = _hub(joint, wall, of_hub), _hub(joint, wall * thicker, of_hub)
    hollow, solid = _shaft(joint, bore, of_shaft), _shaft(joint, 0.0, of_shaft)
    assert joint_pressure_mpa(delta, joint, thick, solid) > joint_pressure_mpa(delta, joint, thin, solid)
    assert joint_pressure_mpa(delta, joint, thin, hollow) <= joint_pressure_mpa(delta, joint, thin, solid)


@given(joints_mm, st.floats(1.5, 50.0), microns)
def test_a_joint_of_twice_the_size_has_half_the_pressure(joint: float, wall: float, delta: float) -> None:
    """First principles: pressure depends on δ/d and on shape alone."""
    small = joint_pressure_mpa(delta, joint, _hub(joint, wall), _shaft(joint))
    large = joint_pressure_mpa(delta, 2 * joint, _hub(2 * joint, wall), _shaft(2 * joint))
    assert large == pytest.approx(small / 2, rel=1e-12)


@given(st.floats(0.1, 500.0), joints_mm, st.floats(1.0, 200.0), st.floats(0.01, 0.5), st.floats(0.1, 10.0))
def test_hold_is_linear_in_length_friction_and_pressure(
    pressure: float, joint: float, length: float, friction: float, times: float
) -> None:
    """First principles: T = μ·p·π·d²·L/2 = F·d/2."""
    torque = slip_torque_n_m(pressure, joint, length, friction)
    assert torque > 0
    for changed in (
        (pressure * times, joint, length, friction),
        (pressure, joint, length * times, friction),
        (pressure, joint, length, friction * times),
    ):
        assert slip_torque_n_m(*changed) == pytest.approx(times * torque, rel=1e-12)
        assert slip_force_n(*changed) == pytest.approx(times * torque * 2000 / joint, rel=1e-12)
    assert slip_torque_n_m(pressure, 2 * joint, length, friction) == pytest.approx(4 * torque, rel=1e-12)


@given(microns, st.floats(0.0, 30.0), st.floats(0.0, 30.0), st.floats(0.0, 2.0))
def test_smoothing_takes_but_never_below_nothing(delta: float, hub_rz: float, shaft_rz: float, factor: float) -> None:
    """First principles: both surfaces count alike, and the rest is between 0 and the whole."""
    left = effective_interference_um(delta, hub_rz, shaft_rz, factor)
    assert 0.0 <= left <= delta
    assert left == pytest.approx(effective_interference_um(delta, shaft_rz, hub_rz, factor), abs=1e-12)
    assert left == pytest.approx(max(0.0, delta - factor * hub_rz - factor * shaft_rz), abs=1e-12)


@given(joints_mm, walls, microns, speeds, st.floats(1.1, 4.0))
def test_speed_takes_interference_with_its_square(
    joint: float, wall: float, delta: float, speed: float, times: float
) -> None:
    """First principles: growths are ρω² times shape; a steel hub always outgrows a steel shank."""
    hub, shaft = _hub(joint, wall), _shaft(joint)
    loss = delta - interference_at_speed_um(delta, speed, hub, shaft)
    faster = delta - interference_at_speed_um(delta, speed * times, hub, shaft)
    assert interference_at_speed_um(delta, 0.0, hub, shaft) == delta
    assert faster == pytest.approx(times**2 * loss, rel=1e-9, abs=1e-12 * delta)
    assert loss >= 0
    assert -interference_at_speed_um(0.0, speed, hub, shaft) > 0


@given(joints_mm, walls, bores, materials, materials, microns)
def test_release_speed_inverts_the_loss(
    joint: float,
    wall: float,
    bore: float,
    of_hub: tuple[float, float, float],
    of_shaft: tuple[float, float, float],
    delta: float,
) -> None:
    """First principles: at the release speed nothing is left; where there is none the joint only tightens."""
    hub, shaft = _hub(joint, wall, of_hub), _shaft(joint, bore, of_shaft)
    release = release_speed_rpm(delta, hub, shaft)
    if release is None:
        assert interference_at_speed_um(delta, 20_000.0, hub, shaft) >= delta
    else:
        assert interference_at_speed_um(delta, release, hub, shaft) == pytest.approx(0.0, abs=1e-9 * delta)


@given(joints_mm, walls, microns, st.floats(0.0, 2.0))
def test_holding_speed_leaves_what_is_needed(joint: float, wall: float, delta: float, share: float) -> None:
    """First principles: up to that speed the need is met, a little above it is not; nothing to spare gives 0."""
    hub, shaft = _hub(joint, wall), _shaft(joint)
    needed = share * delta
    speed = holding_speed_rpm(delta, needed, hub, shaft)
    assert speed is not None
    if needed >= delta:
        assert speed == 0.0
        return
    assume(delta - needed > 1e-6 * delta)
    assert interference_at_speed_um(delta, speed, hub, shaft) == pytest.approx(needed, abs=1e-9 * delta)
    assert interference_at_speed_um(delta, speed * 1.01, hub, shaft) < needed
    assert speed <= (release_speed_rpm(delta, hub, shaft) or 0.0)


def test_a_shank_that_grows_more_than_its_hub_never_comes_loose() -> None:
    """First principles: a soft heavy hollow shank in a thin stiff light hub outgrows it."""
    hub = Ring(12.0, 13.0, 380.0, 0.23, 3900.0)
    shank = Ring(10.0, 12.0, 70.0, 0.33, 17500.0)
    assert interference_at_speed_um(5.0, 20_000.0, hub, shank) > 5.0
    assert release_speed_rpm(5.0, hub, shank) is None
    assert holding_speed_rpm(5.0, 4.0, hub, shank) is None
    assert holding_speed_rpm(5.0, 6.0, hub, shank) == 0.0


@pytest.mark.parametrize(
    ("interference_um", "needed_um", "expected"), [(-1.0, 0.0, 0.0), (0.0, 0.0, 0.0), (4.0, 4.0, 0.0), (3.9, 4.0, 0.0)]
)
def test_a_joint_with_nothing_to_spare_may_not_turn(interference_um: float, needed_um: float, expected: float) -> None:
    """First principles: what is not there at rest is not there at any speed."""
    assert holding_speed_rpm(interference_um, needed_um, _hub(12.0, 2.0), _shaft(12.0)) == expected


@given(joints_mm, walls, materials, st.floats(0.0, 400.0), st.floats(0.0, 60_000.0))
def test_hub_stress_superposes(
    joint: float, wall: float, material: tuple[float, float, float], pressure: float, speed: float
) -> None:
    """First principles: stress of pressure and speed together is the sum; Tresca is σ_θ + p, above von Mises."""
    hub = _hub(joint, wall, material)
    both = hub_stress_mpa(pressure, hub, speed)
    alone = hub_stress_mpa(pressure, hub)
    assert both.hoop_mpa == pytest.approx(alone.hoop_mpa + hub_stress_mpa(0.0, hub, speed).hoop_mpa, rel=1e-12)
    assert both.radial_mpa == -pressure
    assert both.tresca_mpa == pytest.approx(both.hoop_mpa + pressure, rel=1e-12)
    assert both.von_mises_mpa <= both.tresca_mpa * (1 + 1e-12)
    assert both.von_mises_mpa >= both.tresca_mpa * math.sqrt(0.75) * (1 - 1e-12)


@given(joints_mm, bores, st.floats(0.1, 400.0), st.floats(0.0, 60_000.0))
def test_a_pinhole_doubles_what_the_shaft_bears_at_its_centre(
    joint: float, bore: float, pressure: float, speed: float
) -> None:
    """First principles: pressure compresses the bore of a hollow shaft at least twice as much as a solid one."""
    solid, hollow = shaft_stress_mpa(pressure, _shaft(joint)), shaft_stress_mpa(pressure, _shaft(joint, bore + 1e-6))
    assert solid.hoop_mpa == solid.radial_mpa == -pressure
    assert hollow.radial_mpa == 0.0
    assert hollow.hoop_mpa <= 2 * solid.hoop_mpa
    turning = shaft_stress_mpa(pressure, _shaft(joint), speed)
    assert turning.hoop_mpa == pytest.approx(-pressure + inner_hoop_mpa(_shaft(joint), speed), rel=1e-12, abs=1e-12)


@given(microns, st.floats(0.0, 50.0), joints_mm, st.floats(3e-6, 3e-5), st.floats(-20.0, 60.0))
def test_opening_temperature_opens_the_bore_by_interference_and_play(
    delta: float, play: float, joint: float, expansion: float, start: float
) -> None:
    """First principles: α·d·Δϑ is interference plus play."""
    hot = opening_temperature_c(delta, play, joint, expansion, start)
    assert (hot - start) * expansion * joint * 1000 == pytest.approx(delta + play, rel=1e-9)


def test_a_shaft_that_goes_in_cold_needs_no_heat() -> None:
    """First principles: with more play than is wanted the hub may stay as cold as it is."""
    assert opening_temperature_c(-30.0, 20.0, 20.0, 11.5e-6, 20.0) == 20.0
    assert opening_temperature_c(-10.0, 20.0, 20.0, 11.5e-6, 20.0) > 20.0


@given(
    st.floats(0.001, 5000.0),
    st.floats(0.0, 1.0, exclude_max=True),
    st.floats(1e-12, 1e6),
    materials,
    materials,
    st.floats(0.0, 10_000.0),
    st.floats(0.0, 10_000.0),
    st.floats(0.1, 1e6),
)
def test_extremes_stay_finite(
    joint: float,
    bore: float,
    wall: float,
    of_hub: tuple[float, float, float],
    of_shaft: tuple[float, float, float],
    delta: float,
    needed: float,
    speed: float,
) -> None:
    """Whatever sizes, speeds and interference a request may hold, each answer is a finite number or None."""
    outer = joint * (1.0 + wall)
    assume(joint * bore < joint < outer)
    hub, shaft = Ring(joint, outer, *of_hub), Ring(joint * bore, joint, *of_shaft)
    pressure = joint_pressure_mpa(delta, joint, hub, shaft)
    speeds_found = [release_speed_rpm(delta, hub, shaft), holding_speed_rpm(delta, needed, hub, shaft)]
    values = [
        pressure,
        interference_at_speed_um(delta, speed, hub, shaft),
        *(found for found in speeds_found if found is not None),
        *hub_stress_mpa(pressure, hub, speed),
        *shaft_stress_mpa(pressure, shaft, speed),
        slip_torque_n_m(pressure, joint, 5000.0, 0.12),
        opening_temperature_c(delta, needed, joint, 1e-6, 20.0),
    ]
    assert all(math.isfinite(value) for value in values), values


HUB, SHAFT = _hub(12.0, 2.0), _shaft(12.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    "call",
    [
        lambda bad: Ring(bad, 20.0, *STEEL),
        lambda bad: Ring(12.0, bad, *STEEL),
        lambda bad: Ring(12.0, 20.0, bad, 0.3, 7850.0),
        lambda bad: Ring(12.0, 20.0, 210.0, bad, 7850.0),
        lambda bad: Ring(12.0, 20.0, 210.0, 0.3, bad),
        lambda bad: joint_pressure_mpa(bad, 12.0, HUB, SHAFT),
        lambda bad: pressure_per_um(bad, HUB, SHAFT),
        lambda bad: effective_interference_um(bad, 1.0, 1.0, 0.8),
        lambda bad: effective_interference_um(20.0, bad, 1.0, 0.8),
        lambda bad: effective_interference_um(20.0, 1.0, bad, 0.8),
        lambda bad: effective_interference_um(20.0, 1.0, 1.0, bad),
        lambda bad: slip_force_n(bad, 12.0, 36.0, 0.12),
        lambda bad: slip_force_n(50.0, bad, 36.0, 0.12),
        lambda bad: slip_torque_n_m(50.0, 12.0, bad, 0.12),
        lambda bad: slip_torque_n_m(50.0, 12.0, 36.0, bad),
        lambda bad: bore_growth_um(HUB, bad),
        lambda bad: surface_growth_um(SHAFT, bad),
        lambda bad: inner_hoop_mpa(HUB, bad),
        lambda bad: interference_at_speed_um(bad, 1000.0, HUB, SHAFT),
        lambda bad: interference_at_speed_um(5.0, bad, HUB, SHAFT),
        lambda bad: release_speed_rpm(bad, HUB, SHAFT),
        lambda bad: holding_speed_rpm(5.0, bad, HUB, SHAFT),
        lambda bad: hub_stress_mpa(bad, HUB),
        lambda bad: hub_stress_mpa(50.0, HUB, bad),
        lambda bad: shaft_stress_mpa(bad, SHAFT),
        lambda bad: opening_temperature_c(bad, 12.0, 12.0, 1e-5, 20.0),
        lambda bad: opening_temperature_c(5.0, bad, 12.0, 1e-5, 20.0),
        lambda bad: opening_temperature_c(5.0, 12.0, bad, 1e-5, 20.0),
        lambda bad: opening_temperature_c(5.0, 12.0, 12.0, bad, 20.0),
        lambda bad: opening_temperature_c(5.0, 12.0, 12.0, 1e-5, bad),
    ],
)
def test_refuses_what_is_no_number(call: Callable[[float], object], bad: float) -> None:
    """Every argument must be finite, wherever it stands."""
    with pytest.raises(ValueError, match=r"finite|inner < outer|Poisson"):
        call(bad)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Ring(20.0, 20.0, *STEEL), "inner < outer"),
        (lambda: Ring(-1.0, 20.0, *STEEL), "inner < outer"),
        (lambda: Ring(0.0, 20.0, 0.0, 0.3, 7850.0), "Young"),
        (lambda: Ring(0.0, 20.0, 210.0, 0.51, 7850.0), "Poisson"),
        (lambda: Ring(0.0, 20.0, 210.0, -0.1, 7850.0), "Poisson"),
        (lambda: Ring(0.0, 20.0, 210.0, 0.3, 0.0), "density"),
        (lambda: joint_pressure_mpa(5.0, 24.0, HUB, SHAFT), "bore of 0.0 mm and the hub's outside"),
        (lambda: joint_pressure_mpa(5.0, 12.0, HUB, Ring(12.0, 14.0, *STEEL)), "must lie between the shaft's bore"),
        (lambda: joint_pressure_mpa(5.0, 0.0, HUB, SHAFT), "joint diameter"),
        (lambda: pressure_per_um(12.2, HUB, Ring(0.0, 12.2, *STEEL)), "hub's bore of 12.0 mm is not at the joint"),
        (lambda: pressure_per_um(12.0, HUB, Ring(0.0, 11.8, *STEEL)), "outside of 11.8 mm is not at the joint"),
        (lambda: interference_at_speed_um(5.0, 1.0, HUB, Ring(0.0, 10.0, *STEEL)), "shaft's outside of 10.0 mm"),
        (lambda: release_speed_rpm(5.0, SHAFT, SHAFT), "joint diameter"),
        (lambda: hub_stress_mpa(5.0, SHAFT), "a hub has a bore"),
        (lambda: hub_stress_mpa(-5.0, HUB), "pressure must not be negative"),
        (lambda: shaft_stress_mpa(-5.0, SHAFT), "pressure must not be negative"),
        (lambda: slip_force_n(-5.0, 12.0, 36.0, 0.12), "pressure must not be negative"),
        (lambda: slip_force_n(5.0, 0.0, 36.0, 0.12), "diameter must be above 0"),
        (lambda: slip_force_n(5.0, 12.0, 0.0, 0.12), "length must be above 0"),
        (lambda: slip_force_n(5.0, 12.0, 36.0, -0.12), "friction must not be negative"),
        (lambda: effective_interference_um(5.0, -1.0, 0.0, 0.8), "roughness depth of the hub"),
        (lambda: effective_interference_um(5.0, 0.0, -1.0, 0.8), "roughness depth of the shaft"),
        (lambda: effective_interference_um(5.0, 1.0, 1.0, -0.8), "smoothing factor"),
        (lambda: bore_growth_um(HUB, -1.0), "speed must not be negative"),
        (lambda: holding_speed_rpm(5.0, -1.0, HUB, SHAFT), "needed interference"),
        (lambda: opening_temperature_c(5.0, -1.0, 12.0, 1e-5, 20.0), "clearance must not be negative"),
        (lambda: opening_temperature_c(5.0, 1.0, 12.0, 0.0, 20.0), "expansion"),
        (lambda: opening_temperature_c(5.0, 1.0, 12.0, 1e-5, -273.16), "absolute zero"),
    ],
)
def test_refuses_what_is_no_joint(call: Callable[[], object], message: str) -> None:
    """A wall, a bore and a joint diameter that do not belong together, and negative quantities, raise."""
    with pytest.raises(ValueError, match=message):
        call()


def test_parts_within_one_per_cent_share_a_joint() -> None:
    """The boundary of 1 %: 12.12 mm goes with 12 mm, a little more does not."""
    assert pressure_per_um(12.0, Ring(12.11, 24.0, *STEEL), SHAFT) == pressure_per_um(12.0, HUB, SHAFT)
    with pytest.raises(ValueError, match="not at the joint"):
        pressure_per_um(12.0, Ring(12.13, 24.0, *STEEL), SHAFT)
