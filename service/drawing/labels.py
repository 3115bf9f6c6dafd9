"""Labels above a drawing: names of parts, and numbered marks of findings, with severity by shape and shade."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Final, Literal, TypeAlias

from rules.schema.report import Report
from rules.stack.chain import Chain, Member
from service.drawing.parts import LEAST_HALF, Frame, Part, letter, surface_at
from service.drawing.svg import INK, PAPER, Mark, element, group, path, points, shortened, spread, text, text_width

__all__ = ["SIZE", "LabelRow", "Noted", "Spot", "Spots", "Weight", "noted_in", "shape"]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in the stack; a joint has the number of its lower component."""

    kind: Literal["component", "joint", "plane", "stack"]
    number: int
    words: str


_WHOLE: Final = Spot("stack", 0, "whole stack")
_RUNOUT: Final = "RUN-"
"""Family of the rules on the runout at the measuring plane."""


class Spots:
    """Places of a stack by the JSON Pointers of a report."""

    def __init__(self, chain: Chain) -> None:
        self._members = chain.members
        operation = chain.operation
        at_tip = operation is not None and operation.runout_limit_at == "tip"
        self._plane = Spot("plane", 0, "at the tip" if at_tip else "at the gauge plane")
        self._knobs = {knob.at: knob.part.id for knob in chain.knobs}
        self._homes = _homes(chain)
        self._statements = {case.statement_at: n for n, case in enumerate(chain.joints, 1) if case.statement}
        if chain.spindle_joint is not None and chain.spindle_joint.statement is not None:
            self._statements[chain.spindle_joint.statement_at] = 0

    def of(self, code: str, pointers: Sequence[str]) -> Spot:
        """Return the place common to all pointers of a finding."""
        spot = self._met(pointers)
        return self._plane if spot is _WHOLE and code.startswith(_RUNOUT) else spot

    def _met(self, pointers: Sequence[str]) -> Spot:
        for pointer in pointers:
            if pointer in self._statements:
                return self._joint(self._statements[pointer])
        owners = [found for found in map(self._owners, pointers) if found]
        for first in owners:
            for second in owners:
                for upper, lower in pairwise(range(len(self._members))):
                    if first is not second and upper in first and lower in second:
                        return self._joint(lower)
        if any(pointer.startswith("/machine/spindle") for pointer in pointers) and self._members:
            return self._joint(0)
        if owners:
            number = min(owners[0])
            return Spot("component", number, self._members[number].part.id)
        for pointer in pointers:
            if pointer in self._knobs:
                return Spot("joint", 0, self._knobs[pointer])
        return _WHOLE

    def _joint(self, lower: int) -> Spot:
        upper = self._members[lower - 1].part.id if lower else "spindle"
        return Spot("joint", lower, f"{upper}/{self._members[lower].part.id}")

    def _owners(self, pointer: str) -> frozenset[int]:
        """Return the components of a pointer; several if a definition is used more than once."""
        own = [n for n, member in enumerate(self._members) if _leads_into(pointer, member.at)]
        return frozenset(own) or next(
            (numbers for home, numbers in self._homes.items() if _leads_into(pointer, home)), frozenset()
        )


def _leads_into(pointer: str, owner: str) -> bool:
    return pointer == owner or pointer.startswith(f"{owner}/")


def _homes(chain: Chain) -> Mapping[str, frozenset[int]]:
    """Return the components of each definition of the request."""
    homes = {}
    for key, definition in (chain.request.components or {}).items():
        numbers = frozenset(n for n, member in enumerate(chain.members) if _is_of(member, definition))
        if numbers:
            homes[f"/components/{key}"] = numbers
    return homes


def _is_of(member: Member, definition: object) -> bool:
    if member.part is definition:
        return True
    if type(member.part) is not type(definition):
        return False
    return member.part == definition.model_copy(update={"id": member.part.id})


SIZE: Final = 22.0
"""Size of a mark, px."""

Weight: TypeAlias = Literal["error", "warning", "advice", "undecided"]

