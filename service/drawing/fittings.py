"""What belongs to a part beside its outline: tapers, retention knobs, nuts and coolant bores.

Tapers have the dimensions of their standards. Knobs, nuts and coolant bores show that they are there; their form is
assumed and drawn lighter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final, Literal, TypeAlias

from rules.couplings.collets import NutCollet, collet
from rules.couplings.definition import Cone
from rules.couplings.designation import thread_of
from rules.couplings.sides import COUPLINGS
from rules.couplings.steep_taper import SteepTaper, knob, thread_for_knob
from rules.quantities.missing import Missing
from rules.quantities.tables import UnknownEntryError
from rules.schema.components import RetentionKnob
from rules.stack.chain import Chain, Member
from rules.stack.outlines import OutlinePiece
from rules.stack.positions import Position

__all__ = ["Fitting", "Loop", "Overlap", "collet_pieces", "fittings_of", "overlaps"]

Loop: TypeAlias = tuple[tuple[float, float], ...]
"""Corners: position from the gauge line and signed distance from the axis, mm."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """One of them, in mm."""

    kind: Literal["taper", "knob", "nut", "coolant"]
    faces: tuple[Loop, ...]
    """Closed outlines."""
    lines: tuple[Loop, ...] = ()
    """Lines, drawn light."""
    light: bool = False
    """Whether its form is assumed."""

    @property
    def corners(self) -> Iterator[tuple[float, float]]:
        """All corners."""
        for loop in (*self.faces, *self.lines):
            yield from loop


def fittings_of(chain: Chain, number: int, place: Position, pieces: Sequence[OutlinePiece]) -> Iterator[Fitting]:
    """Yield what belongs to one component."""
    member = chain.members[number]
    side = member.machine_side
    start = None if isinstance(place.start, Missing) else place.start
    if start is not None and side is not None and (cone := COUPLINGS[side.coupling].cone(side)) is not None:
        yield _taper(cone, start)
        if number == 0 and isinstance(side, SteepTaper):
            yield from (_knob(one, side, cone, start) for one in chain.knobs[:1])
    if not isinstance(place.face, Missing) and isinstance(member.workpiece_side, NutCollet):
        yield from _nut(member.workpiece_side, place.face, pieces)
    if member.part.coolant_through:
        yield from _coolant(pieces)


def _taper(cone: Cone, start: float) -> Fitting:
    """Return a taper in section, with one lobe of a polygon upward."""
    far = start - cone.length_mm
    large, small, lobe, bore = cone.large_mm / 2.0, cone.small_mm / 2.0, cone.lobe_mm, cone.bore_mm / 2.0
    upper, lower = ((start, large + lobe), (far, small + lobe)), ((start, lobe - large), (far, lobe - small))
    if bore == 0.0:
        return Fitting("taper", ((*upper, *reversed(lower)),), light=cone.assumed is not None)
    # what a hollow shank has inside is not in the tables, so its bore is a light line
    lines = tuple(((far, side * bore), (start, side * bore)) for side in (1.0, -1.0))
    return Fitting("taper", ((*upper, *reversed(lower)),), lines)


_COLLAR: Final = (0.7, 0.35)
_NECK: Final = (0.45, 1.0)
_HEAD: Final = (0.62, 1.7)
"""Half diameter, and distance of the end from the small end of the taper, over the diameter of the knob's thread."""


def _knob(member: Member, side: SteepTaper, cone: Cone, start: float) -> Fitting:
    part = member.part
    own = (part.form, part.thread, part.head_angle_deg) if isinstance(part, RetentionKnob) else (None, None, None)
    form, name, stated = own
    thread = None if (name := name or thread_for_knob(side)) is None else thread_of(name)
    size = cone.small_mm * 0.6 if thread is None else thread.diameter_mm
    angle = stated or _head_angle(form) or 60.0
    far = start - cone.length_mm
    collar, neck, head = (share * size for share, _ in (_COLLAR, _NECK, _HEAD))
    ends = [far - share * size for _, share in (_COLLAR, _NECK, _HEAD)]
    flank = min((head - neck) / math.tan(math.radians(max(angle, 20.0))), 0.6 * (ends[1] - ends[2]))
    upper = (
        *((far, collar), (ends[0], collar), (ends[0], neck), (ends[1], neck)),
        *((ends[1] - flank, head), (ends[2] + 0.12 * size, head), (ends[2], head - 0.12 * size)),
    )
    return Fitting("knob", (_mirrored(upper),), light=True)


def _head_angle(form: str | None) -> float | None:
    """Return the angle of the gripped face to the axis by the table, degrees."""
    try:
        row = None if form is None else knob(form)
    except UnknownEntryError:
        return None
    if row is None or row.head_angle_deg is None:
        return None
    return row.head_angle_deg if row.head_angle_from == "axis" else 90.0 - row.head_angle_deg


