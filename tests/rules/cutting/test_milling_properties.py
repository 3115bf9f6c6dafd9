"""Properties of the cutting load: scaling, symmetry, peak above mean, extremes and domain."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.cutting.formulas import (
    MillingLoad,
    corrected_force_mpa,
    cutting_speed_m_per_min,
    edge_depth_mm,
    effective_diameter_mm,
    engagement_angle_rad,
    helical_pull_n,
    mean_chip_thickness_mm,
    milling_load,
    peak_sums,
    specific_force_mpa,
    speed_from_cutting_speed_rpm,
)
from rules.cutting.tooth_sums import sine_power_integral

teeth_counts = st.integers(1, 30)
shares = st.floats(0.001, 1.0)
exponents = st.floats(0.0, 0.6)
leads = st.floats(5.0, 90.0)
ratios = st.floats(0.0, 1.0)


def load_of(
    share: float = 0.4, teeth: int = 4, exponent: float = 0.25, lead: float = 90.0, **changes: float
) -> MillingLoad:
    """A cut of a 20 mm cutter in a steel."""
    stated = {"diameter_mm": 20.0, "axial_depth_mm": 15.0, "feed_per_tooth_mm": 0.08, "speed_rpm": 4000.0,
              "unit_force_mpa": 2000.0, "radial_ratio": 0.4} | changes  # fmt: skip
    return milling_load(
        stated["diameter_mm"], teeth, stated["axial_depth_mm"], share * stated["diameter_mm"],
        stated["feed_per_tooth_mm"], stated["speed_rpm"], stated["unit_force_mpa"], exponent, lead,
        radial_ratio=stated["radial_ratio"], helix_deg=stated.get("helix_deg", 0.0),
        runout_um=stated.get("runout_um", 0.0),
    )  # fmt: skip


@given(shares, teeth_counts, exponents, leads)
def test_power_is_torque_times_speed(share: float, teeth: int, exponent: float, lead: float) -> None:
    """First principles: P = T·ω, Q = a_p·a_e·v_f, and P/Q = k_c for a force that knows no thickness."""
    load = load_of(share, teeth, exponent, lead)
    assert load.power_kw is not None
    assert load.removal_rate_mm3_per_min is not None
    assert load.power_kw * 1e3 == pytest.approx(load.mean_torque_n_m * 4000.0 * math.pi / 30.0, rel=1e-13)
    assert load.removal_rate_mm3_per_min == pytest.approx(15.0 * share * 20.0 * 0.08 * teeth * 4000.0, rel=1e-13)
    even = load_of(share, teeth, 0.0, lead)
    assert even.power_kw is not None
    assert even.power_kw * 6e7 == pytest.approx(2000.0 * load.removal_rate_mm3_per_min, rel=1e-12)


@given(shares, teeth_counts, exponents, leads)
def test_mean_is_just_below_that_by_the_mean_thickness(share: float, teeth: int, exponent: float, lead: float) -> None:
    """First principles (Jensen): h^(1−m_c) is concave; the mean by h_m is above the mean, by 14 % at m_c = 0.6."""
    load = load_of(share, teeth, exponent, lead)
    width = 15.0 / math.sin(math.radians(lead))
    by_thickness = load.teeth_in_cut * load.specific_force_mpa * width * load.mean_chip_thickness_mm
    assert load.mean_tangential_n * (1.0 - 1e-12) <= by_thickness <= 1.15 * load.mean_tangential_n


@given(shares, leads)
def test_mean_thickness_is_the_mean_over_the_arc(share: float, lead: float) -> None:
    """First principles: adaptive quadrature of f_z·sin κ·sin φ over the engagement."""
    arc = engagement_angle_rad(20.0, share * 20.0)
    mean = quad(math.sin, 0.0, arc)[0] / arc * 0.08 * math.sin(math.radians(lead))
    assert mean_chip_thickness_mm(20.0, share * 20.0, 0.08, lead) == pytest.approx(mean, rel=1e-11)


@given(shares, teeth_counts, exponents, leads, ratios)
def test_peaks_lie_between_the_mean_and_all_teeth_at_their_deepest(
    share: float, teeth: int, exponent: float, lead: float, ratio: float
) -> None:
    """First principles: no sum is below its mean or above the engaged teeth at full thickness."""
    load = load_of(share, teeth, exponent, lead, radial_ratio=ratio)
    assert load.peak_tangential_n >= load.mean_tangential_n * (1 - 1e-12)
    assert load.peak_torque_n_m == pytest.approx(load.peak_tangential_n * 0.01, rel=1e-14)
    sine = math.sin(math.radians(lead))
    deepest = 2000.0 * 15.0 / sine * (0.08 * sine) ** (1.0 - exponent)
    most = math.floor(load.teeth_in_cut) + 1
    assert load.peak_tangential_n <= most * deepest * (1 + 1e-12)
    assert load.peak_in_plane_n <= math.hypot(1.0, ratio) * load.peak_tangential_n * (1 + 1e-12)


@given(shares, exponents)
def test_one_tooth_peaks_where_its_chip_is_deepest(share: float, exponent: float) -> None:
    """First principles: at 90°, or where the cut ends before; its torque and its force in the plane then agree."""
    load = load_of(share, 1, exponent, radial_ratio=0.0)
    deepest = math.sin(min(load.engagement_angle_rad, math.pi / 2.0)) ** (1.0 - exponent)
    assert load.peak_tangential_n == pytest.approx(2000.0 * 15.0 * 0.08 ** (1.0 - exponent) * deepest, rel=1e-12)
    assert load.peak_in_plane_n == pytest.approx(2000.0 * 15.0 * 0.08 ** (1.0 - exponent) * deepest, rel=1e-12)


@pytest.mark.parametrize("teeth", [40, 80, 200])
@pytest.mark.parametrize("exponent", [0.0, 0.14, 0.26])
def test_a_slot_with_many_teeth_cuts_evenly(teeth: int, exponent: float) -> None:
    """First principles: the sum tends to z/(2π)·∫sin^p φ dφ; the mean by k_c(h_m) is at most 2 % more."""
    load = load_of(1.0, teeth, exponent)
    power = 1.0 - exponent
    integral = math.sqrt(math.pi) * math.gamma((power + 1.0) / 2.0) / math.gamma(power / 2.0 + 1.0)
    sums = peak_sums(teeth, math.pi, power)
    assert sums.along == pytest.approx(teeth / (2.0 * math.pi) * integral, rel=3.0 / teeth**1.5)
    assert load.peak_tangential_n == pytest.approx(load.mean_tangential_n, rel=2e-2)
    across = math.sqrt(math.pi) * math.gamma((power + 2.0) / 2.0) / math.gamma(power / 2.0 + 1.5)
    assert sums.vector == pytest.approx(teeth / (2.0 * math.pi) * across, rel=3.0 / teeth**1.5)


@given(st.floats(0.05, 20.0), shares, teeth_counts, exponents)
def test_scale_laws(factor: float, share: float, teeth: int, exponent: float) -> None:
    """First principles: forces go with the depth and the unit force, and with the feed to the power 1 − m_c."""
    base = load_of(share, teeth, exponent)
    for grown in (
        load_of(share, teeth, exponent, axial_depth_mm=15.0 * factor),
        load_of(share, teeth, exponent, unit_force_mpa=2000.0 * factor),
    ):
        for name in ("mean_tangential_n", "mean_torque_n_m", "power_kw", "peak_tangential_n", "peak_in_plane_n"):
            assert getattr(grown, name) == pytest.approx(getattr(base, name) * factor, rel=1e-12)
    fed = load_of(share, teeth, exponent, feed_per_tooth_mm=0.08 * factor)
    for name in ("mean_tangential_n", "peak_tangential_n", "peak_in_plane_n", "power_kw"):
        assert getattr(fed, name) == pytest.approx(getattr(base, name) * factor ** (1.0 - exponent), rel=1e-11)
    wide = load_of(share, teeth, exponent, diameter_mm=20.0 * factor)
    assert wide.mean_tangential_n == pytest.approx(base.mean_tangential_n, rel=1e-12)
    assert wide.peak_torque_n_m == pytest.approx(base.peak_torque_n_m * factor, rel=1e-12)


helices = st.floats(0.0, 60.0)
runouts = st.floats(0.1, 60.0)


@settings(deadline=None)
@given(shares, st.integers(1, 12), exponents, helices)
def test_a_helix_evens_the_load(share: float, teeth: int, exponent: float, helix: float) -> None:
    """First principles: a mean over slices is never above its largest slice, and never below the mean over a turn."""
    straight, spread = load_of(share, teeth, exponent), load_of(share, teeth, exponent, helix_deg=helix)
    assert spread.mean_torque_n_m == straight.mean_torque_n_m
    assert spread.mean_torque_n_m * (1 - 3e-3) <= spread.peak_torque_n_m <= straight.peak_torque_n_m * (1 + 1e-9)
    assert spread.peak_in_plane_n <= straight.peak_in_plane_n * (1 + 1e-9)
    assert 0.0 <= spread.in_plane_height_mm <= 15.0


@settings(deadline=None)
@given(shares, st.integers(2, 12), exponents, helices, runouts)
def test_runout_never_eases_the_peak(share: float, teeth: int, exponent: float, helix: float, runout: float) -> None:
    """First principles: some tooth cuts at least what it would running true; no chip is above z feeds."""
    plain = load_of(share, teeth, exponent, helix_deg=helix)
    off = load_of(share, teeth, exponent, helix_deg=helix, runout_um=runout)
    assert off.peak_torque_n_m >= plain.peak_torque_n_m * (1 - 0.02)
    assert off.peak_torque_n_m <= plain.peak_torque_n_m * teeth * (1 + 0.02)
    assert off.mean_torque_n_m == plain.mean_torque_n_m


@given(shares, st.integers(1, 12), exponents)
def test_a_helix_of_nothing_is_straight(share: float, teeth: int, exponent: float) -> None:
    """First principles: β → 0 gives the straight teeth, to what 10⁻⁵ of a degree can change."""
    straight, nearly = load_of(share, teeth, exponent), load_of(share, teeth, exponent, helix_deg=1e-5)
    assert nearly.peak_torque_n_m == pytest.approx(straight.peak_torque_n_m, rel=3e-3)
    assert nearly.peak_in_plane_n == pytest.approx(straight.peak_in_plane_n, rel=3e-3)
    true = load_of(share, teeth, exponent, runout_um=1e-6)
    assert true.peak_torque_n_m == pytest.approx(straight.peak_torque_n_m, rel=2e-2)


@given(st.floats(0.01, 30.0), st.floats(0.0, 0.9), leads, st.floats(1e-3, 10.0))
def test_depth_of_the_edge_by_quadrature(axial: float, exponent: float, lead: float, radius: float) -> None:
    """First principles: ∫ sin^(−m_c) κ(z) dz with cos κ = 1 − z/r on the corner, by adaptive quadrature."""
    slope = math.radians(lead)
    corner = min(axial, radius * (1.0 - math.cos(slope)))
    end = math.acos(1.0 - corner / radius)
    turned = quad(lambda t: radius * math.sin(t) ** (1.0 - exponent), 0.0, end)[0]
    expected = turned + (axial - corner) / math.sin(slope) ** exponent
    assert edge_depth_mm(axial, exponent, lead, radius) == pytest.approx(expected, rel=1e-6)


@given(st.floats(0.5, 50.0), st.floats(0.01, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 90.0))
def test_effective_diameter_is_within_the_tool(diameter: float, share: float, corner: float, tilt: float) -> None:
    """First principles: never above the tool, never below its flat bottom, larger when deeper or more tilted."""
    radius = corner * diameter / 2.0
    found = effective_diameter_mm(diameter, share * diameter, radius, tilt)
    assert diameter - 2.0 * radius <= found * (1 + 1e-9) <= diameter * (1 + 2e-9)
    assert found <= effective_diameter_mm(diameter, 1.1 * share * diameter, radius, tilt) * (1 + 1e-12)
    if tilt <= 80.0:
        assert found <= effective_diameter_mm(diameter, share * diameter, radius, tilt + 10.0) * (1 + 1e-12)


@given(st.floats(1.0, 1e5), shares, teeth_counts)
def test_speed_changes_power_and_removal_only(speed: float, share: float, teeth: int) -> None:
    """First principles: Kienzle's force knows no speed; without one there is no power."""
    still, turning = load_of(share, teeth), load_of(share, teeth, speed_rpm=speed)
    assert still.power_kw is not None
    assert turning.power_kw == pytest.approx(still.power_kw * speed / 4000.0, rel=1e-12)
    unstated = milling_load(20.0, teeth, 15.0, share * 20.0, 0.08, None, 2000.0, 0.25, radial_ratio=0.4)
    assert (unstated.power_kw, unstated.removal_rate_mm3_per_min) == (None, None)
    assert unstated == still._replace(power_kw=None, removal_rate_mm3_per_min=None)


