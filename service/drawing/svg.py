"""SVG output: escaped elements, text widths, hatching of parts, and layout of labels and lanes."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

__all__ = [
    "FAINT",
    "INK",
    "KINDS",
    "PAPER",
    "Mark",
    "definitions",
    "document",
    "element",
    "figure",
    "group",
    "hatching",
    "lanes",
    "path",
    "points",
    "shade",
    "shortened",
    "spaced",
    "spread",
    "text",
    "text_width",
    "wrapped",
]


INK: Final = "#1a1a1a"
"""Colour of lines and text."""

PAPER: Final = "#ffffff"

FAINT: Final = "#6a6a6a"
"""Colour of extension lines, and of what is assumed."""

_NOT_IN_XML: Final = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_PREFIX: Final = re.compile(r"(?:[A-Za-z][A-Za-z0-9_-]*)?")


@dataclass(frozen=True, slots=True)
class Mark:
    """SVG markup."""

    markup: str


def figure(value: float) -> str:
    """Return a coordinate to 0.01 px; raises ValueError if not finite.

    >>> figure(3.0), figure(-0.001), figure(12.345)
    ('3', '0', '12.35')
    """
    if not math.isfinite(value):
        raise ValueError("a coordinate must be finite")
    shown = f"{value:.2f}"
    if shown[-1] == "0":
        shown = shown.rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def _escaped(words: str) -> str:
    """Return text escaped for content and attributes; characters invalid in XML become U+FFFD."""
    if words.isascii() and words.isprintable():
        return html.escape(words)
    return html.escape(_NOT_IN_XML.sub("\ufffd", words))


def element(name: str, *inner: Mark | str, **attributes: float | str | None) -> Mark:
    """Return an element; ``_`` in attribute names becomes ``-``, None is left out."""
    told = "".join(
        f' {key.strip("_").replace("_", "-")}="{_escaped(value) if isinstance(value, str) else figure(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    content = "".join(one.markup if isinstance(one, Mark) else _escaped(one) for one in inner)
    return Mark(f"<{name}{told}>{content}</{name}>" if inner else f"<{name}{told}/>")


def group(inner: Iterable[Mark], **attributes: float | str | None) -> Mark:
    """Return a group of marks with common attributes."""
    return element("g", *inner, **attributes)


def text(x: float, y: float, words: str, **attributes: float | str | None) -> Mark:
    """Return text on the base line y, starting at x unless ``text_anchor`` is given."""
    return element("text", words, x=x, y=y, **attributes)


def points(corners: Iterable[tuple[float, float]]) -> str:
    """Return corners as a ``points`` attribute."""
    return " ".join(f"{figure(x)},{figure(y)}" for x, y in corners)


def path(corners: Sequence[tuple[float, float]], *, closed: bool = False) -> str:
    """Return corners as a ``d`` attribute."""
    steps = " L".join(f"{figure(x)} {figure(y)}" for x, y in corners)
    return f"M{steps}{' Z' if closed else ''}"


_USUAL_WIDTH: Final = 1060.0
"""Width of a page; a wider drawing keeps its own size there, for its text would be too small."""


def document(
    name: str,
    title: str,
    about: str,
    size: tuple[float, float],
    body: Iterable[Mark],
    *,
    prefix: str = "",
    shown: float = 1.0,
) -> str:
    """Return an SVG document with title and description, shown at this share of its size.

    Raises ValueError for a prefix that is no valid start of an id.
    """
    if _PREFIX.fullmatch(prefix) is None:
        raise ValueError("a prefix starts with a letter and has only letters, digits, - and _")
    width, height = size
    own = f"{prefix}{name}"
    return element(
        "svg",
        element("title", title, id=f"{own}-title"),
        element("desc", about, id=f"{own}-about"),
        element("rect", width=width, height=height, fill=PAPER),
        *body,
        xmlns="http://www.w3.org/2000/svg",
        id=own,
        class_="wide" if width > _USUAL_WIDTH else None,
        viewBox=f"0 0 {figure(width)} {figure(height)}",
        width=shown * width,
        height=shown * height,
        role="img",
        aria_labelledby=f"{own}-title {own}-about",
        font_family="sans-serif",
        font_size=12.0,
        fill=INK,
    ).markup


_NARROW: Final = frozenset("ijl.,:;'|![]()/ ftr-I·")
_WIDE: Final = frozenset("mwMWQ%@OØGDNHUCA&+<>=±×→—–")


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Return the approximate text width, px, an upper estimate for common sans serif fonts.

    >>> text_width("holder", 10.0) < text_width("HOLDER", 10.0)
    True
    """
    return size * (1.12 if bold else 1.0) * sum(map(_share, words))


