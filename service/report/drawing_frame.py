"""The scale of a side view: one number of pixels a millimetre, along and across alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.report.drawing_parts import Part, Shank

__all__ = ["LEAST_HALF", "Frame", "frame_of", "half_height", "surface_at"]

LEAST_HALF: Final = 10.0
"""Half height of what has no known diameter, px."""

_UNPLACED: Final = 64.0
"""Length of what has no known place, px, where few have none."""

_GAP: Final = 12.0
_NESTED: Final = 8.0
_TALLEST: Final = 300.0
_LARGEST_SCALE: Final = 8.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the axis of the stack lies on the sheet."""

    left: float
    """Where the drawing begins, px."""
    from_mm: float
    to_mm: float
    scale: float
    """Pixels a millimetre."""
    unplaced: tuple[int, ...]
    """Numbers of the parts that are drawn beyond the scale, in their order."""
    unplaced_px: float
    """Length of each of them."""
    halves: tuple[float, ...]
    """How far each part reaches from the axis, px; one of unknown diameter just about what it holds."""

    def x(self, z_mm: float) -> float:
        """Return where a place along the axis stands."""
        return self.left + (z_mm - self.from_mm) * self.scale

    def z(self, x: float) -> float:
        """Return the place along the axis that stands at x, mm."""
        return self.from_mm + (x - self.left) / self.scale

    def unplaced_from(self, number: int) -> float:
        """Return where a part without a place begins."""
        return self.x(self.to_mm) + _GAP + self.unplaced.index(number) * (self.unplaced_px + _GAP)

    @property
    def right(self) -> float:
        """Where the drawing ends."""
        return self.x(self.to_mm) + len(self.unplaced) * (self.unplaced_px + _GAP)


def widest_mm(part: Part) -> float:
    """Return the largest diameter known of a part, zero where none is."""
    found = [outer for piece in part.pieces for outer in (piece.start_mm, piece.end_mm)]
    if part.assumed is not None:
        found.append(part.assumed[0])
    if part.flutes is not None and part.placed:
        found.append(part.flutes[1])
    if part.cutting_mm is not None and part.face is not None and part.placed:
        found.append(part.cutting_mm)
    return max(found, default=0.0)


def half_height(part: Part, frame: Frame) -> float:
    """Return how far a part reaches from the axis, px."""
    return frame.halves[part.number]


def _halves(parts: Sequence[Part], scale: float) -> tuple[float, ...]:
    found: list[float] = []
    for part in reversed(parts):
        known = widest_mm(part) * scale / 2.0
        held = max([LEAST_HALF, *found[-2:]]) + _NESTED
        found.append(known or (held if part.placed else 2.0 * LEAST_HALF))
    return tuple(reversed(found))


def surface_at(part: Part, frame: Frame, z_mm: float) -> float:
    """Return how far a part's surface lies from the axis at a place, px."""
    if not part.placed:
        return 0.0
    fluted = part.flutes is not None and part.face is not None and z_mm >= part.face - part.flutes[0]
    if part.flutes is not None and fluted:
        return part.flutes[1] * frame.scale / 2.0
    if part.cutting_mm is not None and part.face is not None and abs(z_mm - part.face) * frame.scale < 1.0:
        return part.cutting_mm * frame.scale / 2.0
    for piece in part.pieces:
        if piece.from_mm <= z_mm <= piece.to_mm:
            share = (z_mm - piece.from_mm) / (piece.to_mm - piece.from_mm)
            return (piece.start_mm + share * (piece.end_mm - piece.start_mm)) * frame.scale / 2.0
    return half_height(part, frame)


def frame_of(parts: Sequence[Part], shank: Shank | None, more: Sequence[float], left: float, width: float) -> Frame:
    """Choose the scale at which all that has a place fits; `more` are other places to be seen, mm."""
    places = [0.0, *more]
    across = 0.0
    if shank is not None:
        places.append(-shank.length_mm)
        across = shank.large_mm
    for part in parts:
        if part.placed:
            places.extend(part.ends)
            across = max(across, widest_mm(part))
    unplaced = tuple(part.number for part in parts if not part.placed)
    # half of the sheet at most is given to what has no scale
    each = min(_UNPLACED, width / 2.0 / max(1, len(unplaced)) - _GAP)
    room = width - len(unplaced) * (each + _GAP)
    long = max(places) - min(places)
    scale = min(_LARGEST_SCALE, room / max(long, 1e-9), _TALLEST / max(across, 1e-9))
    return Frame(left, min(places), max(places), scale, unplaced, each, _halves(parts, scale))