_FILLS: Final[dict[Weight, tuple[str, str]]] = {
    "error": ("#8c1c13", PAPER),
    "warning": ("#f2c14e", INK),
    "advice": (PAPER, INK),
    "undecided": ("#e4e4e4", INK),
}


@dataclass(frozen=True, slots=True)
class Noted:
    """A numbered finding or undecided rule."""

    number: int
    weight: Weight
    code: str
    title: str
    spots: tuple[Spot, ...]


def noted_in(report: Report, spots: Spots) -> list[Noted]:
    """Return findings, then undecided rules, in report order; one number per rule."""
    told: list[tuple[Weight, str, str, Sequence[str]]] = [
        (one.severity, one.code, one.title, one.at) for one in report.findings
    ]
    told.extend(("undecided", one.code, one.title, one.at) for one in report.undecided)
    places: dict[tuple[Weight, str, str], list[Spot]] = {}
    for weight, code, title, at in told:
        places.setdefault((weight, code, title), []).append(spots.of(code, at))
    return [
        Noted(number, weight, code, title, tuple(dict.fromkeys(found)))
        for number, ((weight, code, title), found) in enumerate(places.items(), 1)
    ]


def shape(noted: Noted, x: float, y: float) -> Mark:
    """Return a mark: octagon (error), triangle (warning), circle (advice), dashed square (undecided)."""
    fill, ink = _FILLS[noted.weight]
    look: dict[str, float | str | None] = {"fill": fill, "stroke": INK, "stroke_width": 1.2}
    half = SIZE / 2.0 - 1.0
    low = 4.0
    if noted.weight == "error":
        turns = [math.radians(22.5 + 45.0 * turn) for turn in range(8)]
        corners = [(x + half * math.cos(turn), y + half * math.sin(turn)) for turn in turns]
        outline = element("polygon", points=points(corners), **look)
    elif noted.weight == "warning":
        corners = [(x, y - half), (x + half, y + half - 1.0), (x - half, y + half - 1.0)]
        outline = element("polygon", points=points(corners), **look)
        low = 8.0
    elif noted.weight == "advice":
        outline = element("circle", cx=x, cy=y, r=half - 0.5, **look)
    else:
        outline = element(
            "rect",
            x=x - half + 1.0,
            y=y - half + 1.0,
            width=2.0 * half - 2.0,
            height=2.0 * half - 2.0,
            stroke_dasharray="3 2",
            **look,
        )
    number = text(x, y + low, str(noted.number), text_anchor="middle", font_size=11.0, font_weight="bold", fill=ink)
    return group([outline, number])


_NAME_ROOM: Final = 120.0
_TEXT: Final = 12.0
_BAND: Final = 24.0
"""Height of the sloped part of leaders, px."""

_HIGHEST: Final = 3
"""Marks per column."""


@dataclass(frozen=True, slots=True)
class _Label:
    anchor: float
    surface: float | None
    """End of the leader above the axis, px; None without a leader."""
    name: str
    marks: tuple[Noted, ...]

    @property
    def box(self) -> float:
        """Width of the frame around the name, px."""
        return text_width(self.name, _TEXT, bold=True) + 10.0 if self.name else 0.0

    @property
    def width(self) -> float:
        """Width in the row, px."""
        return self.box + ceil(len(self.marks) / _HIGHEST) * SIZE + (4.0 if self.marks else 0.0) + 6.0


def middle_of(part: Part, parts: Sequence[Part], frame: Frame) -> float:
    """Return the middle of the visible length of a part, px."""
    if not part.placed:
        return frame.unplaced_from(part.number) + frame.unplaced_px / 2.0
    begin, end = part.ends
    earlier = [one.face for one in parts[: part.number] if one.placed and one.face is not None]
    out = max([begin, *earlier])
    if part.kind == "collet" or not out < end:
        out = begin
    return frame.x((out + end) / 2.0)


