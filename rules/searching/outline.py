"""Whether a part is too wide for the clearance asked, wherever within its bounds it comes to lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.schema.components import BaseHolder, Cutter, StackPart
from rules.schema.search import ClearanceZone
from rules.searching.span import Span

__all__ = ["TOLERANCE_MM", "Slice", "cutting_part_too_wide", "slices_of", "too_wide"]

TOLERANCE_MM: Final = 1e-6
"""Lengths nearer than that are one: sums of decimal fractions are not exact."""


@dataclass(frozen=True, slots=True)
class Slice:
    """A piece of an outline by its distance from the part's workpiece-side face (of a tool: from its tip)."""

    from_mm: float
    to_mm: float
    least_radius_mm: float


def slices_of(part: StackPart, face_mm: float | None) -> tuple[Slice, ...]:
    """Return the pieces of an outline, none where there is no outline or its place is not known.

    ``face_mm`` is where the face of a base holder lies from the gauge line, at which its outline begins.
    """
    profile = part.profile or ()
    if isinstance(part, BaseHolder):
        if face_mm is None:
            return ()
        end = face_mm
    else:
        end = sum(piece.length_mm for piece in profile)
    slices = []
    for piece in profile:
        radius = min(piece.outer_mm, piece.outer_end_mm or piece.outer_mm) / 2.0
        slices.append(Slice(end - piece.length_mm, end, radius))
        end -= piece.length_mm
    return tuple(slices)


def too_wide(slices: Sequence[Slice], face: Span, zones: Sequence[ClearanceZone]) -> bool:
    """Whether a piece is wider than a zone allows and lies in it for every distance of the face within its bounds."""
    return any(
        piece.least_radius_mm > zone.radius_mm + TOLERANCE_MM
        and piece.from_mm + face.most < zone.to_mm - TOLERANCE_MM
        and piece.to_mm + face.least > zone.from_mm + TOLERANCE_MM
        for piece in slices
        for zone in zones
    )


def cutting_part_too_wide(tool: StackPart, zones: Sequence[ClearanceZone]) -> bool:
    """Whether the cutting diameter, over the flutes or at least at the tip, is wider than a zone allows there."""
    if not isinstance(tool, Cutter) or tool.cutting_diameter_mm is None:
        return False
    radius, length = tool.cutting_diameter_mm / 2.0, tool.flute_length_mm or 0.0
    return any(
        radius > zone.radius_mm + TOLERANCE_MM and (zone.from_mm == 0.0 or zone.from_mm < length - TOLERANCE_MM)
        for zone in zones
    )
