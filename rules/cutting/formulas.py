"""Mean and peak cutting force, torque and power of milling, from the specific cutting force."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from rules.cutting.tooth_sums import ToothSums, sine_power_integral, tooth_sums

__all__ = [
    "MillingLoad",
    "corrected_force_mpa",
    "cutting_speed_m_per_min",
    "edge_depth_mm",
    "effective_diameter_mm",
    "engagement_angle_rad",
    "helical_pull_n",
    "mean_chip_thickness_mm",
    "milling_load",
    "peak_sums",
    "specific_force_mpa",
    "speed_from_cutting_speed_rpm",
]


class PeakSums(NamedTuple):
    """Largest sums over the engaged teeth; the force of a tooth at the thickest chip is 1."""

    along: float
    """Sum of the magnitudes: torque divided by radius."""
    vector: float
    """Length of the vector sum of the tangential forces."""


def _sums(teeth: int, pitch: float, first: float, power: float) -> PeakSums:
    """Return the sums over teeth one pitch apart, the first at an angle."""
    along = across = beside = 0.0
    for tooth in range(teeth):
        angle = first + tooth * pitch
        sine = math.sin(angle)
        if sine > 0.0:  # rounding may place a tooth just beyond the end of a slot
            force = sine**power
            along += force
            across += force * sine
            beside += force * math.cos(angle)
    return PeakSums(along, math.hypot(across, beside))


def peak_sums(teeth: int, engagement_rad: float, power: float) -> PeakSums:
    """Return the largest Σ sin^p φ and the largest |Σ sin^p φ·e^{iφ}| over the rotation.

    The sums are over the teeth at angles φ, 2π/z apart, within the engagement [0, φs]. Two arrangements alternate over
    a revolution, with j and with j + 1 teeth. In each, sin^p is concave, so the first sum is concave too. By symmetry
    its peak is where the teeth are centred about 90°, or as close as the engagement permits. The second sum rises or
    falls towards that angle, so its peak is there or where a tooth enters or leaves.

    Parameters
    ----------
    teeth : int
        Teeth z ≥ 1.
    engagement_rad : float
        Engagement angle φs in (0, π], radians.
    power : float
        Power p in (0, 1]; not checked here.

    Returns
    -------
    PeakSums
        Largest Σ sin^p φ and the largest |Σ sin^p φ·e^{iφ}| over the rotation.

    Notes
    -----
    Source: first principles. The vector has no other peak in a scan of 40,000 arrangements of up to 13 engaged teeth;
    this is not proven.

    Examples
    --------
    >>> [round(largest, 9) for largest in peak_sums(4, math.pi, 1.0)]
    [1.414213562, 1.0]
    """
    pitch = 2.0 * math.pi / teeth
    fewer = int(engagement_rad / pitch)
    leaves = max(0.0, engagement_rad - fewer * pitch)
    # the smaller arrangement with its first tooth at a full pitch is the larger one with a new tooth at 0
    moments = {(fewer + 1, 0.0), (fewer + 1, leaves), (fewer, leaves)}
    for engaged, earliest, latest in ((fewer + 1, 0.0, leaves), (fewer, leaves, pitch)):
        even = (math.pi - (engaged - 1) * pitch) / 2.0
        if earliest < even < latest:
            moments.add((engaged, even))
    sums = [_sums(engaged, pitch, first, power) for engaged, first in moments]
    return PeakSums(max(found.along for found in sums), max(found.vector for found in sums))


class MillingLoad(NamedTuple):
    """Load of a milling cut on the cutter; power and material removal rate are None without a speed."""

    engagement_angle_rad: float
    mean_chip_thickness_mm: float
    specific_force_mpa: float
    """Specific cutting force at the mean chip thickness."""
    teeth_in_cut: float
    """Mean number of engaged teeth."""
    mean_tangential_n: float
    """Mean tangential force of all teeth over a revolution."""
    mean_torque_n_m: float
    """Without runout, which lowers the mean by a few per cent."""
    power_kw: float | None
    removal_rate_mm3_per_min: float | None
    peak_tangential_n: float
    """Largest sum of the tangential forces in a revolution."""
    peak_torque_n_m: float
    peak_in_plane_n: float
    """Largest vector sum of tangential and radial forces in a revolution, which bends the cutter."""
    in_plane_height_mm: float
    """Distance from the tip at which that force acts."""


def _positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def engagement_angle_rad(diameter_mm: float, radial_depth_mm: float) -> float:
    """Return the engagement angle of a tooth: φs = acos(1 − 2·ae/D).

    It is evaluated as 2·asin(√(ae/D)), which avoids cancellation at a small radial depth. The chip thickness is zero at
    the beginning or end of the cut, as in up and down milling; a cutter with its axis inside the cut has other angles.

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter D, mm, above 0.
    radial_depth_mm : float
        Radial depth of cut ae, mm, above 0, at most D.

    Returns
    -------
    float
        Engagement angle, radians; π for a slot.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: geometry, as in handbooks of machining.

    Examples
    --------
    >>> round(engagement_angle_rad(20.0, 5.0), 9) == round(math.pi / 3.0, 9)
    True
    """
    _positive("diameter", diameter_mm)
    _positive("radial depth", radial_depth_mm)
    if radial_depth_mm > diameter_mm:
        raise ValueError(f"a cutter of {diameter_mm} mm cannot cut {radial_depth_mm} mm wide")
    return 2.0 * math.asin(math.sqrt(radial_depth_mm / diameter_mm))


def _sine_of_lead(lead_angle_deg: float) -> float:
    if not 0.0 < lead_angle_deg <= 90.0:
        raise ValueError(f"the angle of the cutting edge must be above 0° and at most 90°, not {lead_angle_deg}°")
    return math.sin(math.radians(lead_angle_deg))


def mean_chip_thickness_mm(
    diameter_mm: float, radial_depth_mm: float, feed_per_tooth_mm: float, lead_angle_deg: float = 90.0
) -> float:
    """Return the mean chip thickness over the engagement: h_m = (2/φs)·(ae/D)·f_z·sin κ.

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter D, mm, above 0.
    radial_depth_mm : float
        Radial depth of cut ae, mm, above 0, at most D.
    feed_per_tooth_mm : float
        Feed per tooth f_z, mm, above 0.
    lead_angle_deg : float, default 90.0
        Lead angle κ between cutting edge and machined face, in (0, 90] degrees.

    Returns
    -------
    float
        Mean chip thickness, mm: the exact mean of f_z·sin κ·sin φ.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: handbooks of machining (Dietrich; König).

    Examples
    --------
    >>> round(mean_chip_thickness_mm(20.0, 20.0, 0.1), 9)
    0.063661977
    """
    angle = engagement_angle_rad(diameter_mm, radial_depth_mm)
    _positive("feed per tooth", feed_per_tooth_mm)
    return 2.0 / angle * (radial_depth_mm / diameter_mm) * feed_per_tooth_mm * _sine_of_lead(lead_angle_deg)


def specific_force_mpa(unit_force_mpa: float, exponent: float, thickness_mm: float) -> float:
    """Return the specific cutting force at a chip thickness: k_c = k_c1.1·h^(−m_c).

    Parameters
    ----------
    unit_force_mpa : float
        Unit force k_c1.1, the force on a chip 1 mm thick and 1 mm wide, MPa.
    exponent : float
        Exponent m_c, in [0, 1).
    thickness_mm : float
        Chip thickness h, mm, above 0.

    Returns
    -------
    float
        Specific cutting force, MPa, for a sharp tool; wear adds about a third or more (from memory).

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: Kienzle 1952, as in handbooks of machining.

    Examples
    --------
    >>> round(specific_force_mpa(2220.0, 0.14, 0.1), 6)
    3064.453067
    """
    _positive("unit force", unit_force_mpa)
    _positive("chip thickness", thickness_mm)
    if not 0.0 <= exponent < 1.0:
        raise ValueError(f"the exponent of the chip thickness must be in [0, 1), not {exponent}")
    return unit_force_mpa / float(thickness_mm**exponent)


def corrected_force_mpa(unit_force_mpa: float, rake_deg: float, reference_rake_deg: float) -> float:
    """Return the unit force at another rake: k_c1.1·(1 − (γ − γ₀)/100).

    Parameters
    ----------
    unit_force_mpa : float
        Unit force k_c1.1 at the reference rake, MPa, above 0.
    rake_deg : float
        Rake γ of the cutting tool, in [−30, 40] degrees.
    reference_rake_deg : float
        Rake γ₀ at which the unit force was measured, in [−30, 40] degrees.

    Returns
    -------
    float
        Unit force, MPa; 1 % less for each degree of more positive rake.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: handbooks of machining (from memory).

    Examples
    --------
    >>> corrected_force_mpa(2000.0, 16.0, 6.0)
    1800.0
    """
    _positive("unit force", unit_force_mpa)
    for angle in (rake_deg, reference_rake_deg):
        if not -30.0 <= angle <= 40.0:
            raise ValueError(f"a rake must be from -30° to 40°, not {angle}°")
    return unit_force_mpa * (1.0 - (rake_deg - reference_rake_deg) / 100.0)


def edge_depth_mm(
    axial_depth_mm: float, exponent: float, lead_angle_deg: float = 90.0, corner_radius_mm: float = 0.0
) -> float:
    """Return the axial depth of a square shoulder that takes the same force: ∫ sin^(−m_c) κ(z) dz.

    The edge rises from the tip on the corner radius, κ(z) = acos(1 − z/r), then at its lead angle. A chip thinned by
    sin κ is as much wider, so its force grows with sin^(−m_c) κ.

    Parameters
    ----------
    axial_depth_mm : float
        Axial depth of cut a_p, mm, above 0.
    exponent : float
        Exponent m_c of the chip thickness, in [0, 1).
    lead_angle_deg : float, default 90.0
        Lead angle κ above the corner, in (0, 90] degrees.
    corner_radius_mm : float, default 0.0
        Corner radius r ≥ 0, mm; half the diameter for a ball nose.

    Returns
    -------
    float
        Equivalent depth, mm; the axial depth for a sharp square shoulder.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> edge_depth_mm(5.0, 0.25), round(edge_depth_mm(0.3, 0.0, corner_radius_mm=5.0), 12)
    (5.0, 0.3)
    """
    _positive("axial depth", axial_depth_mm)
    sine = _sine_of_lead(lead_angle_deg)
    if not 0.0 <= exponent < 1.0:
        raise ValueError(f"the exponent of the chip thickness must be in [0, 1), not {exponent}")
    if not (corner_radius_mm >= 0.0 and math.isfinite(corner_radius_mm)):
        raise ValueError(f"a corner radius must be 0 or more, not {corner_radius_mm}")
    if corner_radius_mm == 0.0:
        return axial_depth_mm / float(sine**exponent)
    lead = math.radians(lead_angle_deg)
    corner = corner_radius_mm * 2.0 * math.sin(0.5 * lead) ** 2
    if axial_depth_mm < corner:
        lead = 2.0 * math.asin(math.sqrt(0.5 * axial_depth_mm / corner_radius_mm))
    round_part = corner_radius_mm * sine_power_integral(1.0 - exponent, lead)
    return round_part + max(0.0, axial_depth_mm - corner) / float(sine**exponent)


def effective_diameter_mm(
    diameter_mm: float, axial_depth_mm: float, corner_radius_mm: float, tilt_deg: float = 0.0
) -> float:
    """Return the largest diameter in the cut: D − 2·r + 2·√(a_p·(2·r − a_p)) below the corner radius.

    For a ball nose, r = D/2, this is 2·√(a_p·(D − a_p)). Tilted by τ it is D·sin(τ + acos(1 − 2·a_p/D)), and D once the
    sum exceeds 90°.

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter D, mm, above 0.
    axial_depth_mm : float
        Axial depth of cut a_p, mm, above 0.
    corner_radius_mm : float
        Corner radius r, mm, from 0 to D/2.
    tilt_deg : float, default 0.0
        Angle τ between tool axis and surface normal, in [0, 90] degrees; only for a ball nose.

    Returns
    -------
    float
        Effective diameter, mm.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> round(effective_diameter_mm(10.0, 0.3, 5.0), 5), round(effective_diameter_mm(10.0, 0.3, 5.0, 15.0), 5)
    (3.41174, 5.72839)
    """
    _positive("diameter", diameter_mm)
    _positive("axial depth", axial_depth_mm)
    if not 0.0 <= corner_radius_mm <= 0.5 * diameter_mm * _ROUNDED:
        raise ValueError(f"a corner radius must be from 0 to half of {diameter_mm} mm, not {corner_radius_mm}")
    if not 0.0 <= tilt_deg <= 90.0:
        raise ValueError(f"a tilt must be from 0° to 90°, not {tilt_deg}°")
    if axial_depth_mm >= corner_radius_mm:
        return diameter_mm
    angle = 2.0 * math.asin(math.sqrt(0.5 * axial_depth_mm / corner_radius_mm))
    if is_ball_nose(diameter_mm, corner_radius_mm):
        angle += math.radians(tilt_deg)
    return diameter_mm - 2.0 * corner_radius_mm * (1.0 - math.sin(min(angle, 0.5 * math.pi)))


_ROUNDED: Final = 1.0 + 1e-9
"""A radius and a diameter in inches may differ from half and whole by rounding."""


def is_ball_nose(diameter_mm: float, corner_radius_mm: float) -> bool:
    """Return whether the corner radius is half of the diameter.

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter, mm.
    corner_radius_mm : float
        Corner radius, mm.

    Returns
    -------
    bool
        Whether the tool is a ball nose, to within rounding.

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> is_ball_nose(25.4, 12.7), is_ball_nose(12.0, 1.0)
    (True, False)
    """
    return corner_radius_mm * 2.0 * _ROUNDED >= diameter_mm


def milling_load(
    diameter_mm: float,
    teeth: int,
    axial_depth_mm: float,
    radial_depth_mm: float,
    feed_per_tooth_mm: float,
    speed_rpm: float | None,
    unit_force_mpa: float,
    exponent: float,
    lead_angle_deg: float = 90.0,
    *,
    radial_ratio: float,
    helix_deg: float = 0.0,
    runout_um: float = 0.0,
    corner_radius_mm: float = 0.0,
) -> MillingLoad:
    """Return forces, torque and power of a milling cut, mean and peak.

    A tooth takes dF_t = k_c1.1·h^(1−m_c)·db of each element of its edge, with db = dz/sin κ and h = f_z·sin κ·sin φ
    without runout. Mean over a revolution, for any helix: F_t = z/(2·π)·k_c1.1·w·f_z^(1−m_c)·∫₀^φs sin^(1−m_c) φ dφ,
    with the equivalent depth w of the edge; T = F_t·D/2, P = T·ω. Peak: the largest sum over a revolution, with the
    helix spreading each tooth over the rotation and with the chip thickness that runout gives each tooth, its direction
    the least favourable. The force in the plane is the vector sum of tangential and radial forces of all teeth, with a
    radial force of radial_ratio times the tangential. The force of the corner counts as spread over the depth.

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter D, mm, above 0.
    teeth : int
        Teeth z ≥ 1.
    axial_depth_mm : float
        Axial depth of cut a_p, mm, above 0.
    radial_depth_mm : float
        Radial depth of cut a_e ≤ D, mm, above 0.
    feed_per_tooth_mm : float
        Feed per tooth f_z, mm, above 0.
    speed_rpm : float | None
        Speed n, 1/min, above 0, or None.
    unit_force_mpa : float
        Unit force k_c1.1, MPa, above 0.
    exponent : float
        Exponent m_c, in [0, 1).
    lead_angle_deg : float, default 90.0
        Lead angle κ of the cutting edge, in (0, 90] degrees.
    radial_ratio : float
        Radial over tangential force, ≥ 0.
    helix_deg : float, default 0.0
        Helix angle β to the axis, in [0, 90) degrees.
    runout_um : float, default 0.0
        Total indicator reading at the cutting edges, µm, ≥ 0.
    corner_radius_mm : float, default 0.0
        Corner radius, mm, ≥ 0.

    Returns
    -------
    MillingLoad
        Load of the cut; power and removal rate are None without a speed.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: Kienzle's force, as in handbooks of machining (Dietrich; König), summed from first principles; chip
    thickness with runout after Kline and DeVor 1983 (from memory).

    Examples
    --------
    >>> load = milling_load(30.0, 8, 4.0, 30.0, 0.1, 150.0, 1000.0, 0.0, radial_ratio=0.4)
    >>> round(load.mean_tangential_n, 6), round(load.mean_torque_n_m, 6), round(load.power_kw, 12)
    (1018.591636, 15.278875, 0.24)
    """
    thickness = mean_chip_thickness_mm(diameter_mm, radial_depth_mm, feed_per_tooth_mm, lead_angle_deg)
    force = specific_force_mpa(unit_force_mpa, exponent, thickness)
    depth = edge_depth_mm(axial_depth_mm, exponent, lead_angle_deg, corner_radius_mm)
    if not teeth >= 1:
        raise ValueError(f"a cutter has at least one tooth, not {teeth}")
    if not (radial_ratio >= 0.0 and math.isfinite(radial_ratio)):
        raise ValueError(f"the ratio of radial to tangential force must be 0 or more, not {radial_ratio}")
    if not (runout_um >= 0.0 and math.isfinite(runout_um)):
        raise ValueError(f"a runout must be 0 or more and finite, not {runout_um}")
    lag = 2.0 * axial_depth_mm * _tangent_of_helix(helix_deg) / diameter_mm
    angle = engagement_angle_rad(diameter_mm, radial_depth_mm)
    power = 1.0 - exponent
    deepest = unit_force_mpa * depth * float(feed_per_tooth_mm**power)
    tangential = teeth / (2.0 * math.pi) * deepest * sine_power_integral(power, angle)
    sums = _peaks(teeth, angle, power, lag, runout_um / 2000.0 / feed_per_tooth_mm)
    peak = deepest * sums.along

    radius_m = diameter_mm / 2000.0
    delivered = removal = None
    if speed_rpm is not None:
        _positive("speed", speed_rpm)
        removal = axial_depth_mm * radial_depth_mm * feed_per_tooth_mm * teeth * speed_rpm
        delivered = tangential * radius_m * speed_rpm * math.pi / 30.0e3
    return MillingLoad(
        engagement_angle_rad=angle,
        mean_chip_thickness_mm=thickness,
        specific_force_mpa=force,
        teeth_in_cut=teeth * angle / (2.0 * math.pi),
        mean_tangential_n=tangential,
        mean_torque_n_m=tangential * radius_m,
        power_kw=delivered,
        removal_rate_mm3_per_min=removal,
        peak_tangential_n=peak,
        peak_torque_n_m=peak * radius_m,
        peak_in_plane_n=deepest * sums.vector * math.hypot(1.0, radial_ratio),
        in_plane_height_mm=sums.height * axial_depth_mm,
    )


_MOST_ECCENTRIC: Final = 1e6
"""Feeds per tooth; beyond this one tooth cuts everything, however much more it is."""


def _peaks(teeth: int, angle: float, power: float, lag: float, eccentricity: float) -> ToothSums:
    if lag == 0.0 and eccentricity == 0.0:
        exact = peak_sums(teeth, angle, power)
        mean = teeth / (2.0 * math.pi) * sine_power_integral(power, angle)
        return ToothSums(max(exact.along, mean), exact.vector, 0.5)
    return tooth_sums(teeth, angle, power, lag, min(eccentricity, _MOST_ECCENTRIC))


def helical_pull_n(tangential_n: float, helix_deg: float) -> float:
    """Return the axial pull-out force of helical teeth: F_ax = F_t·tan λ.

    Parameters
    ----------
    tangential_n : float
        Tangential force F_t ≥ 0, N.
    helix_deg : float
        Helix angle λ to the axis, in [0, 90) degrees.

    Returns
    -------
    float
        Axial pull-out force, N, without friction of the chip along the tooth.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles (force normal to the edge), as in handbooks of machining.

    Examples
    --------
    >>> round(helical_pull_n(1000.0, 30.0), 6)
    577.350269
    """
    if not (tangential_n >= 0.0 and math.isfinite(tangential_n)):
        raise ValueError(f"a tangential force must be 0 or more and finite, not {tangential_n}")
    return tangential_n * _tangent_of_helix(helix_deg)


def _tangent_of_helix(helix_deg: float) -> float:
    if not 0.0 <= helix_deg < 90.0:
        raise ValueError(f"a helix angle must be at least 0° and below 90°, not {helix_deg}°")
    return math.tan(math.radians(helix_deg))


def speed_from_cutting_speed_rpm(cutting_speed_m_per_min: float, diameter_mm: float) -> float:
    """Return the spindle speed for a cutting speed: n = 1000·v_c/(π·D).

    Parameters
    ----------
    cutting_speed_m_per_min : float
        Cutting speed v_c, m/min, above 0.
    diameter_mm : float
        Diameter D, mm, above 0.

    Returns
    -------
    float
        Spindle speed, 1/min.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> round(speed_from_cutting_speed_rpm(100.0, 10.0), 6)
    3183.098862
    """
    _positive("cutting speed", cutting_speed_m_per_min)
    _positive("diameter", diameter_mm)
    return 1000.0 * cutting_speed_m_per_min / (math.pi * diameter_mm)


def cutting_speed_m_per_min(speed_rpm: float, diameter_mm: float) -> float:
    """Return the cutting speed: v_c = π·D·n/1000.

    Parameters
    ----------
    speed_rpm : float
        Speed n, 1/min.
    diameter_mm : float
        Diameter D, mm, above 0.

    Returns
    -------
    float
        Cutting speed, m/min.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> round(cutting_speed_m_per_min(32_000.0, 10.0), 6)
    1005.309649
    """
    _positive("speed", speed_rpm)
    _positive("diameter", diameter_mm)
    return math.pi * diameter_mm * speed_rpm / 1000.0
