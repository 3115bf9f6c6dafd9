"""The shapes of the parts: sections where the outline is stated, dashed boxes where it is not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from rules.stack.outlines import OutlinePiece
from service.report.drawing_frame import LEAST_HALF, Frame, half_height
from service.report.drawing_parts import Part, Shank
from service.report.drawing_shades import hatching, shade
from service.report.svg import INK, PAPER, Mark, element, group, path, points, text

__all__ = ["part_shape", "shank_shape"]

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


def shank_shape(shank: Shank, frame: Frame, axis: float) -> Mark:
    """Draw the taper behind the gauge line as a thin dash-dotted outline: it is the standard's, not the part's own."""
    large, small = shank.large_mm * frame.scale / 2.0, shank.small_mm * frame.scale / 2.0
    near, far = frame.x(0.0), frame.x(-shank.length_mm)
    corners = [(near, axis - large), (far, axis - small), (far, axis + small), (near, axis + large)]
    return element(
        "polygon", points=points(corners), fill="#f7f7f7", stroke=INK, stroke_width=0.8, stroke_dasharray="9 3 2 3"
    )
