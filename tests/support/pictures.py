"""Parsed drawings and charts: texts as rectangles, numbers and shapes."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final, get_args

from lxml import etree

from rules.analysis import StackAnalysis
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.drawing.dimensions import RequestFields
from service.drawing.pictures import PictureName, Pictures, picture_of, pictures_of
from service.drawing.svg import text_width
from tests.support.stacks import assessor

SVG: Final = "{http://www.w3.org/2000/svg}"
NAMES: Final[tuple[PictureName, ...]] = get_args(PictureName)
_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Words:
    """Text with its rectangle, px."""

    words: str
    left: float
    right: float
    top: float
    bottom: float


def judged(request: dict[str, Any]) -> tuple[Report, StackAnalysis]:
    """Return the report on a request and its derived properties."""
    return assessor().assess_derived(parse_request(copy.deepcopy(request)))


def drawn(request: dict[str, Any], *, bent: bool = True, prefix: str = "") -> Pictures:
    """Return the pictures of a request's stack."""
    return pictures_of(*judged(request), bent=bent, prefix=prefix)


def named(request: dict[str, Any]) -> Pictures:
    """Return the pictures of a request's stack whose dimensions name the fields that state them."""
    parsed_request = parse_request(copy.deepcopy(request))
    fields = RequestFields.of(request, parsed_request, assessor().catalogue.definitions)
    report, derived = judged(request)
    made = drawn(request)
    return replace(made, stack=made.stack and picture_of("stack", report, derived, fields=fields))


def shown(pictures: Pictures) -> Iterator[tuple[PictureName, str]]:
    """Yield the pictures that exist."""
    for name in NAMES:
        text = getattr(pictures, name)
        if text is not None:
            yield name, text


def parsed(text: str) -> etree._Element:
    """Return the root element of a picture; raises for markup that is not well-formed."""
    return etree.fromstring(text.encode())


def words_in(root: etree._Element) -> list[Words]:
    """Return every text of a picture with its rectangle, in the width of the widest common font."""
    found = []
    for one in root.iter(f"{SVG}text"):
        size = float(one.get("font-size", "12"))
        content = "".join(one.itertext())
        wide = text_width(content, size, bold=one.get("font-weight") == "bold")
        start = {"middle": wide / 2.0, "end": wide}.get(one.get("text-anchor", "start"), 0.0)
        left, base = float(one.get("x", "")) - start, float(one.get("y", ""))
        found.append(Words(content, left, left + wide, base - 0.75 * size, base + 0.2 * size))
    return found


def overlapping(root: etree._Element) -> list[tuple[str, str]]:
    """Return the pairs of texts that overlap."""
    return [
        (one.words, other.words)
        for one, other in combinations(words_in(root), 2)
        if one.left < other.right - 0.5
        and other.left < one.right - 0.5
        and one.top < other.bottom - 0.5
        and other.top < one.bottom - 0.5
    ]


def outside(root: etree._Element) -> list[str]:
    """Return the texts that extend beyond the sheet."""
    width, height = (float(one) for one in root.get("viewBox", "").split()[2:])
    return [
        one.words
        for one in words_in(root)
        if one.left < -0.5 or one.right > width + 0.5 or one.top < -0.5 or one.bottom > height + 0.5
    ]


def corners_of(element: etree._Element) -> list[tuple[float, float]]:
    """Return the corners of a polygon or a path."""
    numbers = [float(number) for number in _NUMBER.findall(element.get("points") or element.get("d") or "")]
    return list(zip(numbers[::2], numbers[1::2], strict=True))
