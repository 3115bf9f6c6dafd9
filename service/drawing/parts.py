"""Parts of a side view: dimensions, scale and shapes; dashed boxes for outlines that are not stated."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from rules.analysis import StackAnalysis
from rules.couplings.definition import Cone
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import ColletBore
from rules.quantities.missing import Missing
from rules.schema.components import Collet, Cutter
from rules.stack.outlines import OutlinePiece, bore_within, outline_of
from service.drawing.svg import INK, PAPER, Mark, element, group, hatching, path, points, shade, text

__all__ = [
    "LEAST_HALF",
    "Frame",
    "Part",
    "frame_of",
    "half_height",
    "letter",
    "part_shape",
    "parts_of",
    "shank_behind_gauge_line",
    "shank_shape",
    "surface_at",
]


@dataclass(frozen=True, slots=True)
class Part:
    """One component; lengths in mm from the gauge line."""

    number: int
    name: str
    kind: str
    pieces: tuple[OutlinePiece, ...]
    """Outline in position; empty if outline or position is not known."""
    start: float | None
    face: float | None
    """Workpiece-side face or tip."""
    assumed: tuple[float, float] | None
    """Outer and inner diameter from neighbours or couplings, without a stated outline."""
    flutes: tuple[float, float] | None
    """Length and diameter of the flutes."""
    cutting_mm: float | None
    """Cutting diameter at the tip, if the flute length is not stated."""
    not_stated: tuple[str, ...]

    @property
    def placed(self) -> bool:
        """Whether both ends have a position."""
        return bool(self.pieces) or (self.start is not None and self.face is not None)

    @property
    def ends(self) -> tuple[float, float]:
        """Start and end, mm; of a placed part only."""
        starts = [piece.from_mm for piece in self.pieces[:1]]
        ends = [piece.to_mm for piece in self.pieces[-1:]]
        own = (self.start, self.face)
        return min([*starts, *(z for z in own if z is not None)]), max([*ends, *(z for z in own if z is not None)])


def letter(number: int) -> str:
    """Return the letter of a part in the drawing: A to Z, then AA and on."""
    high, low = divmod(number, 26)
    return (chr(64 + high) if high else "") + chr(65 + low)


def parts_of(derived: StackAnalysis) -> list[Part]:
    """Return the drawable data of each component."""
    chain, places = derived.chain, derived.geometry.places
    outlines = [outline_of(member, place) for member, place in zip(chain.members, places, strict=True)]
    parts = []
    for number, (member, place) in enumerate(zip(chain.members, places, strict=True)):
        outline = outlines[number]
        pieces = () if isinstance(outline, Missing) else outline
        start = None if isinstance(place.start, Missing) else place.start
        face = None if isinstance(place.face, Missing) else place.face
        ends = None if start is None or face is None or not start < face else (start, face)
        upper = outlines[number - 1] if number else None
        assumed = None
        if not pieces and ends is not None:
            assumed = _assumed(derived, number, () if upper is None or isinstance(upper, Missing) else upper, ends)
        part = member.part
        flutes = cutting = None
        if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
            if part.flute_length_mm is None:
                cutting = part.cutting_diameter_mm
            else:
                flutes = part.flute_length_mm, part.cutting_diameter_mm
        missing = () if member.part.profile else ("outline",)
        if member.part.profile and not pieces and face is not None:
            missing = ("wall",)
        if face is None:
            missing = (*missing, "length or position")
        parts.append(Part(number, part.id, part.kind, pieces, start, face, assumed, flutes, cutting, missing))
    return parts


def _assumed(
    derived: StackAnalysis, number: int, socket: Sequence[OutlinePiece], ends: tuple[float, float]
) -> tuple[float, float] | None:
    members = derived.chain.members
    part = members[number].part
    if isinstance(part, Collet):
        below = members[number + 1].machine_side if number + 1 < len(members) else None
        inner = getattr(below, "diameter_mm", None)
        side = part.workpiece_side
        if inner is None and isinstance(side, ColletBore):
            inner = side.clamping_max_mm if side.nominal_mm is None else side.nominal_mm
        found = bore_within(socket, *ends)
        if inner is not None and found is not None and found[1] > inner:
            return found[1], inner
        return None
    if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
        return part.cutting_diameter_mm, 0.0
    diameter = getattr(members[number].machine_side, "diameter_mm", None)
    return None if diameter is None else (diameter, 0.0)


def shank_behind_gauge_line(derived: StackAnalysis) -> Cone | None:
    """Return the first part's taper if the standard's table has its length and diameters."""
    side = derived.chain.members[0].machine_side
    return None if side is None else COUPLINGS[side.coupling].cone(side)


LEAST_HALF: Final = 10.0
"""Half height of a part of unknown diameter, px."""

_UNPLACED: Final = 64.0
"""Length of a part of unknown position, px, if there are few of them."""

_GAP: Final = 12.0
_NESTED: Final = 8.0
_TALLEST: Final = 300.0
_LARGEST_SCALE: Final = 8.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Position and scale of the stack on the sheet."""

    left: float
    """Left end of the drawing, px."""
    from_mm: float
    to_mm: float
    scale: float
    """Scale, px/mm."""
    unplaced: tuple[int, ...]
    """Numbers of the parts drawn off scale, in order."""
    unplaced_px: float
    """Length of each part drawn off scale, px."""
    halves: tuple[float, ...]
    """Half height of each part, px; unknown diameters are drawn around the part inside."""

    def x(self, z_mm: float) -> float:
        """Return the x coordinate of an axial position, px."""
        return self.left + (z_mm - self.from_mm) * self.scale

    def z(self, x: float) -> float:
        """Return the axial position at x, mm."""
        return self.from_mm + (x - self.left) / self.scale

    def unplaced_from(self, number: int) -> float:
        """Return the left end of a part drawn off scale, px."""
        return self.x(self.to_mm) + _GAP + self.unplaced.index(number) * (self.unplaced_px + _GAP)

    @property
    def right(self) -> float:
        """Right end of the drawing, px."""
        return self.x(self.to_mm) + len(self.unplaced) * (self.unplaced_px + _GAP)


