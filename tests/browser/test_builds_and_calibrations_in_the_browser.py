"""The start page follows a build and calibrates assumed values."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from service.examples import BUILD_EXAMPLES, CALIBRATION_EXAMPLES
from tests.browser.accessibility import broken_rules

OpenPage = Callable[..., Page]

_BUILD = BUILD_EXAMPLES["two-stages"]
(_CALIBRATION,) = CALIBRATION_EXAMPLES.values()


@pytest.fixture
def build(open_page: OpenPage) -> Page:
    page = open_page("/#build")
    expect(page.get_by_label("Part mounted last")).to_have_count(len(_BUILD.request["stages"]))
    return page


def _follow(page: Page) -> None:
    page.get_by_role("button", name="Follow build").click()


def test_the_example_is_sent_as_it_is(build: Page) -> None:
    """The form gives the example back, data without a field included, and the answer has a section for each stage."""
    with build.expect_request("**/v1/builds") as sent:
        _follow(build)
    body = json.loads(sent.value.post_data or "")
    assert body["stages"] == _BUILD.request["stages"]
    assert body["stack"] == _BUILD.request["stack"]
    assert body["instrument"] == _BUILD.request["instrument"]
    expect(build.locator("#build .verdict-word").first).to_have_text("Turn the joint")
    expect(build.get_by_role("heading", name="Stage 2: extension")).to_be_visible()
    expect(build.get_by_role("heading", name="Finished stack")).to_be_visible()
    expect(build.locator("#build [data-part=status]")).to_contain_text("Turn the joint")


def test_before_the_first_answer_the_page_says_so(build: Page) -> None:
    """Empty, then the report; another example or none takes the report away."""
    state = build.locator("#build [data-part=state]")
    expect(state).to_contain_text("Nothing followed yet")
    _follow(build)
    expect(state).to_be_empty()
    build.get_by_label("Start from").locator("visible=true").select_option("")
    expect(state).to_contain_text("Nothing followed yet")
    expect(build.locator("#build [data-part=report]")).to_be_hidden()
    expect(build.get_by_label("Part mounted last")).to_have_count(1)


def test_a_slow_answer_is_waited_for(build: Page) -> None:
    """Until it comes the page says that it waits; a second press replaces the first request."""
    held: list[Route] = []
    build.route("**/v1/builds", lambda route: held.append(route))
    _follow(build)
    expect(build.locator("#build [data-part=state]")).to_have_text("Waiting for the answer …")
    expect(build.locator("#build .answer")).to_have_attribute("aria-busy", "true")
    build.unroute("**/v1/builds")
    _follow(build)
    expect(build.locator("#build .verdict-word").first).to_have_text("Turn the joint")
    expect(build.locator("#build [data-part=state]")).to_be_empty()


def test_a_wrong_reading_of_a_stage_gets_the_focus(build: Page) -> None:
    """The field is marked with what is expected, named as the form names it, and the page leads to it."""
    reading = build.locator('#build [data-at="/stages/1/planes/0/readings_um/2"]')
    reading.fill("about two")
    _follow(build)
    expect(build.get_by_role("button", name="Stage 2, 90°")).to_be_visible()
    expect(build.locator("#build .problem")).not_to_contain_text("/stages")
    expect(reading).to_be_focused()
    expect(reading).to_have_attribute("aria-invalid", "true")
    expect(reading).to_have_accessible_description(re.compile("^A reading is a number"))
    reading.fill("2")
    _follow(build)
    expect(build.locator("#build .verdict-word").first).to_be_visible()
    expect(reading).not_to_have_attribute("aria-invalid", "true")


def test_inches_are_read(build: Page) -> None:
    """0.0002 in is 5.08 µm: the limit is judged as that."""
    build.get_by_label("Runout limit of the stack, TIR").fill("0.0002 in")
    _follow(build)
    expect(build.locator("#build .verdict").first).to_contain_text("the limit is 5.1 µm")


def test_stages_are_added_and_removed_by_keyboard(build: Page) -> None:
    """A new stage has the focus; the last one cannot be removed."""
    add, remove = (build.get_by_role("button", name=name) for name in ("Add a stage", "Remove the last stage"))
    add.focus()
    build.keyboard.press("Enter")
    expect(build.get_by_label("Part mounted last").nth(2)).to_be_focused()
    for _ in range(2):
        remove.click()
    expect(build.get_by_label("Part mounted last")).to_have_count(1)
    expect(remove).to_be_disabled()


@pytest.fixture
def calibration(open_page: OpenPage) -> Page:
    page = open_page("/#calibration")
    expect(page.get_by_label("Assemblies and readings, JSON")).to_have_value(re.compile("assemblies"))
    return page


def test_readings_become_a_set_to_save(calibration: Page) -> None:
    """The saved file is the set of the answer; what does not fit is named by its place in words."""
    assert json.loads(calibration.get_by_label("Assemblies and readings, JSON").input_value()) == _CALIBRATION.request
    with calibration.expect_response("**/v1/calibrations") as answered:
        calibration.get_by_role("button", name="Calibrate", exact=True).click()
    answer = answered.value.json()
    row = calibration.locator("#calibration tbody tr")
    expect(row).to_have_count(len(answer["classes"]))
    expect(row.first).not_to_contain_text("not known")
    expect(calibration.locator("#calibration")).to_contain_text("Assembly 5, reading 1")
    with calibration.expect_download() as saved:
        calibration.get_by_role("link", name="Save the set").click()
    assert json.loads(saved.value.path().read_text("utf-8")) == answer["assumption_set"]


_BROKEN = '{"name": 1,\n "assemblies" []}'


@pytest.mark.parametrize(("text", "told"), [("", "Nothing to send"), (_BROKEN, "line 2, column 15")])
def test_no_readings_and_broken_ones_are_told(calibration: Page, text: str, told: str) -> None:
    """Nothing is sent without readings; a fault leads to its line."""
    calibration.get_by_label("Assemblies and readings, JSON").fill(text)
    calibration.get_by_role("button", name="Calibrate", exact=True).click()
    expect(calibration.locator("#calibration .problem")).to_contain_text(told)


@pytest.mark.parametrize(("view", "button", "most"), [("build", "Print record", 3), ("calibration", "Print report", 2)])
def test_records_are_printed(open_page: OpenPage, view: str, button: str, most: int) -> None:
    """The page of the answer opens by itself and prints on few sheets."""
    page = open_page(f"/#{view}")
    expect(page.locator(f"#{view} select").first).not_to_have_value("")
    with page.expect_popup() as opened:
        page.get_by_role("button", name=button).locator("visible=true").click()
    opened.value.wait_for_load_state()
    expect(opened.value.get_by_role("heading", level=1)).to_be_visible()
    assert broken_rules(opened.value) == []
    sheets = opened.value.pdf(prefer_css_page_size=True)
    assert 1 <= sheets.count(b"/Type /Page\n") + sheets.count(b"/Type /Page ") <= most
