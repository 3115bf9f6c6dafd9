"""Dimensions of a drawing: diameters, grip lengths, projections, and positions from the gauge line."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, NamedTuple

from rules.analysis import StackAnalysis
from rules.quantities.inch import as_shown
from rules.quantities.missing import Missing
from rules.schema.request import CheckRequest
from rules.stack.chain import Mounted, StackJoint, resolve
from service.drawing.parts import Frame, Part, letter
from service.drawing.svg import FAINT, INK, PAPER, Mark, element, group, lanes, path, points, spread, text, text_width

__all__ = ["NO_FIELDS", "DiameterRow", "Field", "LengthLanes", "PlaceRow", "RequestFields", "millimetres"]

_TEXT: Final = 11.0
_LANE: Final = 21.0
_ROW: Final = 30.0
_CUTTING: Final = "cutting_diameter_mm"
_MOST_DIAMETERS: Final = 3
"""Most diameters shown per part; the parts list has them all."""


class Field(NamedTuple):
    """Field of a request that one figure of a drawing shows."""

    at: str
    """JSON Pointer; of a joint that the request does not have yet, with ``-`` for its number (RFC 6901)."""
    upper: str | None = None
    lower: str | None = None
    """Names of such a joint."""


@dataclass(frozen=True, slots=True)
class RequestFields:
    """Fields of a request by what they state of the stack as judged."""

    document: Any = None
    """The request as sent; None names no fields."""
    lead: Callable[[str], str] = str
    """Pointer into the request for one into the stack without references."""

    @classmethod
    def of(cls, document: object, request: CheckRequest, mounted: Mounted) -> RequestFields:
        """Return the fields of a request, given as sent and as parsed."""
        return cls(document, resolve(request, mounted).lead)

    def of_part(self, at: str) -> Field | None:
        """Return the field of a part; None where the request does not state it."""
        stated = self.lead(at)
        found: Any = self.document
        for step in stated.split("/")[1:]:
            key: Any = int(step) if isinstance(found, list) else step.replace("~1", "/").replace("~0", "~")
            try:
                found = found[key]
            except (KeyError, IndexError, TypeError):
                return None
        return None if found is None else Field(stated)

    def of_joint(self, joint: StackJoint, name: str, *, assumed: bool) -> Field | None:
        """Return the field of a joint; None where it is neither stated nor assumed."""
        if self.document is None:
            return None
        stated = self.document["stack"].get("joints") or ()
        for number, one in enumerate(stated):
            if (one["upper"], one["lower"]) == (joint.upper_name, joint.lower.part.id):
                return Field(f"/stack/joints/{number}/{name}") if assumed or one.get(name) is not None else None
        return Field(f"/stack/joints/-/{name}", joint.upper_name, joint.lower.part.id) if assumed else None


NO_FIELDS: Final = RequestFields()


def millimetres(value: float) -> str:
    """Return a length as text, to 0.01 mm or in inches.

    >>> millimetres(48.0), millimetres(6.35)
    ('48', '6.35')
    """
    if (found := as_shown(value, "mm")) is not None:
        return found.number
    return f"{value:.2f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class _Span:
    begin: float
    end: float
    words: str
    field: Field | None = None


class LengthLanes:
    """Dimension lines in lanes without overlap."""

    def __init__(
        self,
        derived: StackAnalysis,
        assumed: Collection[tuple[str | None, str]],
        frame: Frame,
        left: float,
        right: float,
        fields: RequestFields = NO_FIELDS,
        *,
        brief: bool = False,
    ) -> None:
        self._frame = frame
        self._left, self._right = left, right
        self._spans = list(_spans(derived, assumed, fields))[: 1 if brief else None]
        self._reaches = [self._reach(span) for span in self._spans]
        self._lanes = lanes([(begin, end) for begin, end, _ in self._reaches], 6.0)
        self.height = _LANE * (max(self._lanes, default=-1) + 1)

    def _reach(self, span: _Span) -> tuple[float, float, float]:
        """Return the extent of line and text, and the middle of the text, px."""
        begin, end = self._frame.x(span.begin), self._frame.x(span.end)
        width = text_width(span.words, _TEXT) + 6.0
        if width <= end - begin:
            return begin, end, (begin + end) / 2.0
        if end + 8.0 + width <= self._right:
            return begin - 8.0, end + 8.0 + width, end + 8.0 + width / 2.0
        return begin - 8.0 - width, end + 8.0, begin - 8.0 - width / 2.0

    def marks(self, top: float, bottom_of: float) -> list[Mark]:
        """Return the lanes below `top`, with extension lines up to `bottom_of`."""
        behind: list[Mark] = []
        before: list[Mark] = []
        for span, (_, _, middle), lane in zip(self._spans, self._reaches, self._lanes, strict=True):
            y = top + lane * _LANE + 17.0
            begin, end = self._frame.x(span.begin), self._frame.x(span.end)
            for x in (begin, end):
                line = path([(x, bottom_of), (x, y + 4.0)])
                behind.append(element("path", d=line, stroke=FAINT, stroke_width=0.5, fill="none"))
            before.extend(_arrow(begin, end, y))
            before.extend(_words(middle, y - 4.0 if begin < middle < end else y + 4.0, span.words, span.field))
        return [*behind, *before]


def _spans(
    derived: StackAnalysis, assumed: Collection[tuple[str | None, str]], fields: RequestFields
) -> Iterator[_Span]:
    """Yield the gauge length, then grip length and projection of each lower part; assumed ones in parentheses."""
    places = derived.geometry.places
    first = places[0].face
    if not isinstance(first, Missing) and first > 0.0:
        own = fields.of_part(f"{derived.chain.members[0].at}/gauge_length_mm")
        yield _Span(0.0, first, f"gauge length {millimetres(first)}", own)
    grips = {grip.index: grip.length_mm for grip in derived.grips}
    for number, out in enumerate(derived.geometry.projections):
        face, name = places[number].face, letter(number + 1)
        if isinstance(face, Missing):
            continue
        joint = derived.chain.joints[number]
        between = [field for field in ("grip_length_mm", "projection_mm") if (joint.name, field) in assumed]

        def told(length: float, *, between: bool = bool(between)) -> str:
            return f"({millimetres(length)})" if between else millimetres(length)

        def named(field: str, *, joint: StackJoint = joint, between: Sequence[str] = between) -> Field | None:
            return fields.of_joint(joint, field, assumed=field in between)

        held = grips.get(number)
        if isinstance(held, float) and held > 0.0:
            yield _Span(face - held, face, f"{name} grip {told(held)}", named("grip_length_mm"))
        if not isinstance(out, Missing) and out > 0.0:
            yield _Span(face, face + out, f"{name} projection {told(out)}", named("projection_mm"))


def _arrow(begin: float, end: float, y: float) -> Iterator[Mark]:
    """Return a dimension line; arrows outside if there is no room inside."""
    inside = end - begin >= 18.0
    ends = (begin, end) if inside else (begin - 8.0, end + 8.0)
    yield element("path", d=path([(ends[0], y), (ends[1], y)]), stroke=INK, stroke_width=0.8, fill="none")
    for x, way in ((begin, 1.0 if inside else -1.0), (end, -1.0 if inside else 1.0)):
        head = [(x, y), (x + way * 7.0, y - 2.4), (x + way * 7.0, y + 2.4)]
        yield element("polygon", points=points(head), fill=INK)


def _words(middle: float, base: float, words: str, field: Field | None = None) -> Iterator[Mark]:
    width = text_width(words, _TEXT)
    drawn = [
        element(
            "rect",
            x=middle - width / 2.0,
            y=base - _TEXT + 1.5,
            width=width,
            height=_TEXT,
            fill=PAPER,
            fill_opacity=0.85,
        ),
        text(middle, base, words, text_anchor="middle", font_size=_TEXT),
    ]
    if field is None:
        yield from drawn
    else:
        yield group(drawn, data_field=field.at, data_upper=field.upper, data_lower=field.lower)


@dataclass(frozen=True, slots=True)
class _Pinned:
    """Text in a row with a leader to its place."""

    x: float
    y: float
    words: str
    field: Field | None = None


def _row(pinned: Sequence[_Pinned], top: float, left: float, right: float, colour: str) -> list[Mark]:
    ordered = sorted(pinned, key=lambda one: one.x)
    widths = [text_width(one.words, _TEXT) + 10.0 for one in ordered]
    middles = spread([one.x for one in ordered], widths, left, right)
    behind: list[Mark] = []
    before: list[Mark] = []
    for one, middle in zip(ordered, middles, strict=True):
        bend = top + 6.0
        corners = [(one.x, one.y), (one.x, bend), (middle, top + 16.0)]
        behind.append(element("path", d=path(corners), stroke=colour, stroke_width=0.7, fill="none"))
        before.extend(_words(middle, top + 27.0, one.words, one.field))
    return [*behind, *before]


class DiameterRow:
    """Outer diameters with leaders to their surfaces."""

    def __init__(
        self,
        derived: StackAnalysis,
        parts: Sequence[Part],
        frame: Frame,
        room: float,
        fields: RequestFields = NO_FIELDS,
    ) -> None:
        self._found: list[tuple[float, float, str, Field | None]] = []
        width = 0.0
        for part, member in zip(parts, derived.chain.members, strict=True):
            for x, half, words, field in list(_diameters(part, parts, frame))[:_MOST_DIAMETERS]:
                width += text_width(words, _TEXT) + 10.0
                if width <= room:
                    stated = fields.of_part(f"{member.at}/{field}") if field else None
                    self._found.append((x, half, words, stated))
        self.height = _ROW if self._found else 0.0

    def marks(self, top: float, axis: float, left: float, right: float) -> list[Mark]:
        """Return the row."""
        pinned = [_Pinned(x, axis + half, words, field) for x, half, words, field in self._found]
        return _row(pinned, top, left, right, FAINT)


def _diameters(part: Part, parts: Sequence[Part], frame: Frame) -> Iterator[tuple[float, float, str, str | None]]:
    """Yield position, distance from the axis, text and, if one field states it, field of the visible diameters."""
    if not part.placed or part.kind == "collet":
        return
    earlier = [one.face for one in parts[: part.number] if one.placed and one.face is not None]
    out = max([part.ends[0], *earlier])
    bare = part.ends[1]
    if part.flutes is not None and part.face is not None:
        bare = max(out, part.face - part.flutes[0])
    numbered = enumerate(part.pieces)
    seen = [(place, piece) for place, piece in numbered if max(piece.from_mm, out) < min(piece.to_mm, bare)]
    for (start, end), run in groupby(seen, key=lambda one: (one[1].start_mm, one[1].end_mm)):
        pieces = list(run)
        begin, stop = max(pieces[0][1].from_mm, out), min(pieces[-1][1].to_mm, bare)
        words = f"Ø{millimetres(start)}" + ("" if start == end else f"–{millimetres(end)}")
        words = f"({words})" if part.light else words
        field = f"profile/{pieces[0][0]}/outer_mm" if len(pieces) == 1 and start == end else None
        yield frame.x((begin + stop) / 2.0), (start + end) * frame.scale / 4.0, words, field
    if part.flutes is not None and part.face is not None and bare < part.face:
        diameter = part.flutes[1]
        if not seen or (seen[-1][1].start_mm, seen[-1][1].end_mm) != (diameter, diameter):
            middle = frame.x((bare + part.face) / 2.0)
            yield middle, diameter * frame.scale / 2.0, f"Ø{millimetres(diameter)}", _CUTTING
    if part.cutting_mm is not None and part.face is not None and frame.x(part.face) - 6.0 > frame.x(out):
        words = f"cutting Ø{millimetres(part.cutting_mm)}"
        yield frame.x(part.face) - 6.0, part.cutting_mm * frame.scale / 2.0, words, _CUTTING


class PlaceRow:
    """Positions along the axis from the gauge line."""

    height: Final = _ROW

    def __init__(self, derived: StackAnalysis, parts: Sequence[Part], frame: Frame, *, brief: bool = False) -> None:
        geometry = derived.geometry
        named: dict[float, list[str]] = {0.0: ["gauge line"]}
        faces: dict[float, list[str]] = {}

        def put(there: dict[float, list[str]], z: float, words: str) -> None:
            there.setdefault(round(z, 4), []).append(words)

        for part in parts:
            if part.face is not None:
                if part.number == len(parts) - 1 and not isinstance(geometry.tip, Missing):
                    put(named, part.face, "tip")
                elif not brief:
                    put(faces, part.face, letter(part.number))
        for z, letters in faces.items():
            put(named, z, f"face of {' and '.join(letters)}")
        if derived.reading is not None:
            put(named, derived.reading.z_mm, "plane to read")
        if not isinstance(geometry.gauge_plane, Missing):
            beyond = not isinstance(geometry.tip, Missing) and geometry.gauge_plane > geometry.tip + 1e-4
            put(named, geometry.gauge_plane, "gauge plane, beyond the tip," if beyond else "gauge plane")
        self._pinned = [(frame.x(z), f"{', '.join(words)} {millimetres(z)}") for z, words in named.items()]
        self.words = [words for _, words in self._pinned]
        self.width = sum(text_width(words, _TEXT) + 10.0 for words in self.words)

    def marks(self, top: float, upper: float, left: float, right: float) -> list[Mark]:
        """Return the row, with leaders from `upper`."""
        return _row([_Pinned(x, upper, words) for x, words in self._pinned], top, left, right, INK)