def widest_mm(part: Part) -> float:
    """Return the largest known diameter of a part, mm; zero if none is known."""
    found = [outer for piece in part.pieces for outer in (piece.start_mm, piece.end_mm)]
    if part.assumed is not None:
        found.append(part.assumed[0])
    if part.flutes is not None and part.placed:
        found.append(part.flutes[1])
    if part.cutting_mm is not None and part.face is not None and part.placed:
        found.append(part.cutting_mm)
    return max(found, default=0.0)


def half_height(part: Part, frame: Frame) -> float:
    """Return the half height of a part, px."""
    return frame.halves[part.number]


def _halves(parts: Sequence[Part], scale: float) -> tuple[float, ...]:
    found: list[float] = []
    for part in reversed(parts):
        known = widest_mm(part) * scale / 2.0
        held = max([LEAST_HALF, *found[-2:]]) + _NESTED
        found.append(known or (held if part.placed else 2.0 * LEAST_HALF))
    return tuple(reversed(found))


def surface_at(part: Part, frame: Frame, z_mm: float) -> float:
    """Return the distance of a part's surface from the axis at a position, px."""
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


def frame_of(parts: Sequence[Part], shank: Cone | None, more: Sequence[float], left: float, width: float) -> Frame:
    """Return the frame in which all placed parts fit, and the positions in `more`, mm."""
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
    # at most half the sheet is for parts drawn off scale
    each = min(_UNPLACED, width / 2.0 / max(1, len(unplaced)) - _GAP)
    room = width - len(unplaced) * (each + _GAP)
    long = max(places) - min(places)
    scale = min(_LARGEST_SCALE, room / max(long, 1e-9), _TALLEST / max(across, 1e-9))
    return Frame(left, min(places), max(places), scale, unplaced, each, _halves(parts, scale))


_DASHES: Final = "5 3"
_FLUTE_PITCH: Final = 7.0
_EDGE: Final = 12.0

Corners = list[tuple[float, float]]


def part_shape(part: Part, frame: Frame, axis: float, prefix: str) -> Mark:
    """Return the shape of one part."""
    if part.pieces:
        marks = [
            element("polygon", points=points(corners), fill=hatching(part.number, prefix), stroke=INK, stroke_width=1.3)
            for corners in _sections(part.pieces, frame, axis)
        ]
    elif part.placed:
        marks = list(_box(part, frame, axis, prefix))
    else:
        marks = list(_unknown(part, frame, axis))
    if part.placed and part.flutes is not None and part.face is not None:
        marks.extend(_flutes(part, frame, axis))
    if part.placed and part.cutting_mm is not None and part.face is not None:
        marks.append(_edges(part.face, part.cutting_mm, frame, axis))
    return group(marks, data_part=str(part.number))


