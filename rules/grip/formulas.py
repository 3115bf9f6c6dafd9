"""Fits, grip capacity, rotating rings and interference joints.

In an interference joint both parts are elastic rings of the same length in plane stress (σ_z = 0). The joint diameter d
is the nominal diameter of hub bore and shaft. At the joint, the hub expands by u_o and the shaft by u_i; they are in
contact while u_o − u_i = δ/2. Under the pressure p alone (Lamé)

    u_o = +p·d/(2E_o)·((D²+d²)/(D²−d²) + ν_o),   u_i = −p·d/(2E_i)·((d²+d_i²)/(d²−d_i²) − ν_i),

The equations of the centrifugal load are linear too: each part expands in addition as a free rotating ring. A joint at
speed therefore equals a joint at rest with the interference δ − (growth of the hub bore − growth of the shaft surface),
all on the diameter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

__all__ = [
    "Ring",
    "bore_growth_um",
    "clearance_um",
    "combined_safety",
    "effective_interference_um",
    "holding_speed_rpm",
    "hub_stress_mpa",
    "inner_hoop_mpa",
    "interference_at_speed_um",
    "joint_pressure_mpa",
    "lift_off_moment_n_m",
    "opening_temperature_c",
    "pressure_per_um",
    "release_speed_rpm",
    "scaled_capacity",
    "segments_slip_torque_n_m",
    "shaft_stress_mpa",
    "slip_force_from_torque_n",
    "slip_force_n",
    "slip_torque_n_m",
    "surface_growth_um",
]


def clearance_um(hole_um: tuple[float, float], shaft_um: tuple[float, float]) -> tuple[float, float]:
    """Return the smallest and largest clearance of a fit; an interference is a negative clearance.

    C_min = EI - es, C_max = ES - ei, both on the diameter.

    Parameters
    ----------
    hole_um : tuple[float, float]
        Lower and upper deviation EI, ES of the hole from the common nominal size, µm.
    shaft_um : tuple[float, float]
        Lower and upper deviation ei, es of the shaft, µm.

    Returns
    -------
    tuple[float, float]
        Smallest and largest clearance, µm.

    Raises
    ------
    ValueError
        If a lower deviation exceeds its upper one.

    Notes
    -----
    Source: ISO 286-1:2010.

    Examples
    --------
    >>> clearance_um((0.0, 21.0), (-13.0, 0.0))
    (0.0, 34.0)
    """
    for name, (lower, upper) in (("hole", hole_um), ("shaft", shaft_um)):
        if not lower <= upper:
            raise ValueError(f"{name}: lower deviation {lower} µm exceeds upper deviation {upper} µm")
    return hole_um[0] - shaft_um[1], hole_um[1] - shaft_um[0]


def _positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def _not_negative(name: str, value: float) -> None:
    if not (value >= 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be 0 or more and finite, not {value}")


def scaled_capacity(rated: float, rated_grip_mm: float, grip_mm: float) -> float:
    """Return the capacity at a grip length other than the rated one: C = C_r·min(1, l/l_r).

    Friction under uniform pressure is proportional to the grip length. Beyond the rated length the capacity stays the
    same, since the rating does not cover more.

    Parameters
    ----------
    rated : float
        Rated C_r ≥ 0, N or N·m.
    rated_grip_mm : float
        Rated grip l_r, mm, above 0.
    grip_mm : float
        Grip l ≥ 0, mm.

    Returns
    -------
    float
        Capacity in the unit of rated.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles (Coulomb friction); the cap is cautious.

    Examples
    --------
    >>> scaled_capacity(80.0, 40.0, 30.0), scaled_capacity(80.0, 40.0, 50.0)
    (60.0, 80.0)
    """
    _not_negative("rated capacity", rated)
    _positive("rated grip length", rated_grip_mm)
    _not_negative("grip length", grip_mm)
    return rated * min(1.0, grip_mm / rated_grip_mm)


def lift_off_moment_n_m(clamping_force_n: float, mean_diameter_mm: float) -> float:
    """Return the bending moment at which a flange face begins to open: M = F·D/4.

    A thin ring pressed with F bears F/(π·D·t); the moment relieves its edge by 4·M/(π·D²·t).

    Parameters
    ----------
    clamping_force_n : float
        Clamping force F ≥ 0 of the drawbar, N.
    mean_diameter_mm : float
        Mean diameter D of the contact ring, mm, above 0.

    Returns
    -------
    float
        Moment, N·m.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles; the share of the force that the cone carries is ignored.

    Examples
    --------
    >>> lift_off_moment_n_m(18_000.0, 56.7)
    255.15
    """
    _not_negative("clamping force", clamping_force_n)
    _positive("mean diameter", mean_diameter_mm)
    return clamping_force_n * mean_diameter_mm / 4e3


def segments_slip_torque_n_m(
    mass_kg: float, bore_mm: float, length_mm: float, density_kg_m3: float, friction: float, speed_rpm: float
) -> float:
    """Return the torque that a slotted collet loses at speed: its segments press outward, against the cone.

    T = μ·m·ω²·r·d/2 with r = (d + D)/4, the middle of the wall, and D² = d² + 4·m/(π·ρ·L). The segments are not joined
    all round, so nothing but the cone holds their centrifugal force, and it is taken from the shank in full.

    Parameters
    ----------
    mass_kg : float
        Mass m of the collet, kg, above 0.
    bore_mm : float
        Bore diameter d, mm, above 0.
    length_mm : float
        Length L, mm, above 0.
    density_kg_m3 : float
        Density ρ, kg/m³, above 0.
    friction : float
        Coefficient of friction μ ≥ 0 between bore and shank.
    speed_rpm : float
        Speed, 1/min, ≥ 0.

    Returns
    -------
    float
        Loss of torque capacity, N·m; it grows with the square of the speed.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> round(segments_slip_torque_n_m(0.17, 12.0, 40.0, 7850.0, 0.12, 20_000.0), 3)
    5.486
    """
    for name, value in (("mass", mass_kg), ("bore", bore_mm), ("length", length_mm), ("density", density_kg_m3)):
        _positive(name, value)
    _not_negative("friction", friction)
    _not_negative("speed", speed_rpm)
    outer_mm = math.sqrt(bore_mm * bore_mm + 4e9 * mass_kg / (math.pi * density_kg_m3 * length_mm))
    omega = speed_rpm * math.pi / 30.0
    return friction * mass_kg * omega * omega * (bore_mm + outer_mm) / 4e3 * bore_mm / 2e3


def slip_force_from_torque_n(torque_n_m: float, diameter_mm: float) -> float:
    """Return the circumferential force on a shank under a torque: F = 2·T/d.

    Friction has no preferred direction, so with the slip torque of a grip this is also its axial slip force.

    Parameters
    ----------
    torque_n_m : float
        Torque T ≥ 0, N·m.
    diameter_mm : float
        Diameter d above 0, mm.

    Returns
    -------
    float
        Circumferential force, N.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> slip_force_from_torque_n(100.0, 20.0)
    10000.0
    """
    _not_negative("torque", torque_n_m)
    _positive("diameter", diameter_mm)
    return 2000.0 * torque_n_m / diameter_mm


def combined_safety(torque_safety: float | None, axial_safety: float | None = None) -> float | None:
    """Return the safety factor against slip under torque and axial pull together: S = 1/√(1/S_t² + 1/S_a²).

    Friction acts along the resultant of the two loads, so a capacity F carries √(F_t² + F_a²); the formula follows with
    S_t = F/F_t and S_a = F/F_a. If the capacities differ by direction, the limit is an ellipse. The formula does not
    apply to a grip with serrations or a stop, which carry the two loads separately.

    Parameters
    ----------
    torque_safety : float | None
        Safety factor S_t against slip under torque alone, ≥ 0; None without such a load, or where unknown.
    axial_safety : float | None, default None
        Safety factor S_a against slip under axial pull alone, ≥ 0; None likewise.

    Returns
    -------
    float | None
        Safety factor, at most the smaller of the two; None where both are None.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles (Coulomb friction).

    Examples
    --------
    >>> combined_safety(4.0, 3.0), combined_safety(2.5, None)
    (2.4, 2.5)
    """
    stated = sorted(safety for safety in (torque_safety, axial_safety) if safety is not None)
    for safety in stated:
        _not_negative("safety", safety)
    if len(stated) < 2:
        return stated[0] if stated else None
    smaller, larger = stated
    return smaller / math.hypot(1.0, smaller / larger) if larger > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring of one elastic material: a hub, a hollow shaft, or a solid shaft (inner diameter 0).

    Parameters: inner_mm and outer_mm, diameters, 0 ≤ inner < outer; youngs_modulus_gpa, E > 0;
    poisson_ratio, 0 ≤ ν ≤ 0.5; density_kg_m3, ρ > 0; all finite, else ValueError.
    """

    inner_mm: float
    outer_mm: float
    youngs_modulus_gpa: float
    poisson_ratio: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        if not 0 <= self.inner_mm < self.outer_mm < math.inf:
            raise ValueError(f"a ring needs 0 ≤ inner < outer diameter, not {self.inner_mm} and {self.outer_mm} mm")
        if not 0 < self.youngs_modulus_gpa < math.inf:
            raise ValueError(f"Young's modulus must be above 0 GPa and finite, not {self.youngs_modulus_gpa}")
        if not 0 <= self.poisson_ratio <= 0.5:
            raise ValueError(f"Poisson's ratio must be from 0 to 0.5, not {self.poisson_ratio}")
        if not 0 < self.density_kg_m3 < math.inf:
            raise ValueError(f"density must be above 0 kg/m³ and finite, not {self.density_kg_m3}")


