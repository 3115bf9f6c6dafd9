"""Plot area: scales, axes with round figures, and labels of lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.quantities.inch import as_shown, metric_of
from service.drawing.svg import INK, PAPER, Mark, element, path, shortened, spread, text, text_width

__all__ = [
    "GRID",
    "LEAST_UM",
    "LIMIT",
    "SMALL",
    "Area",
    "EndWords",
    "backed",
    "heading",
    "marks",
    "microns",
    "notes",
    "percent",
    "side_words",
    "ticks",
]

GRID: Final = "#cfcfcf"
LIMIT: Final = "#8c1c13"
"""Colour of a limit; its line has long dashes, too."""

SMALL: Final = 11.0

LEAST_UM: Final = 0.001
"""Shortest axis of runout, µm; the report shows no smaller values."""


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round figures from low to high, in at most `most` steps of 1, 2 or 5 times a power of ten.

    >>> ticks(0.0, 18.0, 6)
    [0.0, 5.0, 10.0, 15.0]
    """
    span = high - low
    if not span > 0.0:
        return [low]
    step = 10.0 ** math.floor(math.log10(span / most))
    step = next(step * factor for factor in (1.0, 2.0, 5.0, 10.0, 20.0) if span / (step * factor) <= most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def marks(high: float, most: int, sign: str) -> list[tuple[float, str]]:
    """Return the places of an axis from zero, and what stands there: round figures in the unit shown now.

    `high` and the places are in the metric unit of this sign.
    """
    one = metric_of(1.0, sign)
    return [(value * one, f"{value:g}") for value in ticks(0.0, high / one, most)]


def microns(value: float) -> str:
    """Return a runout as text, in µm or inches.

    >>> microns(13.456), microns(0.0)
    ('13.5 µm', '0.0 µm')
    """
    if (found := as_shown(value, "µm")) is not None:
        return f"{found.number} {found.sign}"
    return f"{value:.1f} µm"


@dataclass(frozen=True, slots=True)
class Area:
    """Plot area on the sheet, px, and its ranges of values."""

    left: float
    top: float
    width: float
    height: float
    x_from: float
    x_to: float
    y_from: float
    y_to: float

    def x(self, value: float) -> float:
        """Return the x coordinate of a value, px."""
        return self.left + (value - self.x_from) / (self.x_to - self.x_from) * self.width

    def y(self, value: float) -> float:
        """Return the y coordinate of a value, px."""
        return self.top + self.height - (value - self.y_from) / (self.y_to - self.y_from) * self.height

    def x_axis(self, figures: Sequence[tuple[float, str]], words: str) -> Iterator[Mark]:
        """Yield the x axis: figures, vertical grid lines and title."""
        bottom = self.top + self.height
        for value, shown in figures:
            x = self.x(value)
            yield element("path", d=path([(x, self.top), (x, bottom + 4.0)]), stroke=GRID, fill="none")
            yield text(x, bottom + 17.0, shown, text_anchor="middle", font_size=SMALL)
        yield element("path", d=path([(self.left, bottom), (self.left + self.width, bottom)]), stroke=INK, fill="none")
        yield text(self.left + self.width / 2.0, bottom + 35.0, words, text_anchor="middle", font_size=SMALL)

    def y_axis(self, figures: Sequence[tuple[float, str]], words: str) -> Iterator[Mark]:
        """Yield the y axis: figures, horizontal grid lines and title."""
        for value, shown in figures:
            y = self.y(value)
            yield element("path", d=path([(self.left, y), (self.left + self.width, y)]), stroke=GRID, fill="none")
            yield text(self.left - 6.0, y + 4.0, shown, text_anchor="end", font_size=SMALL)
        yield element(
            "path", d=path([(self.left, self.top), (self.left, self.top + self.height)]), stroke=INK, fill="none"
        )
        yield text(self.left - 30.0, self.top - 10.0, words, font_size=SMALL)


def heading(words: str, stack: str | None, width: float) -> Mark:
    """Return the title of a plot."""
    told = f"{words}, stack {stack}" if stack else words
    return text(20.0, 24.0, shortened(told, 14.0, (width - 40.0) / 1.12), font_size=14.0, font_weight="bold")


def notes(lines: Sequence[str], top: float, width: float) -> list[Mark]:
    """Return the notes under a plot."""
    return [
        text(20.0, top + 16.0 * number, shortened(line, SMALL, width - 40.0), font_size=SMALL)
        for number, line in enumerate(lines)
    ]


@dataclass(frozen=True, slots=True)
class EndWords:
    """Label for the end of a line, with a sample of its style."""

    x: float
    y: float
    words: str
    look: Mapping[str, float | str | None]


def side_words(ends: Sequence[EndWords], x: float, room: float, top: float, bottom: float) -> list[Mark]:
    """Return labels right of the line ends, with leaders and samples, without overlap."""
    ordered = sorted(ends, key=lambda one: one.y)
    levels = spread([one.y for one in ordered], [15.0] * len(ordered), top, bottom)
    drawn = []
    for one, level in zip(ordered, levels, strict=True):
        corners = [(one.x + 1.0, one.y), (one.x + 10.0, one.y), (x - 4.0, level)]
        drawn.append(element("path", d=path(corners), fill="none", stroke=INK, stroke_width=0.5))
        drawn.append(element("path", d=path([(x, level), (x + 36.0, level)]), fill="none", **one.look))
        drawn.append(text(x + 42.0, level + 4.0, shortened(one.words, SMALL, room - 42.0), font_size=SMALL))
    return drawn


def percent(share: float, decimals: int = 1) -> str:
    """Return a share in percent as text.

    >>> percent(0.345, 0), percent(0.5)
    ('34 %', '50.0 %')
    """
    return f"{100.0 * share:.{decimals}f} %"


def backed(x: float, y: float, words: str, **look: float | str | None) -> list[Mark]:
    """Return text centred at x on a white background."""
    width = text_width(words, SMALL, bold=look.get("font_weight") is not None)
    return [
        element("rect", x=x - width / 2.0, y=y - 9.5, width=width, height=12.0, fill=PAPER),
        text(x, y, words, text_anchor="middle", font_size=SMALL, **look),
    ]


def beside(x: float, y: float, words: str, *, bold: bool = False) -> list[Mark]:
    """Return text starting at x on a white background."""
    width = text_width(words, SMALL, bold=bold)
    weight = "bold" if bold else None
    return [
        element("rect", x=x, y=y - 9.5, width=width, height=12.0, fill=PAPER),
        text(x, y, words, font_size=SMALL, font_weight=weight),
    ]
