"""The start page judges a reading and compares two stacks."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

OpenPage = Callable[..., Page]


def tir_field(page: Page) -> Locator:
    return page.locator("#reading form").get_by_label("Total indicator reading").first


@pytest.fixture
def reading(open_page: OpenPage) -> Page:
    page = open_page("/#reading")
    expect(page.get_by_label("Runout limit, TIR")).to_have_value("10")
    return page


@pytest.mark.parametrize(
    ("tir", "decision"),
    [("8.5", "Conforms"), ("9", "Not proven"), ("11.5", "Not proven"), ("11,6", "Does not conform")],
)
def test_a_range_is_decided(reading: Page, tir: str, decision: str) -> None:
    """Limit 10 µm, U = 1.5 µm: proven below 8.5 and above 11.5 (ISO 14253-1)."""
    tir_field(reading).fill(tir)
    reading.get_by_role("button", name="Judge reading").click()
    expect(reading.locator("#reading .verdict-word")).to_have_text(decision)
    expect(reading.get_by_role("heading", name="Next step")).to_be_visible()
    expect(reading.locator("#reading [role=status]")).to_contain_text(decision)


def test_readings_around_the_turn_tell_the_eccentricity(reading: Page) -> None:
    """A cosine of 4 µm amplitude, high at 0°, has an eccentricity of 4 µm there."""
    form = reading.locator("#reading form")
    form.get_by_label("Method", exact=True).first.select_option("equal_steps")
    for angle, value in (("0°", "4"), ("90°", "0"), ("180°", "−4"), ("270°", "0")):
        form.get_by_label(angle).first.fill(value)
    reading.get_by_role("button", name="Judge reading").click()
    row = reading.locator("#reading tbody tr").first
    expect(row).to_have_text("24" + "8" + "8" + "4" + "0" + "0" + "8" + "not known")
    picture = reading.get_by_role("img", name="4 µm at 0°, 0 µm at 90°, -4 µm at 180°, 0 µm at 270°. High point at 0°.")
    expect(picture).to_be_visible()


def test_the_picture_has_a_scale(reading: Page) -> None:
    """Runouts of 6.7 and 8.9 µm share the scale of 5 µm, and their circles are as far off as they are."""
    form = reading.locator("#reading form")
    form.get_by_label("Method", exact=True).first.select_option("equal_steps")
    shifts = []
    for high in (3.35, 4.45):
        for angle, value in (("0°", high), ("90°", 0), ("180°", -high), ("270°", 0)):
            form.get_by_label(angle).first.fill(str(value))
        reading.get_by_role("button", name="Judge reading").click()
        picture = reading.locator(".dial-picture")
        expect(picture).to_contain_text(f"TIR {2 * high:.1f} µm")
        expect(picture).to_contain_text("+5")
        centre = float(picture.locator(".true").get_attribute("cy") or "")
        shifts.append(centre - float(picture.locator(".read").get_attribute("cy") or ""))
    assert shifts[1] / shifts[0] == pytest.approx(8.9 / 6.7, rel=1e-3)


def test_the_example_with_a_trial_turn_fills_the_form(reading: Page) -> None:
    """Both planes, the turned joint and the stack of the example are judged."""
    reading.get_by_label("Start from").locator("visible=true").select_option("trial")
    reading.get_by_role("button", name="Judge reading").click()
    answer = reading.locator("#reading [data-part=report]")
    expect(answer.get_by_role("heading", name="Trial turn of collet-2/pin")).to_be_visible()
    expect(answer.get_by_role("heading", name="Comparison with the prediction")).to_be_visible()
    expect(answer.get_by_role("heading", name="Axis through both planes")).to_be_visible()


def test_the_checked_stack_gives_the_prediction(reading: Page) -> None:
    """The reading is placed in what the stack under check is predicted to read."""
    reading.get_by_label("Compare with prediction for").select_option("checked")
    reading.get_by_role("button", name="Judge reading").click()
    expect(reading.get_by_role("heading", name="Comparison with the prediction")).to_be_visible()


def test_a_field_that_is_not_a_number_is_named_and_gets_the_focus(reading: Page) -> None:
    """The service refuses it with a pointer, the page leads to the field."""
    tir_field(reading).fill("about nine")
    reading.get_by_role("button", name="Judge reading").click()
    expect(reading.get_by_role("button", name="Measuring plane, Total indicator reading")).to_be_visible()
    expect(tir_field(reading)).to_be_focused()


@pytest.fixture
def comparison(open_page: OpenPage) -> Page:
    page = open_page("/#comparison")
    expect(page.get_by_label("Name").first).to_have_value("extension")
    return page


def test_the_view_starts_with_the_comparison_of_the_demo(comparison: Page) -> None:
    """Request and answer are those of the file that the demo compares, operation and machine included."""
    file = Path(__file__).parents[2] / "demo_data/comparisons/deep-rib.json"
    with comparison.expect_response("**/v1/comparisons") as answered:
        comparison.get_by_role("button", name="Compare", exact=True).click()
    assert json.loads(answered.value.request.post_data or "") == json.loads(file.read_bytes())
    names = [one["name"] for one in answered.value.json()["alternatives"]]
    expect(comparison.locator("#comparison .verdict h3")).to_have_count(len(names))
    row = comparison.get_by_role("row").filter(has_text="Projection")
    expect(row.locator("td").first).to_be_visible()
    expect(comparison.locator("#comparison [data-part=report]")).to_contain_text("of pairs")


def test_two_stacks_are_set_side_by_side(comparison: Page) -> None:
    """Verdicts, criteria and who wins on what, for operation and machine under Check."""
    comparison.get_by_role("button", name="Remove the last stack").click()
    for side, stack in enumerate(("checked", "4")):
        comparison.get_by_label("Start from").locator("visible=true").nth(side).select_option(stack)
    expect(comparison.get_by_label("Operation, machine and policy")).to_have_value("checked")
    comparison.get_by_role("button", name="Compare", exact=True).click()
    expect(comparison.locator("#comparison .verdict h3")).to_have_text(["KB-T-0042: pass", "extended-long: pass"])
    row = comparison.get_by_role("row").filter(has_text="Projection")
    expect(row.locator("td").first).to_contain_text("best")


def test_nothing_is_best_against_what_is_not_known(comparison: Page) -> None:
    """A stack that lacks data; a fourth is added by hand and named where its text is wrong."""
    for side, stack in enumerate(("3", "4", "5")):
        comparison.get_by_label("Start from").locator("visible=true").nth(side).select_option(stack)
    comparison.get_by_role("button", name="Compare", exact=True).click()
    report = comparison.locator("#comparison [data-part=report]")
    expect(report.locator(".outcome")).to_contain_text("Not decided")
    gaps = report.locator("tbody tr").filter(has_text="not known").all()
    assert gaps
    for row in gaps:
        expect(row).not_to_contain_text("best")
    comparison.get_by_role("button", name="Add a stack").click()
    expect(comparison.get_by_label("Start from").locator("visible=true").nth(3)).to_be_focused()
    comparison.get_by_label("Stack, JSON").nth(3).fill("{")
    comparison.get_by_role("button", name="Compare", exact=True).click()
    expect(comparison.get_by_text("Stack D is not JSON")).to_be_visible()


def test_the_checked_stack_is_followed(comparison: Page) -> None:
    """Changed under check, it is the changed one that is compared."""
    comparison.get_by_label("Start from").locator("visible=true").first.select_option("checked")
    comparison.get_by_role("link", name="Check a stack").first.click()
    comparison.get_by_role("group", name="end-mill").get_by_label("Grip length").fill("21")
    comparison.get_by_role("link", name="Compare stacks").click()
    expect(comparison.get_by_label("Stack, JSON").first).to_have_value(re.compile('"grip_length_mm": 21'))


def test_a_broken_stack_is_named_and_shown(comparison: Page) -> None:
    """The fault of one stack is not blamed on the other."""
    second = comparison.get_by_label("Stack, JSON").nth(1)
    second.fill('{"components": [\n  {"id": "a" "kind": "cutter"}]}')
    comparison.get_by_role("button", name="Compare", exact=True).click()
    expect(comparison.get_by_role("button", name="line 2, column 14")).to_be_visible()
    expect(comparison.get_by_text("Stack B is not JSON")).to_be_visible()
    expect(second).to_be_focused()


def test_a_stack_that_breaks_the_contract_leads_to_its_own_text(comparison: Page) -> None:
    """The pointer of an alternative becomes one of its stack."""
    first = comparison.get_by_label("Stack, JSON").first
    first.fill('{"components": [{"id": "a", "kind": "cutter", "teeth": 0}]}')
    comparison.get_by_role("button", name="Compare", exact=True).click()
    comparison.get_by_role("button", name="teeth").click()
    expect(first).to_be_focused()
    assert first.evaluate("area => area.value.slice(area.selectionStart, area.selectionEnd)") == '"teeth": 0'