def inner_hoop_mpa(ring: Ring, speed_rpm: float) -> float:
    """Return the hoop stress at the bore of a free rotating ring, the largest in the ring.

    σ = ρω²/4·((3+ν)·b² + (1−ν)·a²), with a and b the radii of bore and outside. At the centre of a solid disc the
    stress is half the limit for a vanishing bore, σ = (3+ν)/8·ρω²b².

    Parameters
    ----------
    ring : Ring
        Ring, rotating free of other parts.
    speed_rpm : float
        Speed n ≥ 0, 1/min.

    Returns
    -------
    float
        Hoop stress at the bore, MPa.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: plane stress (σ_z = 0), exact for a thin disc and close for a short sleeve.

    Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    Examples
    --------
    >>> round(inner_hoop_mpa(Ring(0.0, 250.0, 208.0, 0.3, 7850.0), 14_000.0), 4)
    108.7494
    """
    a, b, nu = ring.inner_mm / 2.0, ring.outer_mm / 2.0, ring.poisson_ratio
    factor = (3.0 + nu) / 8.0 * b * b if a == 0 else ((3.0 + nu) * b * b + (1.0 - nu) * a * a) / 4.0
    return _inertia_mpa_per_mm2(ring, speed_rpm) * factor


def bore_growth_um(ring: Ring, speed_rpm: float) -> float:
    """Return the growth of the bore diameter of a free rotating ring: 2u = 2·a·σ/E.

    The bore carries no radial stress, so its hoop strain is σ/E with σ = ρω²/4·((3+ν)·b² + (1−ν)·a²).

    Parameters
    ----------
    ring : Ring
        Ring, rotating free of other parts.
    speed_rpm : float
        Speed n ≥ 0, 1/min.

    Returns
    -------
    float
        Growth of the bore diameter, µm; 0 for a solid shaft.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: plane stress, elastic.

    Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    Examples
    --------
    >>> round(bore_growth_um(Ring(20.0, 44.0, 206.0, 0.3, 7850.0), 30_000.0), 5)
    3.13516
    """
    return ring.inner_mm * inner_hoop_mpa(ring, speed_rpm) / ring.youngs_modulus_gpa


