"""Keyboard use, small screens and accessibility by axe-core."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any, Final, Literal

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from rules.rulebook.loader import base_request
from service.examples import BUILD_EXAMPLES, CALIBRATION_EXAMPLES, READING_EXAMPLES
from tests.browser.accessibility import broken_rules
from tests.browser.second_view import SecondView

OpenPage = Callable[..., Page]

CHECK: Final = base_request("press_in")


def show_check(page: Page) -> None:
    page.get_by_label("Start from").first.select_option("KB-T-0043")
    expect(page.locator("#check .verdict-word")).to_contain_text("Fail")
    for box in page.locator("#check .answer details").all():
        box.locator("summary").first.click()


def show_problem(page: Page) -> None:
    expect(page.locator("#check .verdict-word")).to_be_visible()
    SecondView(page).fill("{")
    expect(page.locator("#check .problem")).to_be_visible()


def build_stack(page: Page) -> None:
    expect(page.locator("#check .verdict-word")).to_be_visible()
    page.get_by_role("button", name="New stack").click()
    page.keyboard.type("40 32")
    expect(page.locator(".suggestions [role=option]:visible").first).to_contain_text("generic:holder:BT40")
    page.keyboard.press("Enter")
    expect(page.locator("#check .verdict-word")).to_contain_text("unnamed stack", timeout=60_000)
    for box in page.locator("#check .builder summary").all():
        box.click()
    expect(page.get_by_label("Density").first).to_be_visible()
    page.get_by_label("Add a part").click()
    expect(page.locator(".suggestions [role=option]:visible").first).to_be_visible()


def complete_names(page: Page) -> None:
    view = SecondView(page)
    view.show("YAML")
    view.fill("stack:\n- kind: cutter\n  ")
    page.keyboard.press("Control+End")
    page.keyboard.type("te")
    expect(page.get_by_role("option", name="teeth")).to_be_visible()


def show_fault(page: Page) -> None:
    expect(page.locator("#check .verdict-word")).to_be_visible()
    page.get_by_label("Spindle speed rpm").fill("fast")
    expect(page.get_by_label("Spindle speed rpm")).to_have_attribute("aria-invalid", "true")


def show_gaps(page: Page) -> None:
    expect(page.locator("#check .verdict-word")).to_be_visible()
    page.get_by_label("Start from").first.select_option("patchy")
    expect(page.locator("#check .finding").first).to_be_visible()


def judge_reading(page: Page) -> None:
    expect(page.get_by_label("Runout limit, TIR")).to_have_value("10")
    page.get_by_label("Start from").locator("visible=true").select_option("trial")
    page.get_by_role("button", name="Judge reading").click()
    expect(page.locator("#reading .verdict")).to_be_visible()


def follow_build(page: Page) -> None:
    expect(page.get_by_label("Part mounted last").first).to_have_value("holder")
    page.get_by_role("button", name="Follow build").click()
    expect(page.locator("#build .verdict").first).to_be_visible()
    page.locator("#build summary").first.click()


def build_problem(page: Page) -> None:
    expect(page.get_by_label("Part mounted last").first).to_have_value("holder")
    page.get_by_label("Part mounted last").first.fill("no such part")
    page.get_by_role("button", name="Follow build").click()
    expect(page.locator("#build .problem")).to_be_visible()


def calibrate(page: Page) -> None:
    expect(page.get_by_label("Assemblies and readings, JSON")).to_have_value(re.compile("assemblies"))
    page.get_by_role("button", name="Calibrate", exact=True).click()
    expect(page.locator("#calibration .verdict")).to_be_visible()


def compare(page: Page) -> None:
    expect(page.get_by_label("Name").first).to_have_value("extension")
    page.get_by_role("button", name="Compare", exact=True).click()
    expect(page.locator("#comparison .verdict").first).to_be_visible()


def ask(name: str) -> Callable[[Page], None]:
    """Press the button of a view that starts from an example."""

    def press(page: Page) -> None:
        page.get_by_role("button", name=name, exact=True).click()
        expect(page.locator("main section:visible .answer .verdict").first).to_be_visible()

    return press


def send_example(page: Page) -> None:
    page.get_by_role("button", name="Send").click()
    expect(page.locator("#answer pre")).to_be_visible()
    page.get_by_label("Find an operation").fill("runout")
    expect(page.locator(".fields-found li").first).to_be_visible()


def send_first_step(page: Page) -> None:
    # the first to ask for the contract waits until it is made
    expect(page.locator("#operations li").first).to_be_visible(timeout=60_000)
    page.locator(".steps").get_by_role("button", name="Send").first.click()
    expect(page.locator(".step-answer pre").first).to_be_visible()
    page.get_by_text("As curl, Python or JavaScript").first.click()


def explain_rule(page: Page) -> None:
    page.get_by_label("Start from").select_option("KB-T-0043")
    page.get_by_label("Rule", exact=True).select_option("GRIP-010")
    expect(page.locator("#explanation .verdict-word").first).to_be_visible()


def explain_nothing(page: Page) -> None:
    expect(page.locator("#explanation h3")).to_be_visible()
    page.get_by_label("Request, JSON").fill("{")
    page.get_by_role("button", name="Explain").click()
    expect(page.locator("#problem")).to_be_visible()


def do_nothing(page: Page) -> None:
    """The page as it comes."""


STATES = [
    pytest.param("/", do_nothing, id="start"),
    pytest.param("/", show_check, id="check"),
    pytest.param("/", show_gaps, id="gaps"),
    pytest.param("/", show_problem, id="problem"),
    pytest.param("/", build_stack, id="builder"),
    pytest.param("/", show_fault, id="fault"),
    pytest.param("/", complete_names, id="completion"),
    pytest.param("/#reading", judge_reading, id="reading"),
    pytest.param("/#build", follow_build, id="build"),
    pytest.param("/#build", build_problem, id="build problem"),
    pytest.param("/#calibration", calibrate, id="calibration"),
    pytest.param("/#comparison", compare, id="comparison"),
    pytest.param("/#search", ask("Search"), id="search"),
    pytest.param("/#budget", ask("Compute"), id="budget"),
    pytest.param("/#gate", ask("Decide"), id="gate"),
    pytest.param("/#audit", ask("Audit"), id="audit"),
    pytest.param("/docs", send_first_step, id="docs"),
    pytest.param("/rules/try", explain_rule, id="rule"),
    pytest.param("/rules/try", explain_nothing, id="rule problem"),
    pytest.param("/docs#check_stack", send_example, id="operation"),
]


SCHEMES: Final[tuple[Literal["light", "dark"], ...]] = ("light", "dark")
WIDTHS: Final = (1920, 640, 360)
"""In CSS pixels; 640 is a window of 1280 at 200 % zoom."""


@pytest.mark.parametrize(("path", "act"), STATES)
def test_nobody_is_left_out(open_page: OpenPage, path: str, act: Callable[[Page], None]) -> None:
    """No rule of axe-core is broken in either scheme, and all fits from 360 to 1920 pixels and at 200 % zoom.

    What is wider scrolls in its own box.
    """
    page = open_page(path)
    act(page)
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        assert broken_rules(page, only_colours=scheme == "dark") == []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") == width


def test_the_verdict_is_seen_while_one_types_on_a_small_screen(open_page: OpenPage) -> None:
    """The strip at the foot tells it, and leads to the report."""
    page = open_page("/", width=360)
    strip = page.locator(".strip")
    expect(strip).to_contain_text("Pass: 10.3 µm, 15000 rpm")
    page.get_by_label("Spindle speed rpm").fill("15500")
    expect(strip).to_contain_text("Fail")
    expect(strip).to_be_in_viewport()
    strip.click()
    expect(page.locator("#check .verdict-word")).to_be_in_viewport()


def test_the_keyboard_alone_is_enough(open_page: OpenPage) -> None:
    """From the address bar to a changed verdict, another view and back, with keys only and a visible focus."""
    page = open_page("/")
    expect(page.locator("#check .verdict-word")).to_contain_text("Pass")
    press = page.keyboard.press

    def tab_to(wanted: Locator) -> None:
        while not wanted.evaluate("one => one === document.activeElement"):
            press("Tab")

    press("Tab")
    expect(page.get_by_role("link", name="Skip to the check")).to_be_focused()
    press("Enter")
    expect(page.get_by_role("heading", name="Check a stack")).to_be_focused()
    press("Tab")
    expect(page.get_by_label("Start from").first).to_be_focused()
    speed = page.get_by_label("Spindle speed rpm")
    tab_to(speed)
    assert speed.evaluate("field => getComputedStyle(field).outlineStyle") == "solid"
    press("Control+A")
    page.keyboard.type("15500")
    expect(page.locator("#check .verdict-word")).to_contain_text("Fail")
    tab_to(page.get_by_text("The same as JSON"))
    press("Enter")
    expect(page.locator("#check .text-editor")).to_be_visible()
    # past the choice of the notation
    press("Tab")
    press("Tab")
    editor = page.get_by_label("Request, JSON")
    expect(editor).to_be_focused()
    press("Control+A")
    page.keyboard.type('{"stack": }')
    press("Control+Enter")
    expect(page.locator("#check .problem")).to_contain_text("line 1, column 11")
    expect(editor).to_be_focused()
    page.get_by_role("link", name="Judge a reading").focus()
    press("Enter")
    expect(page.get_by_role("heading", name="Judge a reading")).to_be_focused()
    press("Shift+Tab")
    press("Tab")
    expect(page.locator("#reading")).to_be_visible()
    expect(page.locator("#check")).to_be_hidden()


def test_the_outcome_is_announced(open_page: OpenPage) -> None:
    """A live region that was there before tells each new verdict in words."""
    page = open_page("/")
    status = page.locator('#check [data-part="status"]')
    expect(status).to_contain_text("Pass: 10.3 µm, 15000 rpm. 0 errors")
    page.get_by_label("Spindle speed rpm").fill("15500")
    expect(status).to_contain_text("1 error,")


DOCUMENTS = {
    "report": ("v1/checks?page=details", CHECK),
    "instruction": ("v1/checks?page=instruction", CHECK),
    "sheet": ("v1/checks?page=sheet", CHECK),
    "report in inches": ("v1/checks?unit=inch", CHECK),
    "reading": ("v1/readings", READING_EXAMPLES["trial"].request),
    "build": ("v1/builds", BUILD_EXAMPLES["two-stages"].request),
    "calibration": ("v1/calibrations", next(iter(CALIBRATION_EXAMPLES.values())).request),
    "problem": ("v1/checks", {"stack": {"components": [{"kind": "cutter"}]}}),
    "problem type": ("problems/invalid-request", None),
}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_nobody_is_left_out_of_a_document(open_page: OpenPage, address: str, name: str) -> None:
    """Without script: axe-core in both schemes, all widths; it asks for nothing else, so it works offline."""
    path, body = DOCUMENTS[name]
    page = open_page("about:blank")
    options: dict[str, Any] = {"headers": {"Accept": "text/html"}}
    answered = page.request.fetch(f"{address}/{path}", method="POST", data=body, **options) if body else None
    text = (answered or page.request.get(f"{address}/{path}", **options)).text()
    page.context.set_offline(True)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(text)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    for width in (*WIDTHS, 970, 900, 560):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") == width
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        assert broken_rules(page, only_colours=scheme == "dark") == []
    assert asked == []


_LIGHTNESS: Final = """() => {
    const of = (colour) => colour.match(/[0-9.]+/g).slice(0, 3).reduce((sum, one) => sum + Number(one), 0) / 765;
    const style = getComputedStyle(document.body);
    return [of(style.backgroundColor), of(style.color)];
}"""


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_follows_the_reader_and_prints_on_white(open_page: OpenPage, address: str, name: str) -> None:
    """Light on dark where the reader wants that, dark on white on paper; drawings keep their white ground."""
    path, body = DOCUMENTS[name]
    page = open_page("about:blank")
    options: dict[str, Any] = {"headers": {"Accept": "text/html"}}
    answered = page.request.fetch(f"{address}/{path}", method="POST", data=body, **options) if body else None
    page.set_content((answered or page.request.get(f"{address}/{path}", **options)).text())
    for scheme in SCHEMES:
        for media, dark in (("screen", scheme == "dark"), ("print", False)):
            page.emulate_media(color_scheme=scheme, media=media)  # type: ignore[arg-type]
            ground, ink = page.evaluate(_LIGHTNESS)
            assert (ground < 0.2 < 0.8 < ink) if dark else (ground == 1.0 and ink < 0.2)
            for frame in page.locator(".drawing svg > rect:first-of-type").all():
                assert frame.get_attribute("fill") == "#ffffff"


@pytest.mark.parametrize(
    ("path", "loaded"), [("/", "#check .verdict-word"), ("/docs", "#operations li"), ("/rules/try", "#explanation h3")]
)
def test_a_page_asks_nobody_after_it_is_loaded(open_page: OpenPage, path: str, loaded: str) -> None:
    """Without a network it stays as it is, and no script fails."""
    page = open_page(path)
    expect(page.locator(loaded).first).to_be_visible(timeout=60_000)
    page.wait_for_load_state("networkidle")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.context.set_offline(True)
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": 640, "height": 900})
    page.mouse.wheel(0, 2000)
    expect(page.locator(loaded).first).to_be_visible()
    assert [one for one in asked if not one.startswith("blob:")] == []


_EXAMPLES = "**/static/examples.json"


_REACHABLE = """view => {
  const fields = [...document.querySelectorAll(`#${view} :is(input, select, button)`)];
  return fields.filter((one) => { one.focus(); return document.activeElement === one; }).length;
}"""


def _hold_examples(page: Page) -> list[Route]:
    held: list[Route] = []
    page.route(_EXAMPLES, lambda route: held.append(route))
    return held


def _release(page: Page, held: list[Route]) -> None:
    for route in held:
        route.continue_()
    page.unroute(_EXAMPLES)


@pytest.mark.parametrize("view", ["reading", "build", "comparison"])
def test_a_form_takes_nothing_before_its_example_is_there(open_page: OpenPage, view: str) -> None:
    """What is entered would be replaced by the example; then every field can be reached."""
    page = open_page("/")
    expect(page.locator("#check .verdict-word")).to_be_visible()
    held = _hold_examples(page)
    with page.expect_request(_EXAMPLES):
        page.evaluate("view => { location.hash = view; }", view)
    expect(page.get_by_role("heading", level=2).locator("visible=true")).to_be_focused()
    assert page.evaluate(_REACHABLE, view) == 0
    _release(page, held)
    expect(page.locator(f"#{view} select").first).not_to_have_value("")
    page.wait_for_function(f"view => ({_REACHABLE})(view) > 3", arg=view)


def test_a_file_opened_before_the_examples_are_there_stays(open_page: OpenPage) -> None:
    """The first example would replace it."""
    page = open_page("about:blank")
    held = _hold_examples(page)
    with page.expect_request(_EXAMPLES):
        page.goto("/")
    stack = {**CHECK["stack"], "id": "OPENED"}
    told = json.dumps({**CHECK, "stack": stack}).encode()
    page.get_by_label("Open or drop a file").set_input_files(
        {"name": "own.json", "mimeType": "application/json", "buffer": told}
    )
    expect(page.locator("#check .verdict-word")).to_contain_text("OPENED")
    _release(page, held)
    expect(page.locator("#check select").first.locator("option")).not_to_have_count(0)
    expect(page.get_by_label("Start from").first).to_have_value("")
    expect(page.locator("#check .verdict-word")).to_contain_text("OPENED")


def test_what_needs_the_service_says_so_offline(open_page: OpenPage) -> None:
    """The last answer stays in grey; a view that was not loaded yet comes once there is a network again."""
    page = open_page("/", wait_until="networkidle")
    expect(page.locator("#check .verdict-word")).to_contain_text("Pass")
    page.context.set_offline(True)
    page.get_by_label("Spindle speed rpm").fill("9000")
    expect(page.locator("#check .problem")).to_contain_text("No response from the service")
    expect(page.locator('#check [data-part="stale"]')).to_be_visible()
    page.get_by_role("link", name="Work order").click()
    expect(page.locator("#start-problem")).to_contain_text("No response from the service")
    page.context.set_offline(False)
    page.get_by_role("link", name="Check a stack").first.click()
    page.get_by_role("link", name="Work order").click()
    expect(page.locator("#gate [data-part=state]")).to_contain_text("yet")
