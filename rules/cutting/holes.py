"""Torque and thrust of drilling, reaming, boring and tapping, from the specific cutting force."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from rules.cutting.formulas import specific_force_mpa

__all__ = ["HoleLoad", "chisel_edge_ratio", "hole_load", "tapping_torque_n_m"]

_MM_PER_INCH: Final = 25.4
_TORQUE_FACTOR: Final = 1.085
_THRUST_FACTOR: Final = 1.355
_CHISEL_FACTOR: Final = 0.030
"""A, B and J for a chisel edge of 0.18 drill diameters, a standard point."""


class HoleLoad(NamedTuple):
    """Load of a tool that makes or widens a hole."""

    thickness_mm: float
    """Chip thickness h."""
    specific_force_mpa: float
    torque_n_m: float
    thrust_n: float
    """Feed force, without chisel edge."""
    edge_force_n: float
    """Tangential force of one edge."""


def _positive(name: str, value: float) -> None:
    if not (value > 0.0 and math.isfinite(value)):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def hole_load(
    diameter_mm: float,
    existing_mm: float,
    feed_per_rev_mm: float,
    edges: int,
    lead_deg: float,
    unit_force_mpa: float,
    exponent: float,
) -> HoleLoad:
    """Return torque and thrust of a drill, core drill, reamer or boring tool.

    h = f/z·sin κ, k_c = k_c1.1·h^(−m_c), T = k_c·f·(D² − d²)/8: each of z edges cuts the section f/z·(D − d)/2 at the
    mean radius (D + d)/4. Feed force: 0.7·k_c·f·(D − d)/2, the upper one of two formulas in print (the lower has
    0.5·sin κ).

    Parameters
    ----------
    diameter_mm : float
        Cutting diameter D, mm, above 0.
    existing_mm : float
        Diameter d of the hole before, mm, in [0, D); 0 for solid material.
    feed_per_rev_mm : float
        Feed f per revolution, mm, above 0.
    edges : int
        Cutting edges z ≥ 1.
    lead_deg : float
        Lead angle κ, in (0, 90] degrees: half the point angle of a drill.
    unit_force_mpa : float
        Unit force k_c1.1, MPa, above 0.
    exponent : float
        Exponent m_c, in [0, 1).

    Returns
    -------
    HoleLoad
        Torque and thrust for sharp edges, without chisel edge and without friction of margins.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: handbooks of machining, for the torque also first principles.

    Examples
    --------
    >>> load = hole_load(8.5, 0.0, 0.2, 2, 59.0, 2220.0, 0.14)
    >>> round(load.specific_force_mpa, 1), round(load.torque_n_m, 3), round(load.thrust_n)
    (3131.3, 5.656, 1863)
    """
    _positive("diameter", diameter_mm)
    _positive("feed", feed_per_rev_mm)
    if not 0.0 <= existing_mm < diameter_mm:
        raise ValueError(f"the hole before must be from 0 to below {diameter_mm} mm, not {existing_mm}")
    if not edges >= 1:
        raise ValueError(f"a tool has at least one edge, not {edges}")
    if not 0.0 < lead_deg <= 90.0:
        raise ValueError(f"the angle of the cutting edge must be above 0° and at most 90°, not {lead_deg}°")
    thickness = feed_per_rev_mm / edges * math.sin(math.radians(lead_deg))
    force = specific_force_mpa(unit_force_mpa, exponent, thickness)
    section = feed_per_rev_mm * (diameter_mm - existing_mm) / 2.0
    return HoleLoad(
        thickness,
        force,
        force * section * (diameter_mm + existing_mm) / 4000.0,
        0.7 * force * section,
        force * section / edges,
    )


def chisel_edge_ratio(diameter_mm: float, feed_per_rev_mm: float) -> float:
    """Return thrust over torque of a standard drill point with its chisel edge, 1/m.

    T = 2·K·f^0.8·d^0.8·B + K·d²·J and M = K·f^0.8·d^1.8·A, in inches: the material K cancels, and so does wear.

    Parameters
    ----------
    diameter_mm : float
        Drill diameter d, mm, above 0.
    feed_per_rev_mm : float
        Feed f per revolution, mm, above 0.

    Returns
    -------
    float
        Thrust divided by torque, 1/m, for a chisel edge of 0.18 d. The chisel edge doubles the thrust.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: Machinery's Handbook, 31st ed., p. 1152.

    Examples
    --------
    >>> round(chisel_edge_ratio(0.875 * 25.4, 0.008 * 25.4) * 0.0254, 2)
    4.14
    """
    _positive("diameter", diameter_mm)
    _positive("feed", feed_per_rev_mm)
    diameter, feed = diameter_mm / _MM_PER_INCH, feed_per_rev_mm / _MM_PER_INCH
    lips = float(feed**0.8 * diameter**0.8)
    thrust = 2.0 * lips * _THRUST_FACTOR + diameter**2 * _CHISEL_FACTOR
    return thrust / (lips * diameter * _TORQUE_FACTOR) * 1000.0 / _MM_PER_INCH


def tapping_torque_n_m(diameter_mm: float, pitch_mm: float, specific_mpa: float) -> float:
    """Return the torque of a cutting tap: T = k_c·P²·D/8.

    P²/4 is the section of the thread groove with 5.6 % in hand, cut at the radius D/2.

    Parameters
    ----------
    diameter_mm : float
        Thread diameter D, mm, above 0.
    pitch_mm : float
        Pitch P, mm, above 0.
    specific_mpa : float
        Specific cutting force for taps, which holds their thin chips, MPa, above 0.

    Returns
    -------
    float
        Torque, N·m, for a sharp tap. Forming takes two to three times as much; wear and reversal double either.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: trade tables.

    Examples
    --------
    >>> tapping_torque_n_m(6.0, 1.0, 2500.0), tapping_torque_n_m(16.0, 2.0, 2500.0)
    (1.875, 20.0)
    """
    _positive("diameter", diameter_mm)
    _positive("pitch", pitch_mm)
    _positive("specific force", specific_mpa)
    return specific_mpa * pitch_mm**2 * diameter_mm / 8000.0
