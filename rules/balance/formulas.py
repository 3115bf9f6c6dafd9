"""Unbalance of a rigid rotor by ISO 21940-11."""

from __future__ import annotations

import math
from typing import Final

__all__ = [
    "RPM_PER_RADIAN_PER_MILLISECOND",
    "balance_speed_rpm",
    "bearing_shares",
    "clamping_unbalance_g_mm",
    "permissible_eccentricity_um",
    "permissible_unbalance_g_mm",
    "plane_shares",
    "quality_mm_per_s",
    "rotating_force_n",
]

RPM_PER_RADIAN_PER_MILLISECOND: Final = 30_000.0 / math.pi
"""9549.3: 1 rad/ms in revolutions per minute, the constant in the equations of the standard."""


def _positive(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def _not_negative(name: str, value: float) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must be 0 or more and finite, not {value}")


def permissible_eccentricity_um(grade_mm_per_s: float, speed_rpm: float) -> float:
    """Return the permissible residual specific unbalance e_per = 9549.3·G/n.

    Parameters
    ----------
    grade_mm_per_s : float
        Number G of the balance quality grade, mm/s, above 0.
    speed_rpm : float
        Speed n, 1/min, above 0.

    Returns
    -------
    float
        Permissible residual specific unbalance e_per, µm (= g·mm/kg).

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: ISO 21940-11, clause 6.

    Examples
    --------
    >>> round(permissible_eccentricity_um(2.5, 3000.0), 6)
    7.957747
    """
    _positive("grade", grade_mm_per_s)
    _positive("speed", speed_rpm)
    return RPM_PER_RADIAN_PER_MILLISECOND * grade_mm_per_s / speed_rpm


def permissible_unbalance_g_mm(grade_mm_per_s: float, mass_kg: float, speed_rpm: float) -> float:
    """Return the permissible residual unbalance U_per = e_per·m.

    Parameters
    ----------
    grade_mm_per_s : float
        Number G of the balance quality grade, mm/s, above 0.
    mass_kg : float
        Rotor mass m, kg, above 0.
    speed_rpm : float
        Speed n, 1/min, above 0.

    Returns
    -------
    float
        Permissible residual unbalance U_per, g·mm.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: ISO 21940-11, clause 6.

    Examples
    --------
    >>> round(permissible_unbalance_g_mm(2.5, 1.0, 12_000.0), 6)
    1.989437
    """
    _positive("mass", mass_kg)
    return permissible_eccentricity_um(grade_mm_per_s, speed_rpm) * mass_kg


def balance_speed_rpm(grade_mm_per_s: float, mass_kg: float, unbalance_g_mm: float) -> float:
    """Return the highest speed at which an unbalance meets a grade: n = 9549.3·G·m/U.

    Parameters
    ----------
    grade_mm_per_s : float
        Number G of the balance quality grade, mm/s, above 0.
    mass_kg : float
        Rotor mass m, kg, above 0.
    unbalance_g_mm : float
        Unbalance U, g·mm, above 0.

    Returns
    -------
    float
        Highest speed, 1/min.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: ISO 21940-11, clause 6, solved for the speed.

    Examples
    --------
    >>> round(balance_speed_rpm(2.5, 1.0, 1.989436788648692), 3)
    12000.0
    """
    _positive("grade", grade_mm_per_s)
    _positive("mass", mass_kg)
    _positive("unbalance", unbalance_g_mm)
    return RPM_PER_RADIAN_PER_MILLISECOND * grade_mm_per_s * mass_kg / unbalance_g_mm


def rotating_force_n(unbalance_g_mm: float, speed_rpm: float) -> float:
    """Return the force of an unbalance on the spindle: F = U·ω².

    Parameters
    ----------
    unbalance_g_mm : float
        Unbalance U ≥ 0, g·mm.
    speed_rpm : float
        Speed n ≥ 0, 1/min.

    Returns
    -------
    float
        Rotating force, N.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles (ISO 21940-11 uses the same rigid rotor).

    Examples
    --------
    >>> round(rotating_force_n(1000.0, 3000.0), 4)
    98.696
    """
    if not (unbalance_g_mm >= 0 and speed_rpm >= 0):
        raise ValueError("unbalance and speed must not be negative")
    omega = speed_rpm * math.pi / 30.0
    return unbalance_g_mm * 1e-6 * omega * omega


def quality_mm_per_s(mass_kg: float, unbalance_g_mm: float, speed_rpm: float) -> float:
    """Return the balance quality of a rotor at a speed: G = e·ω = (U/m)·n/9549.3.

    Parameters
    ----------
    mass_kg : float
        Rotor mass m, kg, above 0.
    unbalance_g_mm : float
        Unbalance U ≥ 0, g·mm.
    speed_rpm : float
        Speed n, 1/min, above 0.

    Returns
    -------
    float
        Balance quality, mm/s, to compare with the number of a grade.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: ISO 21940-11, clause 6.

    Examples
    --------
    >>> round(quality_mm_per_s(6.0, 180.0, 5000.0), 6)
    15.707963
    """
    _positive("mass", mass_kg)
    _positive("speed", speed_rpm)
    _not_negative("unbalance", unbalance_g_mm)
    return unbalance_g_mm / mass_kg * speed_rpm / RPM_PER_RADIAN_PER_MILLISECOND


def clamping_unbalance_g_mm(mass_kg: float, eccentricity_um: float) -> float:
    """Return the unbalance of a balanced rotor clamped off its axis: U = m·e.

    Balancing cannot go below the repeatability of the seat, since the next clamping restores that eccentricity.

    Parameters
    ----------
    mass_kg : float
        Rotor mass m, kg, above 0.
    eccentricity_um : float
        Eccentricity e ≥ 0, µm.

    Returns
    -------
    float
        Unbalance, g·mm (1 µm on 1 kg is 1 g·mm).

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles; the approach is that of ISO 16084.

    Examples
    --------
    >>> clamping_unbalance_g_mm(1.0, 2.0)
    2.0
    """
    _positive("mass", mass_kg)
    _not_negative("eccentricity", eccentricity_um)
    return mass_kg * eccentricity_um


def plane_shares(z_mm: float, first_mm: float, second_mm: float) -> tuple[float, float]:
    """Return the shares of an unbalance at z in two planes: (z_B − z)/(z_B − z_A) and (z − z_A)/(z_B − z_A).

    An unbalance in the two planes has the same resultant and the same couple as the one at z.

    Parameters
    ----------
    z_mm : float
        Position of the unbalance, mm.
    first_mm, second_mm : float
        Positions z_A and z_B of the planes, mm, apart.

    Returns
    -------
    tuple[float, float]
        Shares; their sum is 1. One is negative beyond the planes.

    Raises
    ------
    ValueError
        If the planes coincide.

    Notes
    -----
    Source: statics of a rigid rotor.

    Examples
    --------
    >>> plane_shares(110.0, 0.0, 100.0)
    (-0.1, 1.1)
    """
    span = second_mm - first_mm
    if not abs(span) > 0.0:
        raise ValueError("two planes must be apart")
    return (second_mm - z_mm) / span, (z_mm - first_mm) / span


def bearing_shares(z_mm: float, front_mm: float, spacing_mm: float) -> tuple[float, float]:
    """Return the forces on front and rear bearing per rotating force at z: (z + p + q)/q and −(z + p)/q.

    Parameters
    ----------
    z_mm : float
        Position of the force, mm from the gauge line toward the cut.
    front_mm : float
        Distance p of the front bearing behind the gauge line, mm.
    spacing_mm : float
        Distance q from the front to the rear bearing, mm, above 0.

    Returns
    -------
    tuple[float, float]
        Force on the front and on the rear bearing over the rotating force; their sum is 1.

    Raises
    ------
    ValueError
        If the spacing is not above 0.

    Notes
    -----
    Source: statics of an overhung rigid rotor.

    Examples
    --------
    >>> bearing_shares(40.0, 60.0, 200.0)
    (1.5, -0.5)
    """
    _positive("bearing spacing", spacing_mm)
    return (z_mm + front_mm + spacing_mm) / spacing_mm, -(z_mm + front_mm) / spacing_mm
