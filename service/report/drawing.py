"""The side view of a stack: sections to scale, dimensions, findings where they are, and the bent axis."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.analysis import Derived
from rules.quantities.missing import Lack
from rules.schema.report import Report
from service.report.drawing_bend import LABEL_ROOM, BendPanel, bend_of
from service.report.drawing_dimensions import DiameterRow, LengthLanes, PlaceRow, millimetres
from service.report.drawing_frame import Frame, frame_of, half_height, surface_at
from service.report.drawing_labels import LabelRow
from service.report.drawing_legend import findings_list, parts_list
from service.report.drawing_marks import Noted, noted_in
from service.report.drawing_parts import Part, letter, parts_of, shank_behind_gauge_line
from service.report.drawing_places import Spots
from service.report.drawing_shades import definitions
from service.report.drawing_shapes import part_shape, shank_shape
from service.report.drawing_text import shortened
from service.report.svg import INK, PAPER, Mark, document, element, group, path, text

__all__ = ["draw_stack"]

_WIDTH: Final = 1060.0
_EDGE: Final = 30.0
_DIAL: Final = 56.0
"""Room under the axis for the indicator, px."""


def draw_stack(report: Report, derived: Derived, *, bent: bool, prefix: str) -> str | None:
    """Return the side view as SVG; None for a stack without parts."""
    if not derived.chain.links:
        return None
    own = f"{prefix}stack-"
    parts, shank = parts_of(derived), shank_behind_gauge_line(derived)
    geometry = derived.geometry
    seen = [z for z in (geometry.gauge_plane, geometry.tip) if not isinstance(z, Lack)]
    bend = bend_of(derived) if bent else None
    room = _WIDTH - 2.0 * _EDGE - (LABEL_ROOM if bend is not None else 0.0)
    frame = frame_of(parts, shank, seen, _EDGE, room)
    noted = noted_in(report, Spots(derived.chain))
    places = PlaceRow(derived, parts, frame)
    labels = LabelRow(parts, noted, frame, _plane(derived), _WIDTH - 20.0)
    width = max(_WIDTH, labels.width + 20.0, places.width + 20.0)
    inner = 10.0, width - 10.0
    body: list[Mark] = [definitions(len(parts), own), *_heading(report, frame, width)]

    top = 44.0
    up = max([half_height(part, frame) for part in parts] + [shank.large_mm * frame.scale / 2.0 if shank else 0.0])
    axis = top + labels.height + up
    down = max(up, _dial_room(parts, frame, geometry.gauge_plane))
    y = axis + down + 6.0
    diameters = DiameterRow(parts, frame, inner[1] - inner[0])
    lengths = LengthLanes(derived, frame, *inner)
    beneath = diameters.marks(y, axis, *inner)
    y += diameters.height
    lines = lengths.marks(y, axis + 4.0)
    ends_of_lines = y + lengths.height
    y = ends_of_lines + 4.0
    # what lies behind comes first: lines up to the places they measure, then the parts, then words
    body.extend(places.marks(y, axis, *inner))
    body.extend(lines)
    if shank is not None:
        body.append(shank_shape(shank, frame, axis))
    body.extend(part_shape(part, frame, axis, own) for part in parts)
    body.extend(_lines(frame, axis, up))
    body.extend(beneath)
    if not isinstance(geometry.gauge_plane, Lack):
        body.append(
            _indicator(frame.x(geometry.gauge_plane), axis, surface_at(parts[-1], frame, geometry.gauge_plane), up)
        )
    body.extend(labels.marks(top, axis, *inner))
    y += places.height + 14.0
    if bend is not None:
        panel = BendPanel(bend, frame)
        body.append(group(panel.marks(y, own), data_panel="bent-axis"))
        y += panel.height + 12.0
    listed, y = parts_list(derived, parts, y, 20.0, width - 20.0, own)
    body.extend(listed)
    found, y = findings_list(noted, y + 8.0, 20.0, width - 20.0)
    body.extend(found)
    return document("stack", _title(report), _about(derived, parts, noted), (width, y + 14.0), body, prefix=prefix)


def _plane(derived: Derived) -> float | None:
    """Return where the limit of the runout counts, mm; None where that has no place."""
    operation = derived.chain.request.operation
    at_tip = operation is not None and operation.runout_limit_at == "tip"
    plane = derived.geometry.tip if at_tip else derived.geometry.gauge_plane
    return None if isinstance(plane, Lack) else plane


def _title(report: Report) -> str:
    return f"Stack {report.stack}" if report.stack else "Stack without a name"


def _about(derived: Derived, parts: list[Part], noted: list[Noted]) -> str:
    """Tell in words what the drawing shows."""
    geometry = derived.geometry
    told = [f"Side view from the spindle side: {', '.join(f'{letter(p.number)} {p.name}' for p in parts)}."]
    if not isinstance(geometry.tip, Lack):
        told.append(f"The tip is {millimetres(geometry.tip)} mm from the gauge line.")
    if not isinstance(geometry.gauge_plane, Lack):
        told.append(f"The indicator touches {millimetres(geometry.gauge_plane)} mm from the gauge line.")
    open_parts = [part.name for part in parts if part.not_stated]
    if open_parts:
        told.append(f"Not fully stated, drawn dashed: {', '.join(open_parts)}.")
    for one in noted:
        what = "could not be decided" if one.weight == "undecided" else one.weight
        told.append(f"{one.number}: {one.code}, {what}, {one.title}, {', '.join(spot.words for spot in one.spots)}.")
    return " ".join(told)


def _heading(report: Report, frame: Frame, width: float) -> Iterator[Mark]:
    yield text(20.0, 26.0, shortened(_title(report), 16.0, width - 560.0), font_size=16.0, font_weight="bold")
    yield text(width - 480.0, 26.0, f"verdict: {report.verdict}", font_weight="bold")
    length = next((mm for mm in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000) if mm * frame.scale >= 50.0), 5000)
    end = width - 20.0
    begin = end - length * frame.scale
    yield element("path", d=path([(begin, 18), (begin, 26), (end, 26), (end, 18)]), fill="none", stroke=INK)
    yield text(begin - 8.0, 26.0, f"to scale: {length} mm", text_anchor="end")


def _lines(frame: Frame, axis: float, up: float) -> Iterator[Mark]:
    """Draw the axis and the gauge line."""
    chain: dict[str, float | str | None] = {"stroke": INK, "stroke_dasharray": "14 3 3 3", "fill": "none"}
    yield element("path", d=path([(frame.left - 14.0, axis), (frame.right + 14.0, axis)]), stroke_width=0.9, **chain)
    x = frame.x(0.0)
    yield element("path", d=path([(x, axis - up - 8.0), (x, axis + up + 8.0)]), stroke_width=1.8, stroke=INK)


def _dial_room(parts: list[Part], frame: Frame, plane: float | Lack) -> float:
    return 0.0 if isinstance(plane, Lack) else surface_at(parts[-1], frame, plane) + _DIAL


def _indicator(x: float, axis: float, half: float, up: float) -> Mark:
    """Draw the gauge plane and an indicator that touches from below."""
    touch = axis + half
    dial = touch + 36.0
    plane = path([(x, axis - min(up, half + 14.0)), (x, touch)])
    return group(
        [
            element("path", d=plane, stroke=INK, stroke_width=1.1, stroke_dasharray="4 3", fill="none"),
            element("circle", cx=x, cy=touch + 3.0, r=3.0, fill=INK),
            element("path", d=path([(x, touch + 4.0), (x, dial - 12.0)]), stroke=INK, stroke_width=2.4),
            element("circle", cx=x, cy=dial, r=13.0, fill=PAPER, stroke=INK, stroke_width=1.4),
            element("path", d=path([(x, dial), (x + 6.0, dial - 7.5)]), stroke=INK, stroke_width=1.4),
            element("path", d=path([(x, dial - 12.5), (x, dial - 9.0)]), stroke=INK, stroke_width=1.2),
            element("path", d=path([(x - 12.5, dial), (x - 9.0, dial)]), stroke=INK, stroke_width=1.2),
            element("path", d=path([(x + 9.0, dial), (x + 12.5, dial)]), stroke=INK, stroke_width=1.2),
        ],
        data_plane="gauge",
    )
