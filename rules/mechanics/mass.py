"""Mass properties of a turned body given as pieces along its axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Body", "Frustum", "body_of"]


@dataclass(frozen=True, slots=True)
class Frustum:
    """A piece of the outline: length and diameters in mm; the bore is cylindrical."""

    length_mm: float
    start_mm: float
    end_mm: float
    bore_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Body:
    """Mass in kg and centre of mass in mm from the start of the first piece."""

    mass_kg: float
    centre_mm: float


def body_of(pieces: Sequence[Frustum], density_kg_per_m3: float) -> Body:
    """Return mass and centre of mass of frusta of one material, end to end.

    Volume of a frustum V = π·L/12·(D₁² + D₁·D₂ + D₂²), its centroid at
    L/4·(D₁² + 2·D₁·D₂ + 3·D₂²)/(D₁² + D₁·D₂ + D₂²) from the D₁ end; the bore is taken away.
    Parameters: pieces in order, at least one; density, kg/m³, above 0. Raises ValueError for no piece,
    a bore that leaves no wall or a density not above 0. Source: exact geometry.

    >>> body = body_of([Frustum(100.0, 20.0, 20.0)], 7850.0)
    >>> round(body.mass_kg, 9), body.centre_mm
    (0.246615023, 50.0)
    """
    if not pieces:
        raise ValueError("a body has at least one piece")
    if not density_kg_per_m3 > 0:
        raise ValueError(f"density must be above 0 kg/m³, not {density_kg_per_m3}")
    volume = moment = position = 0.0
    for piece in pieces:
        if piece.bore_mm >= min(piece.start_mm, piece.end_mm):
            raise ValueError(f"a bore of {piece.bore_mm} mm leaves no wall")
        squares = piece.start_mm**2 + piece.start_mm * piece.end_mm + piece.end_mm**2
        outer = math.pi * piece.length_mm / 12.0 * squares
        weighted = piece.start_mm**2 + 2.0 * piece.start_mm * piece.end_mm + 3.0 * piece.end_mm**2
        outer_centre = piece.length_mm / 4.0 * weighted / squares
        bore = math.pi * piece.length_mm / 4.0 * piece.bore_mm**2
        volume += outer - bore
        moment += outer * (position + outer_centre) - bore * (position + piece.length_mm / 2.0)
        position += piece.length_mm
    return Body(volume * density_kg_per_m3 * 1e-9, moment / volume)
