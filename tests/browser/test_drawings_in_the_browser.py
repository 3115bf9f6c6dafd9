"""Dimensions are edited in the drawing, and the drawing fills the window with zoom and pan."""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.accessibility import broken_rules
from tests.browser.second_view import SecondView

OpenPage = Callable[..., Page]


def dimension(page: Page, words: str) -> Locator:
    return page.get_by_role("button", name=f"Change {words}")


def request_of(page: Page) -> Any:
    return json.loads(page.locator("#check-json").input_value())


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    page = open_page("/")
    expect(dimension(page, "C grip 55")).to_be_visible()
    return page


def test_a_dimension_is_typed_into_the_drawing(page: Page) -> None:
    """A click opens its field with value and unit, Enter states it, Escape does not, undo takes it back."""
    dimension(page, "C grip 55").click()
    field = page.get_by_role("textbox", name="Joint collet-1 / extension, grip length, mm")
    expect(field).to_be_focused()
    expect(field).to_have_value("55")
    field.fill("50")
    page.keyboard.press("Escape")
    expect(field).to_be_hidden()
    expect(dimension(page, "C grip 55")).to_be_focused()
    assert request_of(page)["stack"]["joints"][0]["grip_length_mm"] == 55
    page.keyboard.press("Enter")
    field.fill("fifty")
    page.keyboard.press("Enter")
    expect(page.locator("#dimension-fault")).to_contain_text("A number of mm is expected")
    expect(field).to_have_attribute("aria-invalid", "true")
    field.fill("50,5")
    page.keyboard.press("Enter")
    assert request_of(page)["stack"]["joints"][0]["grip_length_mm"] == 50.5
    expect(dimension(page, "C grip 50.5")).to_be_focused()
    page.keyboard.press("Control+z")
    expect(dimension(page, "C grip 55")).to_be_visible()
    assert request_of(page)["stack"]["joints"][0]["grip_length_mm"] == 55


def test_what_is_refused_is_marked_in_the_form(page: Page) -> None:
    """A value out of bounds goes the way of every other; the last drawing stays, and its dimensions can be changed."""
    dimension(page, "gauge length 70").click()
    page.keyboard.type("-1")
    page.keyboard.press("Enter")
    field = page.get_by_role("group", name="Spindle holder").get_by_label("Gauge length")
    expect(field).to_have_attribute("aria-invalid", "true")
    dimension(page, "gauge length 70").click()
    page.keyboard.type("71")
    page.keyboard.press("Enter")
    expect(dimension(page, "gauge length 71")).to_be_visible()
    expect(field).to_have_value("71")


def test_form_and_drawing_point_at_each_other(page: Page) -> None:
    """The focus in one marks the same field in the other."""
    field = page.get_by_role("group", name="Spindle holder").get_by_label("Gauge length")
    field.focus()
    pointed = page.locator(".dimension.pointed")
    expect(pointed).to_have_attribute("data-key", "/stack/components/0/gauge_length_mm")
    dimension(page, "C grip 55").focus()
    expect(pointed).to_have_count(0)
    expect(page.locator(".field.pointed")).to_contain_text("Grip length")


def test_what_is_assumed_is_stated_in_the_drawing_and_inches_are_shown(page: Page) -> None:
    """A joint that the request does not have yet gets its value; a length in inches becomes metric."""
    keys = {"holder": "generic:holder:BT40:iso15488-32:70", "collet": "iso15488:32:12", "mill": "din6535:HA12:83"}
    parts = [{"kind": "reference", "id": name, "of": {"from": "standard", "key": key}} for name, key in keys.items()]
    parts[2]["with"] = {"cutting_diameter_mm": 12}  # type: ignore[assignment]
    page.get_by_text("The same as JSON").click()
    built = {"stack": {"components": parts}, "policy": {"unstated": "typical"}}
    SecondView(page).fill(json.dumps(built))
    expect(dimension(page, "C grip (40)")).to_be_visible(timeout=60_000)
    page.get_by_label("Units").select_option("inch")
    dimension(page, "C grip (1.5748)").click()
    page.keyboard.type("1 1/2")
    page.keyboard.press("Enter")
    expect(dimension(page, "C grip 1.5")).to_be_focused()
    assert request_of(page)["stack"]["joints"] == [{"upper": "collet", "lower": "mill", "grip_length_mm": 38.1}]


def _width(page: Page) -> float:
    width: float = page.locator("dialog .sheet").evaluate("sheet => sheet.getBoundingClientRect().width")
    return width


