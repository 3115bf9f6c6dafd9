"""A stack is built on the start page without JSON, by mouse and by keyboard, and kept in the address."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

OpenPage = Callable[..., Page]

PATIENCE_MS = 60_000
"""The first check with assumed values starts a process of the service."""
MOST_INPUTS = 12
MOST_REQUESTS = 9
MOST_BYTES = 150_000

STACK = ["generic:holder:BT40:iso15488-32:70", "iso15488:32:12", "din6535:HA12:83"]
"""Collet chuck on a 7/24 taper 40, size 32 collet, 12 mm end mill."""


class Inputs:
    """Counts what a user does: a click, a key, or a text typed into what has the focus."""

    def __init__(self, page: Page) -> None:
        self.page, self.count = page, 0

    def click(self, what: Locator) -> None:
        self.count += 1
        what.click()

    def press(self, key: str) -> None:
        self.count += 1
        self.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.count += 1
        self.page.keyboard.type(text)


def request_of(page: Page) -> Any:
    return json.loads(page.locator("#check-json").input_value())


def keys_of(page: Page) -> list[str]:
    return [part["of"]["key"] for part in request_of(page)["stack"]["components"]]


def card(page: Page, name: str) -> Locator:
    return page.get_by_role("group", name=name)


def verdict(page: Page) -> Locator:
    return page.locator("#check .verdict-word")


def option(page: Page) -> Locator:
    return page.locator(".suggestions [role=option]:visible").first


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    page = open_page("/")
    expect(verdict(page)).to_contain_text("Pass")
    return page


@pytest.fixture
def built(page: Page) -> Page:
    """The stack, built by mouse in so few inputs that the count is a promise."""
    made = Inputs(page)
    made.click(page.get_by_role("button", name="New stack"))
    for sizes, key in zip(("40 32", "12", "12"), STACK, strict=True):
        expect(page.get_by_role("combobox", name="Add a part")).to_be_focused()
        made.type(sizes)
        expect(option(page)).to_contain_text(key)
        made.click(option(page))
    expect(card(page, "Milling cutter mill").get_by_label("Cutting diameter")).to_be_focused()
    made.type("12")
    expect(verdict(page)).to_contain_text("Review", timeout=PATIENCE_MS)
    expect(page.locator("#check .assumed").first).to_contain_text("the verdict is pass")
    assert made.count <= MOST_INPUTS
    return page


def test_a_stack_is_built_by_mouse(built: Page) -> None:
    """From the empty page to the verdict; form and JSON are one request."""
    assert keys_of(built) == STACK
    assert request_of(built)["stack"]["components"][2]["with"] == {"cutting_diameter_mm": 12}
    expect(built.locator("#check .figures.lead")).to_contain_text("95 % of assemblies")


def test_a_stack_is_built_by_keyboard(page: Page) -> None:
    """The same with keys alone, counted from the address bar."""
    made = Inputs(page)
    made.press("Tab")
    made.press("Enter")
    expect(page.get_by_role("heading", name="Check a stack")).to_be_focused()
    for key in ("Tab", "Tab", "Enter"):
        made.press(key)
    for sizes, key in zip(("40 32", "12", "12"), STACK, strict=True):
        made.type(sizes)
        expect(option(page)).to_contain_text(key)
        expect(option(page)).to_have_attribute("aria-selected", "true")
        made.press("Enter")
    made.type("12")
    expect(verdict(page)).to_contain_text("Review", timeout=PATIENCE_MS)
    assert keys_of(page) == STACK
    assert made.count <= MOST_INPUTS


def test_parts_are_moved_removed_and_brought_back(built: Page) -> None:
    """By buttons, by dragging, and by undo."""
    built.get_by_role("button", name="Move collet toward the cutting edge").click()
    assert keys_of(built) == [STACK[0], STACK[2], STACK[1]]
    expect(built.get_by_role("button", name="Move collet toward the spindle")).to_be_focused()
    expect(verdict(built)).to_contain_text("Fail")
    built.set_viewport_size({"width": 1280, "height": 1800})
    held = card(built, "Collet collet").locator(".grip")
    held.hover()
    built.mouse.down()
    box = held.bounding_box()
    assert box is not None
    for step in range(1, 4):  # a drag starts after a few pixels
        built.mouse.move(box["x"] + 4 * step, box["y"])
    for _ in range(2):
        card(built, "Milling cutter mill").hover()
    built.mouse.up()
    assert keys_of(built) == STACK
    expect(verdict(built)).to_contain_text("Review")
    built.get_by_role("button", name="Remove collet").click()
    assert keys_of(built) == [STACK[0], STACK[2]]
    expect(verdict(built)).to_contain_text("Fail")
    built.get_by_role("button", name="Undo").click()
    assert keys_of(built) == STACK
    built.get_by_role("button", name="Redo").click()
    assert keys_of(built) == [STACK[0], STACK[2]]


def test_what_is_assumed_is_stated_by_one_click(built: Page) -> None:
    """An assumed value is shown as such in its field; stated, it is in the request and assumed no more."""
    mill = card(built, "Milling cutter mill")
    expect(mill.get_by_label("Grip length")).to_have_attribute("placeholder", "assumed 40 mm")
    mill.get_by_role("button", name="State 40 mm").click()
    expect(mill.get_by_label("Grip length")).to_have_value("40")
    assert request_of(built)["stack"]["joints"] == [{"upper": "collet", "lower": "mill", "grip_length_mm": 40}]
    card(built, "Spindle holder").get_by_role("button", name="State 3 µm").click()
    card(built, "Collet collet").get_by_text("are assumed").click()
    card(built, "Collet collet").get_by_role("button", name="State Bore depth").click()
    expect(card(built, "Collet collet").get_by_text("1 more value is assumed")).to_be_visible()
    side = request_of(built)["stack"]["components"][1]["with"]["workpiece_side"]
    assert side == {"coupling": "collet_bore", "nominal_mm": 12, "depth_mm": 50}
    expect(verdict(built)).to_contain_text("Review")


def test_the_link_holds_the_stack(built: Page, open_page: OpenPage) -> None:
    """Who opens it sees the same stack; so does a reload. A damaged link says so."""
    asked = request_of(built)
    expect(built).to_have_url(re.compile("#check=.{100}"))
    other = open_page(built.url)
    expect(verdict(other)).to_contain_text("Review")
    assert request_of(other) == asked
    other.reload()
    expect(verdict(other)).to_contain_text("Review")
    assert request_of(other) == asked
    damaged = open_page(built.url[:-30])
    expect(damaged.locator("#check .problem")).to_contain_text("This link cannot be read")


def test_a_part_is_stated_by_hand(page: Page) -> None:
    """Ends by designation, every field of the kind from the schema, lengths in inches where one asks for them."""
    page.get_by_role("button", name="New stack").click()
    page.keyboard.type("HSK-A63")
    page.get_by_role("option", name="Spindle holder HSK-A63 stated by hand").click()
    holder = card(page, "Spindle holder holder")
    seat = holder.get_by_label("Workpiece side")
    seat.fill("shrink 16")
    page.get_by_role("option", name="shrink-fit 16 shrink-fit bore, 16 mm").click()
    page.get_by_label("Units").select_option("inch")
    holder.get_by_label("Gauge length in").fill("4 1/2")
    holder.get_by_text("More about holder").click()
    holder.get_by_label("Mass lb").fill("3")
    expect(page.locator("#check .figures.lead")).to_contain_text("not known")
    assert request_of(page)["stack"]["components"] == [
        {
            "kind": "base_holder",
            "id": "holder",
            "machine_side": {"coupling": "designated", "designation": "HSK-A63"},
            "workpiece_side": {"coupling": "designated", "designation": "shrink-fit 16"},
            "gauge_length_mm": 114.3,
            "mass_kg": 1.36077711,
        }
    ]
    page.get_by_text("More about the operation").click()
    page.get_by_role("group", name="Cut").get_by_label("Kind").select_option("milling")
    page.get_by_role("group", name="Cut").get_by_label("Work material").select_option("42crmo4")
    assert request_of(page)["operations"] == [{"id": "10", "cut": {"kind": "milling", "work_material": "42crmo4"}}]


def test_files_are_dropped_and_saved(page: Page) -> None:
    """A dropped file takes the place of the stack; what is saved is what was dropped."""
    told = {"stack": {"id": "OWN", "components": [{"kind": "cutter", "id": "a"}]}}
    dropped = page.evaluate_handle(
        "text => { const data = new DataTransfer(); data.items.add(new File([text], 'a.json')); return data; }",
        json.dumps(told),
    )
    page.locator("#check").dispatch_event("drop", {"dataTransfer": dropped})
    expect(verdict(page)).to_contain_text("OWN")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save request").click()
    assert saved.value.suggested_filename == "OWN.json"
    assert json.loads(saved.value.path().read_text("utf-8")) == told


def test_the_start_page_is_light(open_page: OpenPage) -> None:
    """Requests and bytes on the wire until verdict and drawing are there."""
    page = open_page("/")
    expect(page.locator('#check [data-part="drawing"] img')).to_have_attribute("alt", re.compile("."))
    sizes = page.evaluate(
        """() => [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
            .filter(entry => entry.name.startsWith("http")).map(entry => entry.transferSize)"""
    )
    assert len(sizes) <= MOST_REQUESTS
    assert 10_000 < sum(sizes) < MOST_BYTES