def surface_growth_um(ring: Ring, speed_rpm: float) -> float:
    """Return the growth of the outside diameter of a free rotating ring: 2u = 2·b·σ/E.

    The outside carries no radial stress, so its hoop strain is σ/E with σ = ρω²/4·((1−ν)·b² + (3+ν)·a²).

    Parameters
    ----------
    ring : Ring
        Ring, rotating free of other parts.
    speed_rpm : float
        Speed n ≥ 0, 1/min.

    Returns
    -------
    float
        Growth of the outside diameter, µm.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: plane stress, elastic.

    Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    Examples
    --------
    >>> round(surface_growth_um(Ring(0.0, 12.0, 210.0, 0.3, 7850.0), 30_000.0), 6)
    0.027892
    """
    a, b, nu = ring.inner_mm / 2.0, ring.outer_mm / 2.0, ring.poisson_ratio
    hoop_mpa = _inertia_mpa_per_mm2(ring, speed_rpm) * ((1.0 - nu) * b * b + (3.0 + nu) * a * a) / 4.0
    return ring.outer_mm * hoop_mpa / ring.youngs_modulus_gpa


def _inertia_mpa_per_mm2(ring: Ring, speed_rpm: float) -> float:
    """Return ρω², the stress of the centrifugal load per square millimetre of radius squared, MPa/mm²."""
    if not 0 <= speed_rpm < math.inf:
        raise ValueError(f"speed must not be negative and must be finite, not {speed_rpm}")
    omega = speed_rpm * math.pi / 30.0
    return ring.density_kg_m3 * omega * omega * 1e-12


