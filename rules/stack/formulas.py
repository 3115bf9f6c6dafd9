"""Mass, centre of mass and moments of inertia of a body of revolution, given as pieces along its axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

__all__ = ["Body", "Frustum", "body_of", "equivalent_diameter_mm"]


class Frustum(NamedTuple):
    """A piece of the outline, with length and diameters in mm; the bore is cylindrical."""

    length_mm: float
    start_mm: float
    end_mm: float
    bore_mm: float = 0.0


class Body(NamedTuple):
    """Mass in kg, centre of mass in mm from the start of the first piece, moments of inertia in kg·mm²."""

    mass_kg: float
    centre_mm: float
    transverse_inertia_kg_mm2: float
    """Transverse moment of inertia about the centre of mass."""
    polar_inertia_kg_mm2: float
    """Moment of inertia about the axis."""


def _check(pieces: Sequence[Frustum], density_kg_per_m3: float) -> None:
    if not pieces:
        raise ValueError("a body has at least one piece")
    if not (density_kg_per_m3 > 0 and math.isfinite(density_kg_per_m3)):
        raise ValueError(f"density must be above 0 kg/m³ and finite, not {density_kg_per_m3}")
    for length, start, end, bore in pieces:
        if not length > 0:
            raise ValueError(f"a piece must be longer than 0 mm, not {length}")
        if bore >= start or bore >= end:
            raise ValueError(f"a bore of {bore} mm leaves no wall")


def body_of(pieces: Sequence[Frustum], density_kg_per_m3: float) -> Body:
    """Return mass, centre of mass and moments of inertia of frusta in a row, of one material.

    m = ρ·∫π·(r² − b²) dz, z_c = ρ·∫π·(r² − b²)·z dz/m, I_p = ρ·∫(π/2)·(r⁴ − b⁴) dz and I_t = I_p/2 + ρ·∫π·(r² − b²)·(z
    − z_c)² dz, in closed form. r = b + wall with the radius b of the bore and a wall linear in z along each piece, so a
    thin wall is never computed as a difference of two solids.

    Parameters
    ----------
    pieces : Sequence[Frustum]
        Frusta in order, at least one.
    density_kg_per_m3 : float
        Density of the material, kg/m³, above 0.

    Returns
    -------
    Body
        Mass, centre of mass and moments of inertia.

    Raises
    ------
    ValueError
        For no piece, a length not above 0, a bore without a wall or a density not above 0.

    Notes
    -----
    Source: exact geometry.

    Examples
    --------
    >>> body = body_of([Frustum(100.0, 20.0, 20.0)], 7850.0)
    >>> round(body.mass_kg, 9), body.centre_mm
    (0.246615023, 50.0)
    >>> round(body.transverse_inertia_kg_mm2, 9), round(body.polar_inertia_kg_mm2, 9)
    (211.677895005, 12.330751165)
    """
    _check(pieces, density_kg_per_m3)
    position = volume = moment = fourths = 0.0
    parts: list[tuple[float, float, float, float, float]] = []
    for length, start, end, bore_diameter in pieces:
        bore = bore_diameter / 2.0
        u, w = start / 2.0 - bore, end / 2.0 - bore
        uu, uw, ww = u * u, u * w, w * w
        # means over the piece of the powers of the wall, and of r² − b² = 2·b·wall + wall² times 1, t and t²
        first, second = (u + w) / 2.0, (uu + uw + ww) / 3.0
        third, fourth = (u + w) * (uu + ww) / 4.0, (uu * (uu + uw + ww) + ww * (uw + ww)) / 5.0
        by_one = 2.0 * bore * first + second
        by_t = bore * (u + 2.0 * w) / 3.0 + (uu + 2.0 * uw + 3.0 * ww) / 12.0
        by_t_squared = bore * (u + 3.0 * w) / 6.0 + (uu + 3.0 * uw + 6.0 * ww) / 30.0
        fourths += length * (bore * (bore * (4.0 * bore * first + 6.0 * second) + 4.0 * third) + fourth)
        volume += length * by_one
        moment += length * (position * by_one + length * by_t)
        parts.append((position, length, by_one, by_t, by_t_squared))
        position += length
    centre = moment / volume
    along = 0.0
    for position, length, by_one, by_t, by_t_squared in parts:
        start = position - centre
        along += length * (start * (start * by_one + 2.0 * length * by_t) + length * length * by_t_squared)
    scale = math.pi * density_kg_per_m3 * 1e-9
    return Body(scale * volume, centre, scale * (fourths / 4.0 + along), scale * fourths / 2.0)


_PARTS = 8
"""Parts of a cone for Simpson's rule."""


def equivalent_diameter_mm(pieces: Sequence[Frustum]) -> float:
    """Return the diameter of the solid cylinder that deflects as much under a force at the tip.

    D_eq = (L³/(3·∫ u²/(D⁴ − b⁴) du))^¼ with the distance u from the tip: the diameter that governs a ratio of length to
    diameter. Of a neck D_n of the length x·L before a shank D_s it is (D_s⁻⁴·(1 − x³) + D_n⁻⁴·x³)^−¼.

    Parameters
    ----------
    pieces : Sequence[Frustum]
        Projecting pieces from the tip to the clamp, at least one, of one material.

    Returns
    -------
    float
        Equivalent diameter, mm.

    Raises
    ------
    ValueError
        If there is no piece, or one has no length or no wall.

    Notes
    -----
    Source: first principles (unit-load method, without shear).

    Examples
    --------
    >>> round(equivalent_diameter_mm([Frustum(26.0, 9.6, 9.6), Frustum(20.0, 12.0, 12.0)]), 4)
    11.3257
    """
    _check(pieces, 1.0)
    reach = compliance = 0.0
    for length, start, end, bore in pieces:
        if start == end:
            compliance += ((reach + length) ** 3 - reach**3) / (3.0 * (start**4 - bore**4))
        else:
            for part in range(_PARTS + 1):
                share = part / _PARTS
                weight = 1.0 if part in (0, _PARTS) else 4.0 if part % 2 else 2.0
                outer = start + share * (end - start)
                compliance += weight * length / (3.0 * _PARTS) * (reach + share * length) ** 2 / (outer**4 - bore**4)
        reach += length
    return float((reach**3 / (3.0 * compliance)) ** 0.25)
