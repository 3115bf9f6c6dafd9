"""The row above a drawing: the name of each part and the marks of what was found there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from service.report.drawing_frame import LEAST_HALF, Frame, surface_at
from service.report.drawing_layout import spread
from service.report.drawing_marks import SIZE, Noted, shape
from service.report.drawing_parts import Part, letter
from service.report.drawing_text import shortened, text_width
from service.report.svg import INK, PAPER, Mark, element, path, text

__all__ = ["LabelRow", "middle_of"]

_NAME_ROOM: Final = 120.0
_TEXT: Final = 12.0
_BAND: Final = 30.0
"""Height in which leaders slant."""

_HIGHEST: Final = 3
"""Marks that stand upon each other before the next column."""


@dataclass(frozen=True, slots=True)
class _Label:
    anchor: float
    surface: float | None
    """How far above the axis the leader ends; None for a label without one."""
    name: str
    marks: tuple[Noted, ...]

    @property
    def box(self) -> float:
        """Width of the frame about the name."""
        return text_width(self.name, _TEXT, bold=True) + 10.0 if self.name else 0.0

    @property
    def width(self) -> float:
        """Room it takes in the row."""
        return self.box + ceil(len(self.marks) / _HIGHEST) * SIZE + (4.0 if self.marks else 0.0) + 6.0


def middle_of(part: Part, parts: Sequence[Part], frame: Frame) -> float:
    """Return where a part is seen best: the middle of what no later part hides and no earlier one holds."""
    if not part.placed:
        return frame.unplaced_from(part.number) + frame.unplaced_px / 2.0
    begin, end = part.ends
    earlier = [one.face for one in parts[: part.number] if one.placed and one.face is not None]
    out = max([begin, *earlier])
    if part.kind == "collet" or not out < end:
        out = begin
    return frame.x((out + end) / 2.0)


class LabelRow:
    """Labels of parts and joints in their order, none over another."""

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
        """From the top of the row to where the drawing may begin."""

    def marks(self, top: float, axis: float, left: float, right: float) -> list[Mark]:
        """Draw labels and leaders."""
        labels = self._labels
        middles = spread([one.anchor for one in labels], [one.width for one in labels], left, right)
        # leaders that would coincide are set apart
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
    """Return where a part enters the one above it."""
    if part.number == 0:
        return frame.x(0.0)
    if not part.placed:
        return frame.unplaced_from(part.number)
    face = parts[part.number - 1].face
    return frame.x(part.ends[0] if face is None else face)