@given(shares, shares, teeth_counts, exponents)
def test_a_wider_cut_never_asks_for_less_torque(one: float, other: float, teeth: int, exponent: float) -> None:
    """First principles: a longer arc holds every arrangement of teeth of the shorter one."""
    narrow, wide = sorted((one, other))
    small, large = peak_sums(teeth, engagement_angle_rad(1.0, narrow), 1.0 - exponent), peak_sums(
        teeth, engagement_angle_rad(1.0, wide), 1.0 - exponent
    )  # fmt: skip
    assert small.along <= large.along * (1 + 1e-12)


@given(st.floats(1e-6, 100.0), st.floats(0.01, 0.9))
def test_a_thinner_chip_costs_more_per_section(thickness: float, exponent: float) -> None:
    """First principles: k_c falls with the thickness and is k_c1.1 at 1 mm."""
    assert specific_force_mpa(2000.0, exponent, thickness) > specific_force_mpa(2000.0, exponent, thickness * 1.01)
    assert specific_force_mpa(2000.0, exponent, 1.0) == 2000.0


@given(st.floats(0.1, 1e6), st.floats(0.001, 5000.0))
def test_speeds_are_inverse(speed: float, diameter: float) -> None:
    """First principles: v_c = π·D·n solved for n."""
    assert speed_from_cutting_speed_rpm(cutting_speed_m_per_min(speed, diameter), diameter) == pytest.approx(speed)