_SAME_DIAMETER: Final = 0.01
"""Largest relative difference of hub bore and shaft from the joint diameter; no metal stays elastic beyond it."""
_ABSOLUTE_ZERO_C: Final = -273.15
_UNIT_SPEED_RPM: Final = 1000.0


class RingStress(NamedTuple):
    """Stress at one radius of a ring in MPa, tension positive, and its two equivalent stresses with σ_z = 0."""

    hoop_mpa: float
    radial_mpa: float
    von_mises_mpa: float
    tresca_mpa: float


def _finite(name: str, value: float) -> None:
    if not math.isfinite(value):
        raise ValueError(f"{name} must be finite, not {value}")


def _no_negative_values(name: str, value: float) -> None:
    if not 0 <= value < math.inf:
        raise ValueError(f"{name} must not be negative and must be finite, not {value}")


def _positive_lengths(name: str, value: float) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def _at_one_joint(diameter_mm: float, hub: Ring, shaft: Ring) -> None:
    _positive_lengths("joint diameter", diameter_mm)
    if not shaft.inner_mm < diameter_mm < hub.outer_mm:
        raise ValueError(
            f"the joint diameter {diameter_mm} mm must lie between the shaft's bore of {shaft.inner_mm} mm"
            f" and the hub's outside of {hub.outer_mm} mm"
        )
    for part, own_mm in (("hub's bore", hub.inner_mm), ("shaft's outside", shaft.outer_mm)):
        if abs(own_mm - diameter_mm) > _SAME_DIAMETER * diameter_mm:
            raise ValueError(f"the {part} of {own_mm} mm is not at the joint diameter {diameter_mm} mm")


def _wall_factor(ratio: float) -> float:
    """Return (1+r²)/(1−r²) for the ratio r of inner to outer diameter; never 0/0 for r below 1."""
    return (1.0 + ratio * ratio) / ((1.0 - ratio) * (1.0 + ratio))


def pressure_per_um(joint_diameter_mm: float, hub: Ring, shaft: Ring) -> float:
    """Return the joint pressure per µm of diametral interference.

    p/δ = 1 / (d·[((D²+d²)/(D²−d²) + ν_o)/E_o + ((d²+d_i²)/(d²−d_i²) − ν_i)/E_i]).

    Parameters
    ----------
    joint_diameter_mm : float
        Joint diameter d, mm.
    hub : Ring
        Outer ring (D, E_o, ν_o).
    shaft : Ring
        Inner ring (d_i, E_i, ν_i).

    Returns
    -------
    float
        Joint pressure per µm of diametral interference, MPa/µm.

    Raises
    ------
    ValueError
        Unless d_i < d < D and both parts have the joint diameter within 1 %.

    Notes
    -----
    Domain: elastic, plane stress, hub and shaft of equal length.

    Source: Lamé; Shigley, press and shrink fits; DIN 7190.

    Examples
    --------
    >>> hub, shaft = Ring(50.0, 100.0, 207.0, 0.3, 7850.0), Ring(0.0, 50.0, 207.0, 0.3, 7850.0)
    >>> round(pressure_per_um(50.0, hub, shaft), 9)
    1.5525
    """
    _at_one_joint(joint_diameter_mm, hub, shaft)
    give = (_wall_factor(joint_diameter_mm / hub.outer_mm) + hub.poisson_ratio) / hub.youngs_modulus_gpa
    give += (_wall_factor(shaft.inner_mm / joint_diameter_mm) - shaft.poisson_ratio) / shaft.youngs_modulus_gpa
    return 1.0 / (joint_diameter_mm * give)