def _mirrored(upper: Sequence[tuple[float, float]]) -> Loop:
    return (*upper, *((z, -r) for z, r in reversed(upper)))


_NUT_OUTER: Final = 1.26
_NUT_LENGTH: Final = 0.56
_CHAMFER: Final = 0.08
"""Of a nut, over the diameter of its thread."""


def _nut(side: NutCollet, face: float, pieces: Sequence[OutlinePiece]) -> Iterator[Fitting]:
    """Yield the nut, which ends at the face and is no larger than the outline there."""
    if side.size is None:
        return
    row = collet(side.size)
    thread = thread_of(row.nut_thread)
    if thread is None:
        return
    size = thread.diameter_mm
    most = [one.end_mm for one in pieces if one.to_mm <= face + _CLEAR_MM][-1:]
    outer = min([_NUT_OUTER * size, *most]) / 2.0
    back, chamfer = face - _NUT_LENGTH * size, min(_CHAMFER * size, outer / 4.0)
    lines = []
    for way in (1.0, -1.0):
        around = ((back, min(size, 1.9 * outer) / 2.0), (back, outer), (face - chamfer, outer), (face, outer - chamfer))
        lines.append(
            tuple((z, way * r) for z, r in (*around, (face, min(_FRONT * row.big_end_mm / 2.0, outer - chamfer))))
        )
    yield Fitting("nut", (), tuple(lines), light=True)


_FRONT: Final = 0.88
"""Diameter of the front of an 8° collet over its big end."""

_FRONT_LENGTH: Final = 0.12
"""Length of its front cone over its length."""


def collet_pieces(side: object, start: float, face: float, bore: float) -> tuple[OutlinePiece, ...]:
    """Return the outline of an 8° collet by its size: cone to the big end, then the short cone under the nut."""
    if not isinstance(side, NutCollet) or side.size is None:
        return ()
    big = collet(side.size).big_end_mm
    at_big = face - _FRONT_LENGTH * (face - start)
    small = big - 2.0 * math.tan(math.radians(8.0)) * (at_big - start)
    if small <= bore or big * _FRONT <= bore:
        return ()
    return (OutlinePiece(start, at_big, small, big, bore), OutlinePiece(at_big, face, big, big * _FRONT, bore))


_CHANNEL: Final = 0.06
"""Half diameter of a coolant bore that is not in the outline, over that of the part."""


def _coolant(pieces: Sequence[OutlinePiece]) -> Iterator[Fitting]:
    """Yield the coolant bore through the solid lengths of a part."""
    lines: list[Loop] = []
    for solid, run in groupby(pieces, key=lambda piece: piece.bore_mm == 0.0):
        lengths = list(run)
        if solid:
            half = _CHANNEL * min(min(piece.start_mm, piece.end_mm) for piece in lengths)
            ends = lengths[0].from_mm, lengths[-1].to_mm
            lines.extend(tuple((z, side * half) for z in ends) for side in (1.0, -1.0))
    if lines:
        yield Fitting("coolant", (), tuple(lines), light=True)


_CLEAR_MM: Final = 0.1
"""Greatest interference on the diameter that is a fit."""


@dataclass(frozen=True, slots=True)
class Overlap:
    """Length in which the outline of a part is larger than the bore around it, mm."""

    upper: int
    lower: int
    from_mm: float
    to_mm: float
    faces: tuple[Loop, ...]


def overlaps(outlines: Sequence[Sequence[OutlinePiece]]) -> list[Overlap]:
    """Return where stated outlines lie in each other, by pair of parts."""
    found = []
    for low, lower in enumerate(outlines):
        for up in range(low):
            faces: list[Loop] = []
            ends: list[float] = []
            for bore, body in ((one, other) for one in outlines[up] for other in lower):
                begin, end = max(bore.from_mm, body.from_mm), min(bore.to_mm, body.to_mm)
                if end - begin <= _CLEAR_MM:
                    continue
                outer = [_outer(body, z) for z in (begin, end)]
                if max(outer) <= bore.bore_mm + _CLEAR_MM:
                    continue
                inner = bore.bore_mm / 2.0
                across = [
                    min(max(inner, one / 2.0), _outer(bore, z) / 2.0)
                    for one, z in zip(outer, (begin, end), strict=True)
                ]
                for way in (1.0, -1.0):
                    faces.append(
                        ((begin, way * inner), (begin, way * across[0]), (end, way * across[1]), (end, way * inner))
                    )
                ends += [begin, end]
            if faces:
                found.append(Overlap(up, low, min(ends), max(ends), tuple(faces)))
    return found


def _outer(piece: OutlinePiece, z: float) -> float:
    return piece.start_mm + (z - piece.from_mm) / (piece.to_mm - piece.from_mm) * (piece.end_mm - piece.start_mm)