def test_a_straight_tooth_does_not_pull() -> None:
    """First principles: tan 0 = 0, tan 45° = 1; a steeper helix pulls more."""
    assert helical_pull_n(1234.0, 0.0) == 0.0
    assert helical_pull_n(1234.0, 45.0) == pytest.approx(1234.0, rel=1e-14)
    assert helical_pull_n(0.0, 50.0) == 0.0
    assert helical_pull_n(100.0, 38.0) < helical_pull_n(100.0, 38.1)


@settings(max_examples=200)
@given(
    st.sampled_from([0.001, 1.0, 5000.0]), st.sampled_from([1, 2, 7, 200]), st.sampled_from([0.001, 5000.0]),
    st.sampled_from([0.0, 1e-6, 0.5, 1.0]), st.sampled_from([1e-6, 20.0]), st.sampled_from([0.1, 1e6, None]),
    st.sampled_from([1.0, 1e5]), st.sampled_from([0.0, 0.3, 0.999]), st.sampled_from([1e-3, 45.0, 90.0]),
)  # fmt: skip
def test_extremes_are_finite(
    diameter: float, teeth: int, axial: float, share: float, feed: float, speed: float | None, unit: float,
    exponent: float, lead: float,
) -> None:  # fmt: skip
    """First principles: the ends of every range a request may state give finite numbers above zero."""
    radial = max(0.001, share * diameter)
    load = milling_load(diameter, teeth, axial, radial, feed, speed, unit, exponent, lead, radial_ratio=0.5)
    assert all(math.isfinite(value) and value > 0.0 for value in load if value is not None)
    assert load.engagement_angle_rad <= math.pi
    assert math.isfinite(helical_pull_n(load.peak_tangential_n, math.nextafter(90.0, 0.0)))


