"""Shade and hatching of each part: neighbours differ in both, so they are told apart without colour."""

from __future__ import annotations

from typing import Final

from service.report.svg import INK, Mark, element

__all__ = ["KINDS", "definitions", "hatching", "shade"]

_SHADES: Final = ("#c3d3e2", "#f6e3bd", "#9fb4a6", "#efeff4", "#d3b9b0", "#fbf7df")
"""Alternately dark and light, so that they differ in grey too."""

_STROKES: Final = (
    ("M-2 10 L10 -2 M4 16 L16 4 M-2 -2",),
    ("M-2 2 L10 14 M2 -2 L14 10",),
    ("M-2 -2 M-2 6 L14 6 M-2 12 L14 12 M-2 0 L14 0",),
    ("M-2 10 L10 -2 M4 16 L16 4", "M-2 2 L10 14 M2 -2 L14 10"),
    ("M3 -2 L3 14 M9 -2 L9 14",),
    ("M2 3 L4 3 M8 3 L10 3 M5 9 L7 9 M-1 9 L1 9 M11 9 L13 9",),
)
"""Lines of a tile of 12 px: rising, falling, level, crossed, upright, dashed."""

KINDS: Final = len(_SHADES)
"""After so many parts shade and hatching come again."""


def shade(number: int) -> str:
    """Return the colour of a part."""
    return _SHADES[number % KINDS]


def hatching(number: int, prefix: str) -> str:
    """Return the fill of a part: its hatching upon its shade."""
    return f"url(#{prefix}hatching-{number % KINDS})"


def definitions(count: int, prefix: str) -> Mark:
    """Define the hatchings of the first parts."""
    return element("defs", *(_tile(number, prefix) for number in range(min(count, KINDS))))


def _tile(number: int, prefix: str) -> Mark:
    lines = [element("path", d=line, stroke=INK, stroke_width=0.7, stroke_opacity=0.6) for line in _STROKES[number]]
    return element(
        "pattern",
        element("rect", width=12.0, height=12.0, fill=_SHADES[number]),
        *lines,
        id=f"{prefix}hatching-{number}",
        width=12.0,
        height=12.0,
        patternUnits="userSpaceOnUse",
    )