def joint_pressure_mpa(interference_um: float, joint_diameter_mm: float, hub: Ring, shaft: Ring) -> float:
    """Return the pressure in an interference joint: p = δ times :func:`pressure_per_um`, 0 for δ ≤ 0.

    At speed, use the interference from :func:`interference_at_speed_um`.

    Parameters
    ----------
    interference_um : float
        Diametral interference δ, µm, finite.
    joint_diameter_mm : float
        Diameter of the joint, mm.
    hub : Ring
        Outer ring; its bore is the joint diameter.
    shaft : Ring
        Inner ring; its outside is the joint diameter.

    Returns
    -------
    float
        Pressure in an interference joint, MPa.

    Examples
    --------
    >>> hub, shaft = Ring(20.0, 44.0, 206.0, 0.3, 7850.0), Ring(0.0, 20.0, 620.0, 0.22, 14500.0)
    >>> round(joint_pressure_mpa(20.0, 20.0, hub, shaft), 6)
    99.038718
    """
    _finite("interference", interference_um)
    return max(0.0, interference_um) * pressure_per_um(joint_diameter_mm, hub, shaft)


def effective_interference_um(
    interference_um: float, hub_rz_um: float, shaft_rz_um: float, smoothing_factor: float
) -> float:
    """Return the interference after smoothing of both surfaces: δ − k·(Rz_o + Rz_i), at least 0.

    Parameters
    ----------
    interference_um : float
        Diametral interference δ, µm, finite.
    hub_rz_um : float
        Mean roughness depth Rz ≥ 0 of the hub bore, µm.
    shaft_rz_um : float
        Mean roughness depth Rz ≥ 0 of the shaft, µm.
    smoothing_factor : float
        Smoothing factor k ≥ 0.

    Returns
    -------
    float
        Effective interference, µm on the diameter.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: DIN 7190 (from memory), which takes 0.4·Rz off the radius for each surface, so k = 0.8.

    Examples
    --------
    >>> round(effective_interference_um(20.0, 3.2, 1.6, 0.8), 9)
    16.16
    """
    _finite("interference", interference_um)
    _no_negative_values("roughness depth of the hub", hub_rz_um)
    _no_negative_values("roughness depth of the shaft", shaft_rz_um)
    _no_negative_values("smoothing factor", smoothing_factor)
    return max(0.0, interference_um - smoothing_factor * (hub_rz_um + shaft_rz_um))


def slip_force_n(pressure_mpa: float, diameter_mm: float, length_mm: float, friction: float) -> float:
    """Return the axial force at which an interference joint slips: F = μ·p·π·d·L.

    Parameters
    ----------
    pressure_mpa : float
        Pressure p ≥ 0 in the joint, MPa.
    diameter_mm : float
        Joint diameter d > 0, mm.
    length_mm : float
        Length L > 0 of the joint, mm.
    friction : float
        Coefficient of friction μ ≥ 0.

    Returns
    -------
    float
        Axial slip force, N, without torque.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: uniform pressure.

    Source: Shigley; DIN 7190.

    Examples
    --------
    >>> round(slip_force_n(48.75, 50.0, 40.0, 0.15), 2)
    45945.79
    """
    _no_negative_values("pressure", pressure_mpa)
    _positive_lengths("diameter", diameter_mm)
    _positive_lengths("length", length_mm)
    _no_negative_values("friction", friction)
    return friction * pressure_mpa * math.pi * diameter_mm * length_mm


def slip_torque_n_m(pressure_mpa: float, diameter_mm: float, length_mm: float, friction: float) -> float:
    """Return the torque at which an interference joint slips: T = F·d/2 = μ·p·π·d²·L/2.

    Parameters and errors as in :func:`slip_force_n`.

    Parameters
    ----------
    pressure_mpa : float
        Pressure p ≥ 0 in the joint, MPa.
    diameter_mm : float
        Diameter, mm, above 0.
    length_mm : float
        Length, mm, above 0.
    friction : float
        Coefficient of friction μ ≥ 0.

    Returns
    -------
    float
        Slip torque, N·m, without axial force.

    Notes
    -----
    Source: Shigley; DIN 7190.

    Examples
    --------
    >>> round(slip_torque_n_m(48.75, 50.0, 40.0, 0.15), 4)
    1148.6448
    """
    return slip_force_n(pressure_mpa, diameter_mm, length_mm, friction) * diameter_mm / 2000.0


def _ring_stress(hoop_mpa: float, radial_mpa: float) -> RingStress:
    von_mises = math.sqrt(hoop_mpa * hoop_mpa - hoop_mpa * radial_mpa + radial_mpa * radial_mpa)
    tresca = max(hoop_mpa, radial_mpa, 0.0) - min(hoop_mpa, radial_mpa, 0.0)
    return RingStress(hoop_mpa, radial_mpa, von_mises, tresca)