def test_a_shallow_cut_loses_no_digits() -> None:
    """First principles: cos φs = 1 − 2·ae/D expanded for a small angle, φs² = 4·x·(1 + x/3 + 8·x²/45 + …)."""
    x = 1e-3 / 5000.0
    assert engagement_angle_rad(5000.0, 1e-3) ** 2 == pytest.approx(4.0 * x * (1.0 + x / 3.0), rel=1e-14)


GOOD = (20.0, 4, 15.0, 8.0, 0.08, 4000.0, 2000.0, 0.25, 90.0)


@pytest.mark.parametrize(
    ("position", "bad", "words"),
    [
        *[(position, bad, "above 0") for position in (0, 2, 3, 4, 5, 6) for bad in (0.0, -1.0, math.nan, math.inf)],
        (1, 0, "at least one tooth"),
        (3, math.nextafter(20.0, 21.0), "cannot cut"),
        (7, -0.01, "exponent"),
        (7, 1.0, "exponent"),
        (7, math.nan, "exponent"),
        (8, 0.0, "cutting edge"),
        (8, 90.1, "cutting edge"),
        (8, math.nan, "cutting edge"),
    ],
)
def test_refuses_what_is_no_cut(position: int, bad: float, words: str) -> None:
    """Each argument is checked and named; a cut as wide as the cutter is the widest."""
    arguments = [*GOOD]
    arguments[position] = bad
    with pytest.raises(ValueError, match=words):
        milling_load(*arguments, radial_ratio=0.4)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: milling_load(*GOOD, radial_ratio=-0.1), "ratio"),
        (lambda: milling_load(*GOOD, radial_ratio=math.inf), "ratio"),
        (lambda: milling_load(*GOOD, radial_ratio=0.4, helix_deg=90.0), "helix"),
        (lambda: milling_load(*GOOD, radial_ratio=0.4, runout_um=-1.0), "runout"),
        (lambda: milling_load(*GOOD, radial_ratio=0.4, corner_radius_mm=-1.0), "corner"),
        (lambda: corrected_force_mpa(2000.0, 41.0, 6.0), "rake"),
        (lambda: corrected_force_mpa(2000.0, 6.0, math.nan), "rake"),
        (lambda: effective_diameter_mm(10.0, 1.0, 5.1), "corner"),
        (lambda: effective_diameter_mm(10.0, 1.0, 5.0, 91.0), "tilt"),
        (lambda: sine_power_integral(-1.0, 1.0), "power"),
        (lambda: sine_power_integral(1.0, 4.0), "angle"),
        (lambda: helical_pull_n(-1.0, 30.0), "tangential"),
        (lambda: helical_pull_n(math.inf, 30.0), "tangential"),
        (lambda: helical_pull_n(1.0, 90.0), "helix"),
        (lambda: helical_pull_n(1.0, -1.0), "helix"),
        (lambda: helical_pull_n(1.0, math.nan), "helix"),
        (lambda: specific_force_mpa(2000.0, 0.2, 0.0), "chip thickness"),
        (lambda: speed_from_cutting_speed_rpm(0.0, 10.0), "cutting speed"),
        (lambda: speed_from_cutting_speed_rpm(100.0, 0.0), "diameter"),
        (lambda: cutting_speed_m_per_min(0.0, 10.0), "speed"),
        (lambda: cutting_speed_m_per_min(100.0, math.inf), "diameter"),
    ],
)
def test_refuses_what_is_no_quantity(call: Callable[[], object], words: str) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match=words):
        call()