class LabelRow:
    """Labels of parts and joints in order, without overlap."""

    def __init__(
        self, parts: Sequence[Part], noted: Sequence[Noted], frame: Frame, plane: float | None, room: float
    ) -> None:
        names = [f"{letter(part.number)}  {shortened(part.name, _TEXT, _NAME_ROOM)}" for part in parts]
        self._labels = _labels(parts, noted, frame, plane, names)
        if sum(label.width for label in self._labels) > room:
            self._labels = _labels(parts, noted, frame, plane, [letter(part.number) for part in parts])
        self.width = sum(label.width for label in self._labels)
        marks = max((min(len(label.marks), _HIGHEST) for label in self._labels), default=0)
        self.height = max(SIZE, marks * SIZE) + _BAND
        """Height of the row, px."""

    def marks(self, top: float, axis: float, left: float, right: float) -> list[Mark]:
        """Return labels and leaders."""
        labels = self._labels
        middles = spread([one.anchor for one in labels], [one.width for one in labels], left, right)
        # separate coinciding leaders
        anchors = spread([one.anchor for one in labels], [4.0] * len(labels), left, right)
        foot = top + self.height - _BAND
        drawn: list[Mark] = []
        for label, middle, anchor in zip(labels, middles, anchors, strict=True):
            begin = middle - label.width / 2.0 + 3.0
            if label.surface is not None:
                hold = begin + (label.box or SIZE + 4.0) / 2.0
                corners = [(hold, foot + 2.0), (anchor, foot + _BAND - 6.0), (anchor, axis - label.surface)]
                drawn.append(element("path", d=path(corners), fill="none", stroke=INK, stroke_width=0.7))
                drawn.append(element("circle", cx=anchor, cy=axis - label.surface, r=1.8, fill=INK))
            if label.name:
                frame = {"x": begin, "y": foot - 17.0, "width": label.box, "height": 19.0}
                drawn.append(element("rect", **frame, fill=PAPER, stroke=INK, stroke_width=0.9))
                words = {"text_anchor": "middle", "font_weight": "bold"}
                drawn.append(text(begin + label.box / 2.0, foot - 3.5, label.name, **words))
            begin += label.box + 2.0
            drawn.extend(
                shape(one, begin + (place // _HIGHEST + 0.5) * SIZE, foot - 8.0 - (place % _HIGHEST) * SIZE)
                for place, one in enumerate(label.marks)
            )
        return drawn


def _labels(
    parts: Sequence[Part], noted: Sequence[Noted], frame: Frame, plane: float | None, names: Sequence[str]
) -> list[_Label]:
    found: dict[tuple[str, int], list[Noted]] = {}
    for one in noted:
        for spot in one.spots:
            kind = "stack" if spot.kind == "plane" and plane is None else spot.kind
            found.setdefault((kind, spot.number), []).append(one)
    labels = []
    for part, name in zip(parts, names, strict=True):
        joint = found.get(("joint", part.number))
        if joint is not None:
            labels.append(_Label(_joint(part, parts, frame), 0.0, "", tuple(joint)))
        anchor = middle_of(part, parts, frame)
        surface = 0.9 * surface_at(part, frame, frame.z(anchor)) if part.placed else 1.4 * LEAST_HALF
        labels.append(_Label(anchor, surface, name, tuple(found.get(("component", part.number), ()))))
    read = found.get(("plane", 0))
    if read is not None and plane is not None:
        labels.append(_Label(frame.x(plane), 0.0, "", tuple(read)))
    labels.sort(key=lambda label: label.anchor)
    whole = found.get(("stack", 0))
    return [_Label(frame.left - 20.0, None, "whole stack", tuple(whole)), *labels] if whole else labels


def _joint(part: Part, parts: Sequence[Part], frame: Frame) -> float:
    """Return the position of a part's joint with the one above it, px."""
    if part.number == 0:
        return frame.x(0.0)
    if not part.placed:
        return frame.unplaced_from(part.number)
    face = parts[part.number - 1].face
    return frame.x(part.ends[0] if face is None else face)
