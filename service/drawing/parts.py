"""Parts of a side view: dimensions, scale and shapes; outlines that are not stated are lighter and dashed."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from rules.analysis import StackAnalysis
from rules.couplings.straight_shank import ColletBore
from rules.quantities.missing import Missing
from rules.schema.components import Collet, Cutter
from rules.schema.report import Report
from rules.stack.outlines import OutlinePiece, bore_within, outline_of
from service.drawing.fittings import Fitting, Loop, Overlap, collet_pieces, fittings_of, overlaps
from service.drawing.svg import FAINT, INK, PAPER, Mark, element, group, hatching, path, points, shade, text

__all__ = [
    "LEAST_HALF",
    "Frame",
    "Part",
    "fitting_shapes",
    "frame_of",
    "half_height",
    "letter",
    "overlap_shapes",
    "overlaps_of",
    "part_shape",
    "parts_of",
    "reach",
    "surface_at",
]


@dataclass(frozen=True, slots=True)
class TipForm:
    """Form of the cutting end: a radius at the corner, or a point."""

    radius_mm: float = 0.0
    point_mm: float = 0.0
    """Length of the point."""


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
    derived: tuple[OutlinePiece, ...]
    """Outline from neighbours or couplings, without a stated one."""
    light: bool
    """Whether the outline is an assumed value of the report."""
    fittings: tuple[Fitting, ...]
    flutes: tuple[float, float] | None
    """Length and diameter of the flutes."""
    cutting_mm: float | None
    """Cutting diameter at the tip, if the flute length is not stated."""
    end: TipForm
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


def parts_of(derived: StackAnalysis, report: Report) -> list[Part]:
    """Return the drawable data of each component."""
    light = {one.subject for one in report.assumptions if one.quantity == "outline"}
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
        guessed: tuple[OutlinePiece, ...] = ()
        if not pieces and ends is not None:
            guessed = _derived(derived, number, () if upper is None or isinstance(upper, Missing) else upper, ends)
        part = member.part
        flutes = cutting = None
        end = TipForm()
        if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
            if part.flute_length_mm is None:
                cutting = part.cutting_diameter_mm
            else:
                flutes = part.flute_length_mm, part.cutting_diameter_mm
                end = _tip_form(part, part.cutting_diameter_mm, part.flute_length_mm)
        missing = () if member.part.profile else ("outline",)
        if member.part.profile and not pieces and face is not None:
            missing = ("wall",)
        if face is None:
            missing = (*missing, "length or position")
        fittings = tuple(fittings_of(chain, number, place, pieces))
        assumed = part.id in light
        if assumed:
            missing = ("outline", *missing)
        parts.append(
            Part(
                number,
                part.id,
                part.kind,
                pieces,
                start,
                face,
                guessed,
                assumed,
                fittings,
                flutes,
                cutting,
                end,
                missing,
            )
        )
    return parts


def _tip_form(tool: Cutter, diameter: float, flutes: float) -> TipForm:
    """Return the form of the cutting end within the flutes."""
    if tool.point_angle_deg is not None and tool.point_angle_deg < 180.0:
        return TipForm(point_mm=min(diameter / 2.0 / math.tan(math.radians(tool.point_angle_deg / 2.0)), flutes))
    return TipForm(radius_mm=min(tool.corner_radius_mm or 0.0, diameter / 2.0, flutes))


def overlaps_of(parts: Sequence[Part]) -> list[Overlap]:
    """Return where stated outlines lie in each other."""
    return overlaps([() if part.light else part.pieces for part in parts])


def _derived(
    derived: StackAnalysis, number: int, socket: Sequence[OutlinePiece], ends: tuple[float, float]
) -> tuple[OutlinePiece, ...]:
    def even(outer: float, inner: float = 0.0) -> tuple[OutlinePiece, ...]:
        return (OutlinePiece(*ends, outer, outer, inner),)

    members = derived.chain.members
    part = members[number].part
    if isinstance(part, Collet):
        below = members[number + 1].machine_side if number + 1 < len(members) else None
        inner = getattr(below, "diameter_mm", None)
        side = part.workpiece_side
        if inner is None and isinstance(side, ColletBore):
            inner = side.clamping_max_mm if side.nominal_mm is None else side.nominal_mm
        if inner is None:
            return ()
        found = bore_within(socket, *ends)
        by_size = collet_pieces(members[number].machine_side, *ends, inner)
        return by_size or (even(found[1], inner) if found is not None and found[1] > inner else ())
    if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
        return even(part.cutting_diameter_mm)
    diameter = getattr(members[number].machine_side, "diameter_mm", None)
    return () if diameter is None else even(diameter)


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
    found = [outer for piece in (*part.pieces, *part.derived) for outer in (piece.start_mm, piece.end_mm)]
    if part.flutes is not None and part.placed:
        found.append(part.flutes[1])
    if part.cutting_mm is not None and part.face is not None and part.placed:
        found.append(part.cutting_mm)
    return max(found, default=0.0)


def half_height(part: Part, frame: Frame) -> float:
    """Return the half height of a part, px."""
    return frame.halves[part.number]


def reach(part: Part, frame: Frame) -> float:
    """Return the farthest distance from the axis of a part and what belongs to it, px."""
    return max([half_height(part, frame), *(abs(r) * frame.scale for one in part.fittings for _, r in one.corners)])


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
    for piece in part.pieces or part.derived:
        if piece.from_mm <= z_mm <= piece.to_mm:
            share = (z_mm - piece.from_mm) / (piece.to_mm - piece.from_mm)
            return (piece.start_mm + share * (piece.end_mm - piece.start_mm)) * frame.scale / 2.0
    return half_height(part, frame)


def frame_of(
    parts: Sequence[Part], more: Sequence[float], left: float, width: float, tallest: float = _TALLEST
) -> Frame:
    """Return the frame in which all placed parts fit, and the positions in `more`, mm; at most so tall, px."""
    places = [0.0, *more]
    across = 0.0
    for part in parts:
        for z, r in (corner for one in part.fittings for corner in one.corners):
            places.append(z)
            across = max(across, 2.0 * abs(r))
        if part.placed:
            places.extend(part.ends)
            across = max(across, widest_mm(part))
    unplaced = tuple(part.number for part in parts if not part.placed)
    # at most half the sheet is for parts drawn off scale
    each = min(_UNPLACED, width / 2.0 / max(1, len(unplaced)) - _GAP)
    room = width - len(unplaced) * (each + _GAP)
    long = max(places) - min(places)
    scale = min(_LARGEST_SCALE, room / max(long, 1e-9), tallest / max(across, 1e-9))
    return Frame(left, min(places), max(places), scale, unplaced, each, _halves(parts, scale))


_DASHES: Final = "5 3"
_FLUTE_PITCH: Final = 7.0
_EDGE: Final = 12.0

Corners = list[tuple[float, float]]


def part_shape(part: Part, frame: Frame, axis: float, prefix: str) -> Mark:
    """Return the shape of one part."""
    fill = hatching(part.number, prefix)
    outline = part.pieces or part.derived
    if outline:
        cut = part.face - max(part.end.radius_mm, part.end.point_mm) if part.face is not None else math.inf
        look = _look(fill, light=part.light or not part.pieces)
        marks = [element("polygon", points=points(face), **look) for face in _sections(outline, cut, frame, axis)]
    elif part.placed:
        marks = [_box(part, frame, axis, fill)]
    else:
        marks = list(_unknown(part, frame, axis))
    if part.placed and part.flutes is not None and part.face is not None:
        marks.extend(_flutes(part, frame, axis))
    if part.placed and part.cutting_mm is not None and part.face is not None:
        marks.append(_edges(part.face, part.cutting_mm, frame, axis))
    return group(marks, data_part=str(part.number))


def _look(fill: str, *, light: bool) -> dict[str, float | str | None]:
    """Return the style of an outline; one that is assumed is lighter and dashed."""
    if light:
        return {"fill": fill, "fill_opacity": 0.4, "stroke": FAINT, "stroke_width": 1.1, "stroke_dasharray": _DASHES}
    return {"fill": fill, "stroke": INK, "stroke_width": 1.3}


def fitting_shapes(part: Part, kinds: Collection[str], frame: Frame, axis: float) -> Iterator[Mark]:
    """Yield tapers, knobs, nuts and coolant bores of a part."""
    for one in part.fittings:
        if one.kind not in kinds:
            continue
        look = _look(shade(part.number), light=one.light)
        marks = [element("polygon", points=points(_on_sheet(loop, frame, axis)), **look) for loop in one.faces]
        marks.extend(
            element("path", d=path(_on_sheet(loop, frame, axis)), fill="none", stroke=FAINT, stroke_dasharray=_DASHES)
            for loop in one.lines
        )
        yield group(marks, data_fitting=f"{one.kind}-{part.number}")


def overlap_shapes(found: Sequence[Overlap], frame: Frame, axis: float) -> Iterator[Mark]:
    """Yield the places where parts lie in each other, in red."""
    for one in found:
        faces = [
            element(
                "polygon",
                points=points(_on_sheet(loop, frame, axis)),
                fill=RED,
                fill_opacity=0.6,
                stroke=RED,
                stroke_width=1.6,
            )
            for loop in one.faces
        ]
        yield group(faces, data_overlap=f"{one.upper}-{one.lower}")


RED: Final = "#c00018"
"""Colour of what cannot be built."""


def _on_sheet(loop: Loop, frame: Frame, axis: float) -> Corners:
    return [(frame.x(z), axis - r * frame.scale) for z, r in loop]


def _sections(pieces: Sequence[OutlinePiece], cut: float, frame: Frame, axis: float) -> Iterator[Corners]:
    """Yield the section faces up to a position: one for solid lengths, upper and lower for hollow ones."""
    for hollow, run in groupby(pieces, key=lambda piece: piece.bore_mm > 0.0):
        lengths = [piece for piece in run if piece.from_mm < cut]
        outside: Corners = []
        inside: Corners = []
        for piece in lengths:
            stop = min(piece.to_mm, cut)
            end = piece.start_mm + (piece.end_mm - piece.start_mm) * (stop - piece.from_mm) / (
                piece.to_mm - piece.from_mm
            )
            ends = frame.x(piece.from_mm), frame.x(stop)
            outside += [(ends[0], piece.start_mm * frame.scale / 2.0), (ends[1], end * frame.scale / 2.0)]
            inside += [(x, piece.bore_mm * frame.scale / 2.0) for x in ends]
        if hollow and lengths:
            loop = outside + inside[::-1]
            yield [(x, axis - y) for x, y in loop]
            yield [(x, axis + y) for x, y in loop]
        elif lengths:
            yield [(x, axis - y) for x, y in outside] + [(x, axis + y) for x, y in outside[::-1]]


def _box(part: Part, frame: Frame, axis: float, fill: str) -> Mark:
    """Return the box of a part with known ends and unknown diameter."""
    begin, end = part.ends
    outer = half_height(part, frame)
    width = (end - begin) * frame.scale
    look = _look(fill, light=True)
    return element("rect", x=frame.x(begin), y=axis - outer, width=width, height=2.0 * outer, **look)


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
    """Yield the flutes up to the form of the tip, with oblique lines in the cylinder."""
    if part.flutes is None or part.face is None:
        return
    length, diameter = part.flutes
    begin = max(part.ends[0], part.face - length)
    half = diameter / 2.0
    point, radius = part.end.point_mm, part.end.radius_mm
    ends = [(part.face - point, half), (part.face, 0.0)] if point else [(part.face, half)]
    if radius > 0.0:
        turns = [math.pi / 2.0 * step / _ARC for step in range(_ARC + 1)]
        ends = [(part.face - radius * (1.0 - math.sin(turn)), half - radius * (1.0 - math.cos(turn))) for turn in turns]
    upper = [(begin, half), *ends]
    around = _on_sheet((*upper, *((z, -r) for z, r in reversed(upper))), frame, axis)
    yield element("path", d=path(around, closed=True), fill=PAPER, stroke=INK, stroke_width=1.3)
    left, right = frame.x(begin), frame.x(part.face - max(point, radius))
    high = half * frame.scale
    pitch = max(_FLUTE_PITCH, (right - left) / 24.0)
    lean = min(2.0 * high, right - left)
    lines = []
    x = left + pitch - lean
    while x < right and lean > 0.0:
        first, last = max(x, left), min(x + lean, right)
        if first < last:
            rise = 2.0 * high / lean
            lines.append(
                f"{path([(first, axis + high - (first - x) * rise), (last, axis + high - (last - x) * rise)])}"
            )
        x += pitch
    if lines:
        yield element("path", d=" ".join(lines), fill="none", stroke=INK, stroke_width=0.9)


_ARC: Final = 8
"""Straight pieces of a quarter circle."""


def _edges(tip: float, diameter: float, frame: Frame, axis: float) -> Mark:
    """Return the cutting diameter for unknown flute length: thin dashes at the tip."""
    x, half = frame.x(tip), diameter * frame.scale / 2.0
    sides = [path([(x - _EDGE, axis + side), (x, axis + side)]) for side in (-half, half)]
    across = path([(x, axis - half), (x, axis + half)])
    return element("path", d=" ".join([*sides, across]), fill="none", stroke=INK, stroke_dasharray="2 2")
