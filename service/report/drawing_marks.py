"""The marks of findings: severity told by shape, number and shade, not by colour alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from rules.schema.report import Report
from service.report.drawing_places import Spot, Spots
from service.report.svg import INK, PAPER, Mark, element, group, points, text

__all__ = ["SIZE", "Noted", "Weight", "noted_in", "shape"]

SIZE: Final = 22.0
"""Room of a mark, px."""

Weight: TypeAlias = Literal["error", "warning", "advice", "undecided"]

_FILLS: Final[dict[Weight, tuple[str, str]]] = {
    "error": ("#8c1c13", PAPER),
    "warning": ("#f2c14e", INK),
    "advice": (PAPER, INK),
    "undecided": ("#e4e4e4", INK),
}


@dataclass(frozen=True, slots=True)
class Noted:
    """A finding or an undecided rule with its number in the drawing."""

    number: int
    weight: Weight
    code: str
    title: str
    spots: tuple[Spot, ...]


def noted_in(report: Report, spots: Spots) -> list[Noted]:
    """Number the findings, then the undecided rules, in the order of the report; a rule has one number everywhere."""
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
    """Draw a mark about its middle: octagon, triangle, circle; a dashed square for what is undecided."""
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
    size = 11.0 if noted.number < 10 else 9.0
    number = text(x, y + low, str(noted.number), text_anchor="middle", font_size=size, font_weight="bold", fill=ink)
    return group([outline, number])
