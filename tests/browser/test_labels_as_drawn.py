"""Labels of the drawings, measured in a browser instead of by the text widths of the drawing code."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from rules.schema.parsing import parse_request
from service.sheets.page import report_page
from service.sheets.sheet import sheet_page
from tests.support.pictures import drawn, shown
from tests.support.stacks import assessor

OpenPage = Callable[..., Page]
STACKS = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"
NAMES = [
    "01-deep-rib-shrink-extension",
    "03-deep-rib-nut-collets",
    "06-side-lock-inch",
    "08-hydraulic-with-sleeve",
    "12-face-mill-too-wide",
    "18-slender-reach-at-speed",
]

MEASURE = """() => {
  const svg = document.querySelector('svg');
  const sheet = svg.getBoundingClientRect();
  return {
    sheet: [sheet.left, sheet.top, sheet.right, sheet.bottom],
    labels: [...svg.querySelectorAll('text')].filter(one => one.textContent.trim()).map(one => {
      const box = one.getBBox(), to = one.getScreenCTM();
      const corners = [[box.x, box.y], [box.x + box.width, box.y + box.height]].map(
        ([x, y]) => new DOMPoint(x, y).matrixTransform(to));
      return [one.textContent, Math.min(corners[0].x, corners[1].x), Math.min(corners[0].y, corners[1].y),
              Math.max(corners[0].x, corners[1].x), Math.max(corners[0].y, corners[1].y)];
    }),
  };
}"""

LEADING = 0.2
"""Share of the height of a label's box that is blank above and below its letters."""


def _overlap(one: list[Any], other: list[Any]) -> bool:
    across = min(one[3], other[3]) - max(one[1], other[1])
    down = min(one[4], other[4]) - max(one[2], other[2])
    return across > 0.5 and down > LEADING * min(one[4] - one[2], other[4] - other[2]) * 2


@pytest.mark.parametrize("name", NAMES)
def test_no_label_lies_on_another_or_off_the_sheet(browser: Browser, name: str) -> None:
    """Every picture of a stack, opened at its own size."""
    request = json.loads((STACKS / f"{name}.json").read_text(encoding="utf-8"))
    page = browser.new_page(viewport={"width": 1400, "height": 1200})
    seen = 0
    for picture, text in shown(drawn(request)):
        page.set_content(f"<!doctype html><body style='margin:0'>{text}</body>")
        measured = page.evaluate(MEASURE)
        left, top, right, bottom = measured["sheet"]
        for label in measured["labels"]:
            inside = label[1] >= left - 1 and label[2] >= top - 1 and label[3] <= right + 1 and label[4] <= bottom + 1
            assert inside, (picture, label)
        for one, other in combinations(measured["labels"], 2):
            assert not _overlap(one, other), (picture, one, other)
        seen += len(measured["labels"])
    page.close()
    assert seen >= 20


SIZES = """() => [...document.querySelectorAll('.drawing svg text')].map(
  one => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)"""


@pytest.mark.parametrize("width", [360, 800, 1100, 1920])
def test_no_letter_of_a_page_is_too_small_to_read(browser: Browser, width: int) -> None:
    """At least 10 px at any width of the window, on the report page and on the sheet."""
    request = parse_request(json.loads((STACKS / "18-slender-reach-at-speed.json").read_text(encoding="utf-8")))
    page = browser.new_page(viewport={"width": width, "height": 900})
    for made in (report_page, sheet_page):
        page.set_content(made(*assessor().assess_instructed(request)))
        sizes = page.evaluate(SIZES)
        assert len(sizes) > 10
        assert min(sizes) >= 10.0
    page.close()
