"""A small writer of SVG: every text escaped, every number finite, nothing but presentation attributes."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

__all__ = ["Mark", "document", "element", "figure", "group", "path", "points", "text"]

INK: Final = "#1a1a1a"
"""Lines and letters."""

PAPER: Final = "#ffffff"

_NOT_IN_XML: Final = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_PREFIX: Final = re.compile(r"(?:[A-Za-z][A-Za-z0-9_-]*)?")


@dataclass(frozen=True, slots=True)
class Mark:
    """A finished piece of markup."""

    markup: str


def figure(value: float) -> str:
    """Return a coordinate to a hundredth of a pixel; raises ValueError for one that is not finite.

    >>> figure(3.0), figure(-0.001), figure(12.345)
    ('3', '0', '12.35')
    """
    if not math.isfinite(value):
        raise ValueError("a coordinate must be finite")
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def _escaped(words: str) -> str:
    """Return text that may stand between tags and in an attribute; what XML cannot carry becomes U+FFFD."""
    return html.escape(_NOT_IN_XML.sub("\ufffd", words))


def element(name: str, *inner: Mark | str, **attributes: float | str | None) -> Mark:
    """Return an element; attributes are written with ``_`` for ``-``, those that are None are left out."""
    told = "".join(
        f' {key.strip("_").replace("_", "-")}="{_escaped(value) if isinstance(value, str) else figure(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    content = "".join(one.markup if isinstance(one, Mark) else _escaped(one) for one in inner)
    return Mark(f"<{name}{told}>{content}</{name}>" if inner else f"<{name}{told}/>")


def group(inner: Iterable[Mark], **attributes: float | str | None) -> Mark:
    """Return a group of marks with what they have in common."""
    return element("g", *inner, **attributes)


def text(x: float, y: float, words: str, **attributes: float | str | None) -> Mark:
    """Return words that start at x on the base line y, or as ``text_anchor`` says."""
    return element("text", words, x=x, y=y, **attributes)


def points(corners: Iterable[tuple[float, float]]) -> str:
    """Return corners as a polygon's attribute has them."""
    return " ".join(f"{figure(x)},{figure(y)}" for x, y in corners)


def path(corners: Sequence[tuple[float, float]], *, closed: bool = False) -> str:
    """Return corners as a path's attribute has them."""
    steps = " L".join(f"{figure(x)} {figure(y)}" for x, y in corners)
    return f"M{steps}{' Z' if closed else ''}"


def document(
    name: str, title: str, about: str, size: tuple[float, float], body: Iterable[Mark], *, prefix: str = ""
) -> str:
    """Return a whole picture with its text alternatives.

    Parameters: name, the picture's; title and about, what it shows and what it says; size, px; prefix, what makes the
    ids unique where several stand in one page. Raises ValueError for a prefix that cannot begin an id.
    """
    if _PREFIX.fullmatch(prefix) is None:
        raise ValueError("a prefix begins with a letter and has letters, digits, - and _ only")
    width, height = size
    own = f"{prefix}{name}"
    return element(
        "svg",
        element("title", title, id=f"{own}-title"),
        element("desc", about, id=f"{own}-about"),
        element("rect", width=width, height=height, fill=PAPER),
        *body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {figure(width)} {figure(height)}",
        width=width,
        height=height,
        role="img",
        aria_labelledby=f"{own}-title {own}-about",
        font_family="sans-serif",
        font_size=12.0,
        fill=INK,
    ).markup
