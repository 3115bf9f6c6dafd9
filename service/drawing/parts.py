"""What of each part can be drawn to scale, and what is not stated.

The scale of a side view: one number of pixels a millimetre, along and across alike.

The shapes of the parts: sections where the outline is stated, dashed boxes where it is not.
"""

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
    """One component: lengths in mm from the gauge line."""

    number: int
    name: str
    kind: str
    pieces: tuple[OutlinePiece, ...]
    """Its outline in its place; empty where outline or place are not known."""
    start: float | None
    face: float | None
    """Workpiece-side face or tip."""
    assumed: tuple[float, float] | None
    """Outer and inner diameter that its neighbours or couplings state, where it states no outline of its own."""
    flutes: tuple[float, float] | None
    """Length and diameter of a cutter's fluted end."""
    cutting_mm: float | None
    """Diameter a cutter sweeps at its tip, where the length of its flutes is not stated."""
    not_stated: tuple[str, ...]

    @property
    def placed(self) -> bool:
        """Whether both its ends have a place."""
        return bool(self.pieces) or (self.start is not None and self.face is not None)

    @property
    def ends(self) -> tuple[float, float]:
        """Where it begins and ends; of a placed part only."""
        starts = [piece.from_mm for piece in self.pieces[:1]]
        ends = [piece.to_mm for piece in self.pieces[-1:]]
        own = (self.start, self.face)
        return min([*starts, *(z for z in own if z is not None)]), max([*ends, *(z for z in own if z is not None)])


def letter(number: int) -> str:
    """Return the letter that names a part in the drawing: A to Z, then AA and on."""
    high, low = divmod(number, 26)
    return (chr(64 + high) if high else "") + chr(65 + low)


def parts_of(derived: StackAnalysis) -> list[Part]:
    """Take from the facts what of each component can be drawn."""
    chain, places = derived.chain, derived.geometry.places
    outlines = [outline_of(link, place) for link, place in zip(chain.links, places, strict=True)]
    parts = []
    for number, (link, place) in enumerate(zip(chain.links, places, strict=True)):
        outline = outlines[number]
        pieces = () if isinstance(outline, Missing) else outline
        start = None if isinstance(place.start, Missing) else place.start
        face = None if isinstance(place.face, Missing) else place.face
        ends = None if start is None or face is None or not start < face else (start, face)
        upper = outlines[number - 1] if number else None
        assumed = None
        if not pieces and ends is not None:
            assumed = _assumed(derived, number, () if upper is None or isinstance(upper, Missing) else upper, ends)
        part = link.part
        flutes = cutting = None
        if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
            if part.flute_length_mm is None:
                cutting = part.cutting_diameter_mm
            else:
                flutes = part.flute_length_mm, part.cutting_diameter_mm
        missing = () if link.part.profile else ("outline",)
        if link.part.profile and not pieces and face is not None:
            missing = ("wall",)
        if face is None:
            missing = (*missing, "length or place")
        parts.append(Part(number, part.id, part.kind, pieces, start, face, assumed, flutes, cutting, missing))
    return parts


def _assumed(
    derived: StackAnalysis, number: int, socket: Sequence[OutlinePiece], ends: tuple[float, float]
) -> tuple[float, float] | None:
    links = derived.chain.links
    part = links[number].part
    if isinstance(part, Collet):
        below = links[number + 1].machine_side if number + 1 < len(links) else None
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
    diameter = getattr(links[number].machine_side, "diameter_mm", None)
    return None if diameter is None else (diameter, 0.0)


def shank_behind_gauge_line(derived: StackAnalysis) -> Cone | None:
    """Return the first part's taper where the standard's table has its length and its diameters."""
    side = derived.chain.links[0].machine_side
    return None if side is None else COUPLINGS[side.coupling].cone(side)


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


def frame_of(parts: Sequence[Part], shank: Cone | None, more: Sequence[float], left: float, width: float) -> Frame:
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


_DASHES: Final = "5 3"
_FLUTE_PITCH: Final = 7.0
_EDGE: Final = 12.0

Corners = list[tuple[float, float]]


def part_shape(part: Part, frame: Frame, axis: float, prefix: str) -> Mark:
    """Draw one part about the axis."""
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
    """Return the cut faces: solid lengths whole, hollow ones as an upper and a lower half."""
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
    """Draw a part whose ends are known and whose outline is not."""
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
    """Draw a part that has no place, beyond the scale."""
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
    # a break line: what follows is not to scale
    turn = x - 6.0
    corners = [(turn, axis - half - 8), (turn, axis - 7), (turn - 4, axis - 2), (turn + 4, axis + 3), (turn, axis + 8)]
    yield element("path", d=path([*corners, (turn, axis + half + 8)]), fill="none", stroke=INK, stroke_width=1.0)


def _flutes(part: Part, frame: Frame, axis: float) -> Iterator[Mark]:
    """Draw the fluted end of a cutter: the cylinder it sweeps, with slanting lines."""
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
    """Draw how wide a cutter of unknown flute length cuts: thin dashes at its tip."""
    x, half = frame.x(tip), diameter * frame.scale / 2.0
    sides = [path([(x - _EDGE, axis + side), (x, axis + side)]) for side in (-half, half)]
    across = path([(x, axis - half), (x, axis + half)])
    return element("path", d=" ".join([*sides, across]), fill="none", stroke=INK, stroke_dasharray="2 2")


def shank_shape(shank: Cone, frame: Frame, axis: float) -> Mark:
    """Draw the taper behind the gauge line as a thin dash-dotted outline: it is the standard's, not the part's own."""
    large, small = shank.large_mm * frame.scale / 2.0, shank.small_mm * frame.scale / 2.0
    near, far = frame.x(0.0), frame.x(-shank.length_mm)
    corners = [(near, axis - large), (far, axis - small), (far, axis + small), (near, axis + large)]
    return element(
        "polygon", points=points(corners), fill="#f7f7f7", stroke=INK, stroke_width=0.8, stroke_dasharray="9 3 2 3"
    )