@lru_cache(maxsize=1024)
def _share(letter: str) -> float:
    if letter in _NARROW:
        return 0.42
    if letter in _WIDE or ord(letter) > 0x24F:
        return 1.0 if letter in "mwMWQ%@" or ord(letter) > 0x24F else 0.84
    return 0.7 if letter.isupper() else 0.64


def shortened(words: str, size: float, room: float) -> str:
    """Return text truncated to a width, px, with an ellipsis.

    >>> shortened("a very long name", 10.0, 40.0)
    'a ver…'
    """
    if text_width(words, size) <= room:
        return words
    kept = words
    while kept and text_width(f"{kept}…", size) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}…"


def wrapped(words: str, size: float, room: float, most: int) -> list[str]:
    """Return text in at most `most` lines of a width, px; the last line is truncated."""
    lines: list[str] = []
    line = ""
    for word in words.split(" "):
        longer = f"{line} {word}" if line else word
        if not line or text_width(longer, size) <= room:
            line = longer
            continue
        lines.append(line)
        line = word
    lines.append(line)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [shortened(one, size, room) for one in lines]


def spaced(number: float) -> str:
    """Return a number with a thousands separator.

    >>> spaced(20000.0), spaced(0.5)
    ('20\\xa0000', '0.5')
    """
    return f"{number:,.0f}".replace(",", "\u00a0") if number >= 10.0 else f"{number:g}"


_SHADES: Final = ("#c3d3e2", "#f6e3bd", "#9fb4a6", "#efeff4", "#d3b9b0", "#fbf7df")
"""Shades, alternately dark and light, so that they differ in grey, too."""

_STROKES: Final = (
    ("M-2 10 L10 -2 M4 16 L16 4 M-2 -2",),
    ("M-2 2 L10 14 M2 -2 L14 10",),
    ("M-2 -2 M-2 6 L14 6 M-2 12 L14 12 M-2 0 L14 0",),
    ("M-2 10 L10 -2 M4 16 L16 4", "M-2 2 L10 14 M2 -2 L14 10"),
    ("M3 -2 L3 14 M9 -2 L9 14",),
    ("M2 3 L4 3 M8 3 L10 3 M5 9 L7 9 M-1 9 L1 9 M11 9 L13 9",),
)
"""Hatchings in a 12 px tile: rising, falling, horizontal, crossed, vertical, dashed."""

KINDS: Final = len(_SHADES)
"""Number of parts before shade and hatching repeat."""


def shade(number: int) -> str:
    """Return the colour of a part."""
    return _SHADES[number % KINDS]


def hatching(number: int, prefix: str) -> str:
    """Return the fill of a part: hatching on its shade."""
    return f"url(#{prefix}hatching-{number % KINDS})"


def definitions(count: int, prefix: str) -> Mark:
    """Return the hatching definitions of the first parts."""
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


def spread(wanted: Sequence[float], widths: Sequence[float], first: float, last: float) -> list[float]:
    """Return label positions without overlap, as near as possible to those wanted (ascending).

    Least squares with fixed order, by pooling overlapping neighbours. Labels that do not fit extend beyond the last.


    >>> spread([10.0, 11.0, 50.0], [10.0, 10.0, 10.0], 0.0, 100.0)
    [5.5, 15.5, 50.0]
    """
    offsets, total = [], 0.0
    for width in widths:
        offsets.append(total + width / 2.0)
        total += width
    # with the widths subtracted, the positions need only ascend: isotonic regression
    pools: list[list[float]] = []
    for middle, offset in zip(wanted, offsets, strict=True):
        pools.append([middle - offset, 1.0])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            value, count = pools.pop()
            before, weight = pools[-1]
            pools[-1] = [(before * weight + value * count) / (weight + count), weight + count]
    free = [value for value, count in pools for _ in range(int(count))]
    most = max(first, last - total)
    return [min(max(value, first), most) + offset for value, offset in zip(free, offsets, strict=True)]


def lanes(spans: Sequence[tuple[float, float]], gap: float) -> list[int]:
    """Return a lane for each span, with at least `gap` between spans of one lane; short spans come first.


    >>> lanes([(0.0, 100.0), (10.0, 20.0), (30.0, 40.0)], 5.0)
    [1, 0, 0]
    """
    taken: list[list[tuple[float, float]]] = []
    chosen = [0] * len(spans)
    order = sorted(range(len(spans)), key=lambda place: (spans[place][1] - spans[place][0], spans[place], place))
    for place in order:
        start, end = spans[place]
        lane = 0
        while lane < len(taken) and any(start < e + gap and s < end + gap for s, e in taken[lane]):
            lane += 1
        if lane == len(taken):
            taken.append([])
        taken[lane].append((start, end))
        chosen[place] = lane
    return chosen
