"""Side view of a stack with dimensions, findings and displaced axis, and the lists of parts and findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from rules.analysis import StackAnalysis
from rules.quantities.inch import in_inches, metric_of, shown_sign
from rules.quantities.missing import Missing
from rules.schema.components import ProfilePiece
from rules.schema.report import Report
from service.drawing.bend import LABEL_ROOM, BendPanel, bend_of
from service.drawing.dimensions import NO_FIELDS, DiameterRow, LengthLanes, PlaceRow, RequestFields, millimetres
from service.drawing.labels import SIZE, LabelRow, Noted, Spots, Weight, noted_in, shape
from service.drawing.parts import (
    RED,
    Frame,
    Part,
    fitting_shapes,
    frame_of,
    letter,
    overlap_shapes,
    overlaps_of,
    part_shape,
    parts_of,
    reach,
    surface_at,
)
from service.drawing.svg import (
    INK,
    PAPER,
    Mark,
    definitions,
    document,
    element,
    group,
    hatching,
    path,
    shortened,
    text,
    wrapped,
)

__all__ = ["draw_stack"]


_TEXT: Final = 11.0
_LINE: Final = 15.0
_GAP: Final = 7.0
_MOST_PIECES: Final = 8

_WORDS: Final[dict[Weight, str]] = {
    "error": "error",
    "warning": "warning",
    "advice": "advice",
    "undecided": "not decided",
}


def parts_list(
    derived: StackAnalysis, parts: Sequence[Part], top: float, left: float, right: float, prefix: str
) -> tuple[list[Mark], float]:
    """Return the parts list and its lower end, px."""
    drawn = [text(left, top + 12.0, "Parts", font_weight="bold")]
    y = top + 22.0
    columns = left + 36.0, left + 66.0, left + 216.0, left + 316.0
    for part, member in zip(parts, derived.chain.members, strict=True):
        body = member.part
        words = "; ".join(_legend_about(part, body.profile or (), derived))
        lines = wrapped(words, _TEXT, right - columns[3], 2)
        drawn.append(
            element(
                "rect",
                x=left,
                y=y + 1.0,
                width=28.0,
                height=16.0,
                fill=hatching(part.number, prefix),
                stroke=INK,
                stroke_width=1.0,
                stroke_dasharray="5 3" if part.light or not part.pieces else None,
                fill_opacity=0.4 if part.light or not part.pieces else None,
            )
        )
        drawn.append(text(columns[0], y + 13.0, letter(part.number), font_weight="bold"))
        drawn.append(text(columns[1], y + 13.0, shortened(part.name, 12.0, 144.0)))
        drawn.append(text(columns[2], y + 13.0, part.kind.replace("_", " "), font_size=_TEXT))
        drawn.extend(text(columns[3], y + 13.0 + n * _LINE, line, font_size=_TEXT) for n, line in enumerate(lines))
        y += len(lines) * _LINE + _GAP
    for knob in derived.chain.knobs:
        drawn.append(text(columns[1], y + 13.0, shortened(knob.part.id, 12.0, 144.0)))
        drawn.append(text(columns[2], y + 13.0, "retention knob", font_size=_TEXT))
        drawn.append(text(columns[3], y + 13.0, "form drawn by its thread, not to scale", font_size=_TEXT))
        y += _LINE + _GAP
    for words in _overlap_words(parts):
        red: dict[str, float | str | None] = {"fill": RED, "font_size": _TEXT, "font_weight": "bold"}
        drawn.append(element("rect", x=left, y=y + 1.0, width=28.0, height=16.0, fill=RED, fill_opacity=0.6))
        drawn.append(text(columns[0], y + 13.0, shortened(words, _TEXT * 1.12, right - columns[0]), **red))
        y += _LINE + _GAP
    return drawn, y


def _overlap_words(parts: Sequence[Part]) -> list[str]:
    """Return where parts lie in each other, as text."""
    sign = shown_sign("mm")
    return [
        f"{letter(one.lower)} {parts[one.lower].name} is larger than the bore of {letter(one.upper)} "
        f"{parts[one.upper].name} from {millimetres(one.from_mm)} to {millimetres(one.to_mm)} {sign}."
        for one in overlaps_of(parts)
    ]


def _legend_about(part: Part, profile: Sequence[ProfilePiece], derived: StackAnalysis) -> Iterator[str]:
    """Yield a part's outline, material and missing data as text."""
    if profile:
        yield ", ".join(_piece(piece) for piece in profile[:_MOST_PIECES]) + (
            f" and {len(profile) - _MOST_PIECES} more sections" if len(profile) > _MOST_PIECES else ""
        )
    material = derived.chain.members[part.number].part.material
    if material is not None:
        yield material.replace("_", " ")
    if part.light:
        yield "outline assumed"
    elif "outline" in part.not_stated:
        known = bool(part.derived)
        yield "outline not stated: " + ("diameters from couplings" if known else "diameter not to scale")
    if "wall" in part.not_stated:
        yield "bore larger than the outside: outline not drawn"
    if "length or position" in part.not_stated:
        yield "length or position not stated: " + ("end open" if part.placed else "not to scale")
    held = next((grip.length_mm for grip in derived.grips if grip.index == part.number - 1), None)
    if isinstance(held, Missing):
        yield "grip length not stated"