def hub_stress_mpa(pressure_mpa: float, hub: Ring, speed_rpm: float = 0.0) -> RingStress:
    """Return the stress at the bore of the hub, the largest in the hub, under joint pressure and speed together.

    σ_θ = p·(D²+d²)/(D²−d²) + ρω²/4·((3+ν)·b² + (1−ν)·a²), σ_r = −p, σ_z = 0.

    Parameters
    ----------
    pressure_mpa : float
        Joint pressure p ≥ 0 at that speed, MPa.
    hub : Ring
        Outer ring, with a bore.
    speed_rpm : float, default 0.0
        Speed n ≥ 0, 1/min.

    Returns
    -------
    RingStress
        Stress at the bore of the hub, MPa.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: elastic, open ends.

    Source: Lamé; Timoshenko & Goodier, rotating discs; superposition.

    Examples
    --------
    >>> [round(value, 3) for value in hub_stress_mpa(48.75, Ring(50.0, 80.0, 200.0, 0.3, 7850.0))]
    [111.25, -48.75, 142.044, 160.0]
    """
    _no_negative_values("pressure", pressure_mpa)
    if hub.inner_mm == 0:
        raise ValueError("a hub has a bore; its inner diameter is 0 mm")
    hoop = pressure_mpa * _wall_factor(hub.inner_mm / hub.outer_mm) + inner_hoop_mpa(hub, speed_rpm)
    return _ring_stress(hoop, -pressure_mpa)


def shaft_stress_mpa(pressure_mpa: float, shaft: Ring, speed_rpm: float = 0.0) -> RingStress:
    """Return the stress at the bore of a hollow shaft, or at the centre of a solid one.

    Hollow: σ_θ = −2·p·d²/(d²−d_i²) + σ_ω, σ_r = 0. Solid: σ_θ = σ_r = −p + σ_ω. σ_ω is the hoop stress there of the
    free rotating shaft.

    Parameters
    ----------
    pressure_mpa : float
        Joint pressure p ≥ 0, MPa.
    shaft : Ring
        Inner ring; its outside is the joint diameter.
    speed_rpm : float, default 0.0
        Speed n ≥ 0, 1/min.

    Returns
    -------
    RingStress
        Stress, MPa, compression negative; at rest it is the largest in the shaft.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: Lamé; Timoshenko & Goodier.

    Examples
    --------
    >>> shaft_stress_mpa(60.0, Ring(0.0, 20.0, 600.0, 0.22, 14500.0))
    RingStress(hoop_mpa=-60.0, radial_mpa=-60.0, von_mises_mpa=60.0, tresca_mpa=60.0)
    """
    _no_negative_values("pressure", pressure_mpa)
    turning = inner_hoop_mpa(shaft, speed_rpm)
    if shaft.inner_mm == 0:
        return _ring_stress(turning - pressure_mpa, turning - pressure_mpa)
    return _ring_stress(turning - pressure_mpa * (_wall_factor(shaft.inner_mm / shaft.outer_mm) + 1.0), 0.0)


def interference_at_speed_um(interference_um: float, speed_rpm: float, hub: Ring, shaft: Ring) -> float:
    """Return the interference left at speed: δ − (growth of the hub bore − growth of the shaft surface).

    Both growths are those of the free rotating parts and rise with the square of the speed; the docstring of this
    module explains why they are subtracted from δ.

    Parameters
    ----------
    interference_um : float
        Diametral interference at rest, µm, finite.
    speed_rpm : float
        Speed n ≥ 0, 1/min.
    hub : Ring
        Outer ring; its bore is within 1 % of the joint diameter.
    shaft : Ring
        Inner ring; its outside is within 1 % of the joint diameter.

    Returns
    -------
    float
        Interference left at speed, µm; clearance is negative.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Examples
    --------
    >>> hub, shaft = Ring(12.0, 24.0, 210.0, 0.3, 7850.0), Ring(0.0, 12.0, 210.0, 0.3, 7850.0)
    >>> round(interference_at_speed_um(5.0, 30_000.0, hub, shaft), 6)
    4.474046
    """
    _finite("interference", interference_um)
    _at_one_joint(hub.inner_mm, hub, shaft)
    return interference_um - (bore_growth_um(hub, speed_rpm) - surface_growth_um(shaft, speed_rpm))


