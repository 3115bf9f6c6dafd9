"""The report page, the work instruction and the work sheet: opened from the start page, accessible, and printed."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import parse_request
from service.examples import EXAMPLES
from service.sheets.page import instruction_page, report_page
from service.sheets.sheet import sheet_page
from tests.browser.accessibility import broken_rules
from tests.support.sizes import spread
from tests.support.stacks import assessor

OpenPage = Callable[..., Page]


@pytest.fixture
def report(open_page: OpenPage) -> Page:
    """The report of a stack that fails, as the start page opens it."""
    page = open_page("/")
    page.get_by_label("Start from").first.select_option("KB-T-0043")
    expect(page.locator("#check .verdict-word")).to_contain_text("Fail")
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Print report").click()
    opened.value.wait_for_load_state()
    return opened.value


def test_the_report_opens_with_its_style(report: Page) -> None:
    """It inherits the policy of the page that opened it, which allows this one style."""
    expect(report.get_by_role("heading", level=1)).to_contain_text("KB-T-0043")
    assert report.evaluate("getComputedStyle(document.body).maxWidth") != "none"
    assert report.evaluate("document.styleSheets[0].cssRules.length") > 10


def test_nobody_is_left_out(report: Page) -> None:
    """No rule of axe-core is broken, and at 360 pixels all fits."""
    assert broken_rules(report) == []
    report.set_viewport_size({"width": 360, "height": 900})
    assert report.evaluate("document.documentElement.scrollWidth") == 360
    assert broken_rules(report) == []


def test_a_drawing_fills_the_window_without_script(report: Page) -> None:
    """By keys alone: open, zoom by the arrows of the choice, scroll, leave by Escape; nothing behind it scrolls."""
    button = report.get_by_role("button", name="Full screen").first
    button.focus()
    report.keyboard.press("Enter")
    view = report.locator(".full:popover-open .view")
    expect(view).to_be_visible()
    assert broken_rules(report) == []
    report.keyboard.press("Tab")
    report.keyboard.press("ArrowRight")
    expect(report.get_by_role("radio", name="2×").locator("visible=true")).to_be_checked()
    wide, seen = view.evaluate("view => [view.scrollWidth, view.clientWidth]")
    assert wide > 1.9 * seen
    for _ in range(2):
        report.keyboard.press("Tab")
    expect(view).to_be_focused()
    before = report.evaluate("scrollY")
    for _ in range(3):
        report.keyboard.press("ArrowRight")
    report.wait_for_function("() => document.querySelector('.full:popover-open .view').scrollLeft > 0")
    assert report.evaluate("scrollY") == before
    report.keyboard.press("Escape")
    expect(view).to_be_hidden()
    expect(button).to_be_focused()


def test_it_prints(report: Page) -> None:
    """One sheet, nothing cut off at the side, and the findings are there without opening anything."""
    # the width of A4 less its margins, 180 mm at 96 pixels an inch
    report.set_viewport_size({"width": 680, "height": 1000})
    report.emulate_media(media="print")
    expect(report.get_by_text("GRIP-010").first).to_be_visible()
    assert report.evaluate("document.documentElement.scrollWidth") <= 680
    assert _pages(report.pdf(prefer_css_page_size=True)) == 1


@pytest.mark.parametrize(("button", "fewest", "most"), [("details", 3, 9), ("work instruction", 2, 7)])
def test_more_is_printed_on_request(open_page: OpenPage, button: str, fewest: int, most: int) -> None:
    """The details follow the first sheet; the work instruction is a document of its own. Nobody is left out."""
    page = open_page("/")
    expect(page.locator("#check .verdict-word")).to_contain_text("Pass")
    with page.expect_popup() as opened:
        page.get_by_role("button", name=f"Print {button}").click()
    opened.value.wait_for_load_state()
    expect(opened.value.get_by_role("heading", level=1)).to_contain_text("KB-T-0042")
    assert broken_rules(opened.value) == []
    opened.value.set_viewport_size({"width": 360, "height": 900})
    assert opened.value.evaluate("document.documentElement.scrollWidth") == 360
    assert fewest <= _pages(opened.value.pdf(prefer_css_page_size=True)) <= most


def _pages(sheets: bytes) -> int:
    return sheets.count(b"/Type /Page\n") + sheets.count(b"/Type /Page ")


DEMO = sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))


def _long(extensions: int) -> dict[str, Any]:
    """Return a stack of many extensions, each in the one before."""
    request = base_request("press_in")
    holder, collet, extension, _, mill, knob = request["stack"]["components"]
    extension.pop("profile")
    mill.pop("profile")
    extension["workpiece_side"] = {"coupling": "hydraulic", "diameter_mm": 25, "tolerance": "H6"}
    mill["machine_side"] |= {"diameter_mm": 25, "length_mm": 60}
    middle = [{**copy.deepcopy(extension), "id": f"extension-{number}"} for number in range(extensions)]
    request["stack"]["components"] = [holder, collet, *middle, mill, knob]
    names = [part["id"] for part in (collet, *middle, mill)]
    pairs = pairwise(names)
    request["stack"]["joints"] = [{"upper": upper, "lower": lower, "grip_length_mm": 40} for upper, lower in pairs]
    return request


SHEETS: dict[str, Callable[[], dict[str, Any]]] = {
    **{file.stem: lambda file=file: json.loads(file.read_bytes()) for file in DEMO},  # type: ignore[misc]
    **{name: lambda name=name: base_request(name) for name in base_names()},  # type: ignore[misc]
    **{name: lambda name=name: dict(EXAMPLES[name].request) for name in ("catalogue-page", "patchy")},  # type: ignore[misc]
    **{f"{number} extensions": lambda number=number: _long(number) for number in (3, 6, 10, 16)},  # type: ignore[misc]
}


TEXT_SIZES = """() => [...document.querySelectorAll('.one-sheet .drawing text')].map(
  one => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)"""


@pytest.mark.parametrize("name", spread(SHEETS, 12))
def test_a_work_sheet_and_a_report_are_one_page_each(browser: Any, name: str) -> None:
    """One sheet of A4, whatever the stack, with up to nineteen joints; the text of its drawing has 6 pt or more."""
    report, derived = assessor().assess_instructed(parse_request(SHEETS[name]()))
    page = browser.new_page()
    try:
        for text in (sheet_page(report, derived), report_page(report, derived)):
            page.set_content(text)
            assert _pages(page.pdf(prefer_css_page_size=True)) == 1
            page.set_viewport_size({"width": 726, "height": 1000})  # the width of A4 less the margins, 192 mm
            page.emulate_media(media="print")
            assert page.evaluate("document.documentElement.scrollWidth") <= 726
            # 6 pt are 8 px on paper
            sizes = page.evaluate(TEXT_SIZES)
            assert min(sizes, default=8) >= 8 - 0.01
    finally:
        page.close()


@pytest.mark.parametrize("name", SHEETS)
def test_every_page_of_a_stack_fits_a_small_screen(browser: Any, name: str) -> None:
    """At 360 pixels nothing but a table or a drawing scrolls sideways, and these in their own boxes."""
    report, derived = assessor().assess_instructed(parse_request(SHEETS[name]()))
    page = browser.new_page(viewport={"width": 360, "height": 900})
    try:
        for text in (report_page(report, derived), sheet_page(report, derived), instruction_page(report)):
            page.set_content(text)
            assert page.evaluate("document.documentElement.scrollWidth") == 360
    finally:
        page.close()


def test_the_work_sheet_opens_from_the_start_page(open_page: OpenPage) -> None:
    """Nobody is left out, and it is the sheet of the stack in the editor."""
    page = open_page("/")
    page.get_by_label("Start from").first.select_option("KB-T-0043")
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Print work sheet").click()
    sheet = opened.value
    sheet.wait_for_load_state()
    expect(sheet.get_by_role("heading", level=1)).to_contain_text("DO NOT BUILD KB-T-0043")
    assert broken_rules(sheet) == []
    sheet.set_viewport_size({"width": 360, "height": 900})
    assert sheet.evaluate("document.documentElement.scrollWidth") == 360