def _piece(piece: ProfilePiece) -> str:
    end = piece.outer_end_mm
    outer = f"Ø{millimetres(piece.outer_mm)}" + ("" if end in (None, piece.outer_mm) else f"–{millimetres(end or 0.0)}")
    bore = f" (bore {millimetres(piece.bore_mm)})" if piece.bore_mm else ""
    return f"{outer} × {millimetres(piece.length_mm)}{bore}"


def findings_list(noted: Sequence[Noted], top: float, left: float, right: float) -> tuple[list[Mark], float]:
    """Return the list of findings in two columns and its lower end, px."""
    if not noted:
        return [text(left, top + 12.0, "No findings.")], top + 20.0
    drawn = [text(left, top + 12.0, "Findings", font_weight="bold")]
    columns = 2 if len(noted) > 3 else 1
    width = (right - left) / columns
    rows = -(-len(noted) // columns)
    high = SIZE + 12.0
    for place, one in enumerate(noted):
        x, y = left + place // rows * width, top + 22.0 + place % rows * high
        drawn.append(shape(one, x + SIZE / 2.0, y + high / 2.0))
        room = width - SIZE - 18.0
        drawn.append(text(x + SIZE + 8.0, y + 14.0, shortened(f"{one.code}  {one.title}", 12.0, room)))
        where = f"{_WORDS[one.weight]}: {', '.join(spot.words for spot in one.spots)}"
        drawn.append(text(x + SIZE + 8.0, y + 28.0, shortened(where, _TEXT, room), font_size=_TEXT))
    return drawn, top + 22.0 + rows * high


_WIDTH: Final = 1060.0
_NARROW: Final = 720.0
"""Of a drawing without lists, printed small: its text is the larger."""
_FLAT: Final = 88.0
"""Tallest part there, px."""
_ON_PAPER: Final = 8.0 / _TEXT
"""Share of its size at which its text is 6 pt on paper."""
_CROWD: Final = 7
"""Most parts there whose faces and joints have dimensions; the table of joints beside it has them all."""
_FOOT: Final = 14.0
_NARROW_FOOT: Final = 4.0
_EDGE: Final = 30.0
_DIAL: Final = 56.0
"""Space under the axis for the indicator, px."""


def draw_stack(
    report: Report,
    derived: StackAnalysis,
    *,
    bent: bool,
    prefix: str,
    listed: bool = True,
    fields: RequestFields = NO_FIELDS,
) -> str | None:
    """Return the side view as SVG; None for a stack without parts.

    Parameters
    ----------
    report, derived
        The check.
    bent
        Whether a panel shows the runout of the axis.
    prefix
        Start of the ids.
    listed
        Whether the parts and the findings are listed below.
    fields
        Of the request; a figure that one of them states names it in ``data-field``.
    """
    if not derived.chain.members:
        return None
    own, nominal = f"{prefix}stack-", _WIDTH if listed else _NARROW
    parts = parts_of(derived, report)
    geometry = derived.geometry
    seen = [z for z in (geometry.gauge_plane, geometry.tip) if not isinstance(z, Missing)]
    bend = bend_of(derived) if bent else None
    room = nominal - 2.0 * _EDGE - (LABEL_ROOM if bend is not None else 0.0)
    if listed:
        frame = frame_of(parts, seen, _EDGE, room)
    else:
        frame = frame_of(parts, seen, _EDGE, room, _FLAT)
        frame = replace(frame, left=_EDGE + max(0.0, room + _EDGE - frame.right) / 2.0)
    brief, foot = not listed and len(parts) > _CROWD, _FOOT if listed else _NARROW_FOOT
    noted = noted_in(report, Spots(derived.chain)) if listed else []
    places = PlaceRow(derived, parts, frame, brief=brief)
    labels = LabelRow(parts, noted, frame, _plane(derived), nominal - 20.0)
    width = max(nominal, labels.width + 20.0, places.width + 20.0)
    inner = 10.0, width - 10.0
    body: list[Mark] = [definitions(len(parts), own), *(_heading(report, frame, width) if listed else ())]

    top = 44.0 if listed else 8.0
    up = max(reach(part, frame) for part in parts)
    axis = top + labels.height + up
    read = _read_at(derived)
    touch = 0.0 if read is None else max(_surface(part, frame, read) for part in parts)
    down = max(up, 0.0 if read is None else touch + _DIAL)
    y = axis + down + 6.0
    diameters = DiameterRow(derived, parts, frame, inner[1] - inner[0], fields)
    assumed = {(one.subject, one.at.rpartition("/")[2]) for one in report.assumptions}
    lengths = LengthLanes(derived, assumed, frame, *inner, fields, brief=brief)
    beneath = diameters.marks(y, axis, *inner)
    y += diameters.height
    lines = lengths.marks(y, axis + 4.0)
    ends_of_lines = y + lengths.height
    y = ends_of_lines + 4.0
    # drawing order: extension lines, parts, text
    body.extend(places.marks(y, axis, *inner))
    body.extend(lines)
    for part in parts:
        body.extend(fitting_shapes(part, ("taper", "knob"), frame, axis))
        body.append(part_shape(part, frame, axis, own))
    for part in parts:
        body.extend(fitting_shapes(part, ("nut", "coolant"), frame, axis))
    body.extend(overlap_shapes(overlaps_of(parts), frame, axis))
    body.extend(_lines(frame, axis, up))
    body.extend(beneath)
    if read is not None:
        body.append(_indicator(frame.x(read), axis, touch, up))
    body.extend(labels.marks(top, axis, *inner))
    y += places.height + foot
    if bend is not None:
        panel = BendPanel(bend, frame)
        body.append(group(panel.marks(y, own), data_panel="bent-axis"))
        y += panel.height + 12.0
    if listed:
        about, y = parts_list(derived, parts, y, 20.0, width - 20.0, own)
        found, y = findings_list(noted, y + 8.0, 20.0, width - 20.0)
        body.extend((*about, *found))
    size, about_it = (width, y + foot), _about(derived, parts, noted)
    shown = 1.0 if listed else _ON_PAPER
    return document("stack", _title(report), about_it, size, body, prefix=prefix, shown=shown)


def _read_at(derived: StackAnalysis) -> float | None:
    """Return where the indicator touches, mm from the gauge line: on the tool, even if the gauge plane is beyond it."""
    if derived.reading is not None:
        return derived.reading.z_mm
    plane, tip = derived.geometry.gauge_plane, derived.geometry.tip
    if isinstance(plane, Missing):
        return None
    return plane if isinstance(tip, Missing) else min(plane, tip)


def _surface(part: Part, frame: Frame, z_mm: float) -> float:
    """Return the distance of a part's surface from the axis, px; zero where the part is not."""
    begin, end = part.ends if part.placed else (0.0, -1.0)
    return surface_at(part, frame, z_mm) if begin - 1e-6 <= z_mm <= end + 1e-6 else 0.0


def _plane(derived: StackAnalysis) -> float | None:
    """Return the measuring plane, mm from the gauge line; None if not known."""
    operation = derived.chain.operation
    at_tip = operation is not None and operation.runout_limit_at == "tip"
    plane = derived.geometry.tip if at_tip else derived.geometry.gauge_plane
    return None if isinstance(plane, Missing) else plane


def _title(report: Report) -> str:
    return f"Stack {report.stack_id}" if report.stack_id else "Unnamed stack"


def _about(derived: StackAnalysis, parts: list[Part], noted: list[Noted]) -> str:
    """Return the text description of the drawing."""
    geometry = derived.geometry
    told = [f"Side view from the spindle side: {', '.join(f'{letter(p.number)} {p.name}' for p in parts)}."]
    if not isinstance(geometry.tip, Missing):
        told.append(f"The tip is {millimetres(geometry.tip)} {shown_sign('mm')} from the gauge line.")
    if not isinstance(geometry.gauge_plane, Missing):
        told.append(f"The gauge plane is {millimetres(geometry.gauge_plane)} {shown_sign('mm')} from the gauge line.")
    if derived.reading is not None:
        where = f"{millimetres(derived.reading.z_mm)} {shown_sign('mm')}"
        told.append(f"The indicator touches the plain shank {where} from the gauge line.")
    elif not isinstance(geometry.gauge_plane, Missing) and _read_at(derived) != geometry.gauge_plane:
        told.append("The gauge plane is beyond the tool; the indicator is drawn at the tip.")
    open_parts = [part.name for part in parts if part.not_stated and not part.light]
    if open_parts:
        told.append(f"Not fully stated, drawn dashed: {', '.join(open_parts)}.")
    light = [part.name for part in parts if part.light]
    if light:
        told.append(f"Outline assumed, drawn lighter: {', '.join(light)}.")
    told.extend(_overlap_words(parts))
    for one in noted:
        what = "not decided" if one.weight == "undecided" else one.weight
        told.append(f"{one.number}: {one.code}, {what}, {one.title}, {', '.join(spot.words for spot in one.spots)}.")
    return " ".join(told)


def _heading(report: Report, frame: Frame, width: float) -> Iterator[Mark]:
    yield text(20.0, 26.0, shortened(_title(report), 16.0, width - 560.0), font_size=16.0, font_weight="bold")
    yield text(width - 480.0, 26.0, f"verdict: {report.verdict}", font_weight="bold")
    one = metric_of(1.0, "mm")
    bars = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
    least = 0.05 if in_inches() else 1
    length = next((bar for bar in bars if bar >= least and bar * one * frame.scale >= 50.0), 5000)
    end = width - 20.0
    begin = end - length * one * frame.scale
    yield element("path", d=path([(begin, 18), (begin, 26), (end, 26), (end, 18)]), fill="none", stroke=INK)
    words = f"{'inches, ' if in_inches() else ''}to scale: {length:g} {shown_sign('mm')}"
    yield text(begin - 8.0, 26.0, words, text_anchor="end")


def _lines(frame: Frame, axis: float, up: float) -> Iterator[Mark]:
    """Yield the axis and the gauge line."""
    chain: dict[str, float | str | None] = {"stroke": INK, "stroke_dasharray": "14 3 3 3", "fill": "none"}
    yield element("path", d=path([(frame.left - 14.0, axis), (frame.right + 14.0, axis)]), stroke_width=0.9, **chain)
    x = frame.x(0.0)
    yield element("path", d=path([(x, axis - up - 8.0), (x, axis + up + 8.0)]), stroke_width=1.8, stroke=INK)


def _indicator(x: float, axis: float, half: float, up: float) -> Mark:
    """Return the gauge plane with an indicator from below."""
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