def holding_speed_rpm(interference_um: float, needed_interference_um: float, hub: Ring, shaft: Ring) -> float | None:
    """Return the speed at which the interference falls to the required value: n = n₁·sqrt((δ − δ_needed)/loss at n₁).

    Parameters
    ----------
    interference_um : float
        Diametral interference at rest, µm, finite.
    needed_interference_um : float
        Required interference, ≥ 0, µm.
    hub : Ring
        Outer ring; its bore is within 1 % of the joint diameter.
    shaft : Ring
        Inner ring; its outside is within 1 % of the joint diameter.

    Returns
    -------
    float | None
        Speed, 1/min. It is 0 if the interference at rest is not above the required one. It is None if the interference
        never falls to it, since the shaft surface grows at least as much as the hub bore.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: :func:`interference_at_speed_um`, solved for the speed.

    Examples
    --------
    >>> hub, shaft = Ring(12.0, 24.0, 210.0, 0.3, 7850.0), Ring(0.0, 12.0, 210.0, 0.3, 7850.0)
    >>> round(holding_speed_rpm(5.0, 4.0, hub, shaft), 3)
    41366.365
    """
    _finite("interference", interference_um)
    _no_negative_values("needed interference", needed_interference_um)
    loss_um = -interference_at_speed_um(0.0, _UNIT_SPEED_RPM, hub, shaft)
    if interference_um <= needed_interference_um:
        return 0.0
    if loss_um <= 0:
        return None
    return _UNIT_SPEED_RPM * math.sqrt((interference_um - needed_interference_um) / loss_um)


def release_speed_rpm(interference_um: float, hub: Ring, shaft: Ring) -> float | None:
    """Return the release speed, at which the parts lose contact.

    It is :func:`holding_speed_rpm` without required interference; parameters and errors are those of that function.

    Parameters
    ----------
    interference_um : float
        Diametral interference δ at rest, µm.
    hub : Ring
        Outer ring; its bore is the joint diameter.
    shaft : Ring
        Inner ring; its outside is the joint diameter.

    Returns
    -------
    float | None
        Release speed, 1/min: 0 for a joint without interference, None if it never releases. The joint slips well below
        this speed, so it is not a permissible speed.

    Examples
    --------
    >>> hub, shaft = Ring(12.0, 24.0, 210.0, 0.3, 7850.0), Ring(0.0, 12.0, 210.0, 0.3, 7850.0)
    >>> round(release_speed_rpm(5.0, hub, shaft), 3)
    92498.004
    """
    return holding_speed_rpm(interference_um, 0.0, hub, shaft)


def opening_temperature_c(
    interference_um: float, clearance_um: float, diameter_mm: float, expansion_hub_per_k: float, start_c: float
) -> float:
    """Return the temperature of the hub at which the cold shaft enters: ϑ = ϑ₀ + (δ + clearance)/(α·d).

    Parameters
    ----------
    interference_um : float
        Diametral interference δ at start_c, µm, finite.
    clearance_um : float
        Diametral clearance for joining, ≥ 0, µm.
    diameter_mm : float
        Joint diameter d > 0, mm.
    expansion_hub_per_k : float
        Thermal expansion α > 0 of the hub, 1/K.
    start_c : float
        Temperature ϑ₀ of both parts, °C, not below absolute zero.

    Returns
    -------
    float
        Temperature of the hub, °C; start_c if the shaft enters cold.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Domain: hub heated evenly, shaft at start_c, α constant; the limit of the material is not checked.

    Source: thermal expansion, first principles; DIN 7190.

    Examples
    --------
    >>> round(opening_temperature_c(20.0, 20.0, 20.0, 11.5e-6, 20.0), 4)
    193.913
    """
    _finite("interference", interference_um)
    _no_negative_values("clearance", clearance_um)
    _positive_lengths("diameter", diameter_mm)
    _positive_lengths("coefficient of expansion", expansion_hub_per_k)
    if not _ABSOLUTE_ZERO_C <= start_c < math.inf:
        raise ValueError(f"start temperature must be finite and not below absolute zero, not {start_c} °C")
    return start_c + max(0.0, interference_um + clearance_um) / (diameter_mm * 1000.0 * expansion_hub_per_k)