def _sections(pieces: Sequence[OutlinePiece], frame: Frame, axis: float) -> Iterator[Corners]:
    """Yield the section faces: one for solid lengths, upper and lower for hollow ones."""
    for hollow, run in groupby(pieces, key=lambda piece: piece.bore_mm > 0.0):
        lengths = list(run)
        outside: Corners = []
        inside: Corners = []
        for piece in lengths:
            ends = frame.x(piece.from_mm), frame.x(piece.to_mm)
            outside += [
                (ends[0], piece.start_mm * frame.scale / 2.0),
                (ends[1], piece.end_mm * frame.scale / 2.0),
            ]
            inside += [(end, piece.bore_mm * frame.scale / 2.0) for end in ends]
        if hollow:
            loop = outside + inside[::-1]
            yield [(x, axis - y) for x, y in loop]
            yield [(x, axis + y) for x, y in loop]
        else:
            yield [(x, axis - y) for x, y in outside] + [(x, axis + y) for x, y in outside[::-1]]


def _box(part: Part, frame: Frame, axis: float, prefix: str) -> Iterator[Mark]:
    """Yield the box of a part with known ends and unknown outline."""
    begin, end = part.ends
    x, width = frame.x(begin), (end - begin) * frame.scale
    outer = half_height(part, frame)
    inner = part.assumed[1] * frame.scale / 2.0 if part.assumed is not None else 0.0
    fill = hatching(part.number, prefix)
    look: dict[str, float | str | None] = {"stroke": INK, "stroke_width": 1.2, "stroke_dasharray": _DASHES}
    if inner > 0.0:
        for y in (axis - outer, axis + inner):
            yield element("rect", x=x, y=y, width=width, height=outer - inner, fill=fill, **look)
    else:
        yield element("rect", x=x, y=axis - outer, width=width, height=2.0 * outer, fill=fill, **look)


def _unknown(part: Part, frame: Frame, axis: float) -> Iterator[Mark]:
    """Yield the box of a part drawn off scale."""
    x, half = frame.unplaced_from(part.number), LEAST_HALF * 2.0
    yield element(
        "rect",
        x=x,
        y=axis - half,
        width=frame.unplaced_px,
        height=2.0 * half,
        fill=shade(part.number),
        fill_opacity=0.5,
        stroke=INK,
        stroke_width=1.2,
        stroke_dasharray=_DASHES,
    )
    yield text(x + frame.unplaced_px / 2.0, axis + 6.0, "?", text_anchor="middle", font_size=18.0, font_weight="bold")
    # break line: the rest is not to scale
    turn = x - 6.0
    corners = [(turn, axis - half - 8), (turn, axis - 7), (turn - 4, axis - 2), (turn + 4, axis + 3), (turn, axis + 8)]
    yield element("path", d=path([*corners, (turn, axis + half + 8)]), fill="none", stroke=INK, stroke_width=1.0)


def _flutes(part: Part, frame: Frame, axis: float) -> Iterator[Mark]:
    """Yield the flutes: the cutting cylinder with oblique lines."""
    if part.flutes is None or part.face is None:
        return
    length, diameter = part.flutes
    begin = max(part.ends[0], part.face - length)
    left, right = frame.x(begin), frame.x(part.face)
    half = diameter * frame.scale / 2.0
    yield element(
        "rect",
        x=left,
        y=axis - half,
        width=right - left,
        height=2.0 * half,
        fill=PAPER,
        stroke=INK,
        stroke_width=1.3,
    )
    pitch = max(_FLUTE_PITCH, (right - left) / 24.0)
    lean = min(2.0 * half, right - left)
    lines = []
    x = left + pitch - lean
    while x < right and lean > 0.0:
        first, last = max(x, left), min(x + lean, right)
        if first < last:
            rise = 2.0 * half / lean
            lines.append(
                f"{path([(first, axis + half - (first - x) * rise), (last, axis + half - (last - x) * rise)])}"
            )
        x += pitch
    if lines:
        yield element("path", d=" ".join(lines), fill="none", stroke=INK, stroke_width=0.9)


def _edges(tip: float, diameter: float, frame: Frame, axis: float) -> Mark:
    """Return the cutting diameter for unknown flute length: thin dashes at the tip."""
    x, half = frame.x(tip), diameter * frame.scale / 2.0
    sides = [path([(x - _EDGE, axis + side), (x, axis + side)]) for side in (-half, half)]
    across = path([(x, axis - half), (x, axis + half)])
    return element("path", d=" ".join([*sides, across]), fill="none", stroke=INK, stroke_dasharray="2 2")


def shank_shape(shank: Cone, frame: Frame, axis: float) -> Mark:
    """Return the taper behind the gauge line, dash-dotted because it is the standard's outline."""
    large, small = shank.large_mm * frame.scale / 2.0, shank.small_mm * frame.scale / 2.0
    near, far = frame.x(0.0), frame.x(-shank.length_mm)
    corners = [(near, axis - large), (far, axis - small), (far, axis + small), (near, axis + large)]
    return element(
        "polygon", points=points(corners), fill="#f7f7f7", stroke=INK, stroke_width=0.8, stroke_dasharray="9 3 2 3"
    )