@pytest.mark.parametrize("width", [1280, 360])
def test_the_drawing_fills_the_window(open_page: OpenPage, width: int) -> None:
    """Zoom by buttons, keys, wheel and pinch; pan by keys and by dragging; Escape leaves; the page behind stays."""
    page = open_page("/", width=width)
    expect(dimension(page, "C grip 55")).to_be_visible()
    page.evaluate("scrollTo(0, 0)")
    opener = page.locator('[data-part="drawing"]').get_by_role("button", name="Full screen")
    opener.click()
    dialog = page.get_by_role("dialog", name="Stack KB-T-0042")
    expect(dialog).to_be_visible()
    behind = page.evaluate("scrollY")
    paper = dialog.locator(".paper")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert broken_rules(page, only_colours=scheme == "dark") == []
    page.keyboard.press("0")
    whole = _width(page)
    page.keyboard.press("+")
    dialog.get_by_role("button", name="Zoom in").click()
    assert _width(page) == pytest.approx(whole * 1.25**2, rel=0.01)
    page.keyboard.press("-")
    assert _width(page) == pytest.approx(whole * 1.25, rel=0.01)
    box = paper.bounding_box()
    assert box is not None
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.wheel(0, -600)
    expect(dialog.locator("output")).not_to_have_text("125 %")
    assert _width(page) > 3 * whole
    assert paper.evaluate("paper => [paper.scrollLeft > 0, scrollY]") == [True, behind]
    before = paper.evaluate("paper => paper.scrollLeft")
    page.keyboard.press("ArrowRight")
    assert paper.evaluate("paper => paper.scrollLeft") == pytest.approx(before + 80, abs=1)
    page.mouse.down()
    page.mouse.move(middle[0] + 50, middle[1], steps=5)
    page.mouse.up()
    assert paper.evaluate("paper => paper.scrollLeft") == pytest.approx(before + 30, abs=2)
    wide = _width(page)
    for kind, apart in (("pointerdown", 20), ("pointermove", 10)):
        for finger, side in ((11, -1), (12, 1)):
            where = {"clientX": middle[0] + side * apart, "clientY": middle[1]}
            paper.dispatch_event(kind, {"pointerId": finger, "pointerType": "touch", "bubbles": True, **where})
    for finger in (11, 12):
        paper.dispatch_event("pointerup", {"pointerId": finger, "bubbles": True})
    assert _width(page) == pytest.approx(wide / 2, rel=0.05)
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(opener).to_be_focused()
    assert page.evaluate("scrollY") == behind
    expect(page.locator('[data-part="drawing"] .sheet')).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_a_dimension_is_changed_in_full_screen(page: Page) -> None:
    """Escape in its field leaves the field alone; a drag over it is no click."""
    page.locator('[data-part="drawing"]').get_by_role("button", name="Full screen").click()
    expect(page.get_by_role("dialog")).to_be_visible()
    box = dimension(page, "C grip 55").bounding_box()
    assert box is not None
    page.keyboard.press("+")
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] - 60, box["y"] + 5, steps=5)
    page.mouse.up()
    expect(page.locator(".dimension-form")).to_have_count(0)
    dimension(page, "C grip 55").click()
    page.keyboard.press("Escape")
    expect(page.locator(".dimension-form")).to_have_count(0)
    expect(page.get_by_role("dialog")).to_be_visible()
    page.keyboard.press("Enter")
    page.keyboard.type("52")
    page.keyboard.press("Enter")
    expect(dimension(page, "C grip 52")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(dimension(page, "C grip 52")).to_be_visible()


def test_the_drawing_is_saved_as_png(page: Page) -> None:
    """Twice the size of the SVG, and not blank."""
    figure = page.locator('[data-part="drawing"]')
    width, height = figure.locator("img").evaluate("image => [image.naturalWidth, image.naturalHeight]")
    with page.expect_download() as saved:
        figure.get_by_role("button", name="Save as PNG").click()
    assert saved.value.suggested_filename == "stack.png"
    png = saved.value.path().read_bytes()
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", png[16:24]) == (2 * width, 2 * height)
    pieces, place = [], 8
    while place < len(png):
        (length,) = struct.unpack(">I", png[place : place + 4])
        if png[place + 4 : place + 8] == b"IDAT":
            pieces.append(png[place + 8 : place + 8 + length])
        place += length + 12
    # a blank sheet has one value a channel and the filters' few
    assert len(set(zlib.decompress(b"".join(pieces)))) > 50
