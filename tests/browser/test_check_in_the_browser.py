"""The start page checks a stack while it is edited."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from tests.browser.second_view import SecondView
from tests.support.operations import drop

OpenPage = Callable[..., Page]


def verdict(page: Page) -> Locator:
    return page.locator("#check .verdict-word")


def editor(page: Page) -> SecondView:
    """The request as text, which is shown on demand."""
    return SecondView(page)


def charts(page: Page) -> Locator:
    page.locator("#check summary", has_text="Charts").click()
    return page.locator('#check [data-part="chart"]')


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    page = open_page("/")
    expect(verdict(page)).to_contain_text("Pass")
    return page


def test_the_page_shows_a_check_and_a_drawing_at_once(page: Page) -> None:
    """Verdict, figures and the drawing of the first example are there without a click."""
    expect(page.get_by_role("heading", level=1)).to_have_text("stackgauge")
    expect(page.locator("#check .figures.lead")).to_contain_text("95 % of assemblies")
    drawing = page.locator('#check [data-part="drawing"] img')
    expect(drawing).to_have_attribute("alt", re.compile("KB-T-0042"))
    assert drawing.evaluate("image => image.decode().then(() => image.naturalWidth)") > 100


def test_the_page_asks_nothing_but_what_it_needs(open_page: OpenPage) -> None:
    """Loading the page leaves no message in the console, not even of a refused request."""
    page = open_page("about:blank")
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto("/")
    expect(page.locator('#check [data-part="drawing"] img')).to_be_visible()
    assert said == []


@pytest.mark.parametrize(
    ("label", "value", "code"),
    [
        ("Spindle speed rpm", "15500", "SPD-010"),
        ("Runout limit µm", "5", "RUN-010"),
        ("Grip length mm", "14", "GRIP-010"),
        ("Grip length mm", "1/2 in", "GRIP-010"),
    ],
)
def test_a_changed_value_changes_the_verdict(page: Page, label: str, value: str, code: str) -> None:
    """The form writes into the JSON, and the answer follows without a button; so it goes back."""
    field = page.get_by_label(label).last
    before = field.input_value()
    field.fill(value)
    expect(verdict(page)).to_contain_text("Fail")
    expect(page.locator("#check .finding.error")).to_contain_text(code)
    assert value.replace('"', "") in editor(page).text()
    field.fill(before)
    expect(verdict(page)).to_contain_text("Pass")


def test_an_emptied_field_is_not_stated(page: Page) -> None:
    """The member leaves the JSON, the rest stays as it was written."""
    text = editor(page).text()
    page.get_by_label("Balance grade").select_option("")
    expect(page.locator("#check .figures").last).to_contain_text("no grade required")
    told = json.loads(text)
    drop(told["operations"][0], "balance_grade")
    assert json.loads(editor(page).text()) == told
    assert editor(page).text().count("\n") == text.count("\n") - 1


def test_a_field_that_was_not_stated_is_added(page: Page) -> None:
    """An object is made where the request had none."""
    editor(page).fill('{"stack": {"components": [{"id": "a", "kind": "cutter"}]}}')
    expect(page.get_by_label("Runout limit µm")).to_have_value("")
    page.get_by_label("Runout limit µm").fill("7,5")
    expect(page.locator("#check .figures.lead")).to_contain_text("limit 7.5 µm")
    assert json.loads(editor(page).text())["operations"] == [{"id": "10", "limits": {"runout": {"tir_um": 7.5}}}]


def test_bad_json_points_to_its_line_and_column(page: Page) -> None:
    """While one types the place is named; asked by the button, the cursor goes there."""
    editor(page).fill('{\n  "stack": "µm😀", }')
    problem = page.locator('#check [data-part="problem"]')
    expect(problem).to_contain_text("line 2, column 19")
    expect(problem).to_contain_text("Remove the comma before }.")
    expect(editor(page).box()).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#check .stale .verdict-word")).to_contain_text("Pass")
    page.get_by_role("button", name="Check", exact=True).click()
    expect(editor(page).box()).to_be_focused()
    expect(page.locator('#check [data-part="cursor"]')).to_have_text("Line 2, column 19")
    assert editor(page).rest() == "}"


def test_a_broken_contract_leads_to_its_fields_and_into_the_text(page: Page) -> None:
    """A fault is named in the form's words; its button goes to its field, else to its place in the text."""
    editor(page).fill(
        '{"stack": {"components": [{"id": "a", "kind": "cutter", "teeth": -1}]},\n'
        '"operations": [{"id": "10", "spindel": 9}]}'
    )
    problem = page.locator('#check [data-part="problem"]')
    problem.get_by_role("button", name="Operation, spindel").click()
    assert editor(page).chosen() == '"spindel": 9'
    expect(problem).not_to_contain_text("/operations")
    problem.get_by_role("button", name="a, teeth").click()
    teeth = page.get_by_role("group", name="Milling cutter a").get_by_label("Teeth")
    expect(teeth).to_be_focused()
    expect(teeth).to_have_accessible_description("Must be 1 or more.")


def test_equal_keys_lead_to_their_object(page: Page) -> None:
    """What only the strict reader refuses is shown, too."""
    editor(page).fill('{"stack": {"id": "a", "id": "b"}}')
    page.locator("#check .problem").get_by_role("button", name="Stack").click()
    assert editor(page).chosen() == '"stack": {'


def test_findings_lead_to_their_place_and_tell_why(page: Page) -> None:
    """A finding names remedy and place; its rule explains itself when it is opened."""
    page.get_by_label("Start from").first.select_option("KB-T-0043")
    finding = page.locator("#check .finding", has_text="GRIP-010")
    expect(finding).to_contain_text("Remedy")
    finding.get_by_role("button", name="Joint collet-2 / end-mill").click()
    expect(page.get_by_role("group", name="end-mill").get_by_label("Grip length")).to_be_focused()
    finding.get_by_text("About rule GRIP-010").click()
    expect(finding).to_contain_text("Source:")


def test_the_answer_comes_first(page: Page) -> None:
    """One box above all: verdict, the reason that matters most with its remedy, runout and its range, speed."""
    page.get_by_label("Start from").first.select_option("KB-T-0043")
    lead = page.locator("#check .verdict")
    expect(lead).to_contain_text("Fail KB-T-0043")
    expect(lead).to_contain_text("Grip length below the stated minimum")
    expect(lead).to_contain_text("Remedy: Insert the shank at least 18 mm")
    expect(lead).to_contain_text("10.3 µm")
    expect(lead).to_contain_text("half within 5.2 µm")
    expect(lead).to_contain_text("15000 rpm")
    page.set_viewport_size({"width": 360, "height": 740})
    page.evaluate("scrollTo(0, 0)")
    expect(lead.get_by_text("Remedy:")).to_be_in_viewport()
    tops = [page.locator(f"#check [data-part={part}]").bounding_box() for part in ("verdict", "findings", "drawing")]
    assert [box["y"] for box in tops if box] == sorted(box["y"] for box in tops if box)


def test_what_is_undecided_names_the_fields_that_would_decide(page: Page) -> None:
    """Nothing passes silently."""
    page.get_by_label("Start from").first.select_option("patchy")
    expect(verdict(page)).to_contain_text("Review")
    gap = page.locator("#check .finding.undecided", has_text="RUN-010")
    expect(gap.get_by_role("button", name="collet, runout")).to_be_visible()


def test_what_was_edited_can_be_come_back_to(page: Page) -> None:
    """Looking at an example does not cost the text that was written."""
    begin = page.get_by_label("Start from").first
    page.get_by_label("Spindle speed rpm").fill("15500")
    expect(begin).to_have_value("")
    begin.select_option("patchy")
    expect(verdict(page)).to_contain_text("Review")
    begin.select_option("")
    expect(verdict(page)).to_contain_text("Fail")
    expect(page.get_by_label("Spindle speed rpm")).to_have_value("15500")


def test_a_file_is_checked(page: Page) -> None:
    """JSON from the disk takes the place of the example."""
    told = {"name": "own.json", "mimeType": "application/json", "buffer": b'{"stack": {"id": "OWN", "components": []}}'}
    page.get_by_label("Open or drop a file").set_input_files(told)  # type: ignore[arg-type]
    expect(page.locator('#check [data-part="empty"]')).to_be_visible()
    assert "OWN" in editor(page).text()


@pytest.mark.parametrize("picture", ["Runout budget", "Runout distribution", "Runout along the axis", "Speed limits"])
def test_the_pictures_of_the_figures_can_be_chosen(page: Page, picture: str) -> None:
    """Each has words of its own beside it, and can be saved."""
    chart = charts(page)
    page.get_by_role("radio", name=picture).check()
    expect(chart.locator("img")).to_have_attribute("alt", re.compile("."))
    with page.expect_download() as saved:
        chart.get_by_role("link", name="Save").click()
    assert saved.value.suggested_filename.endswith(".svg")


def test_a_token_is_asked_for_and_sent(open_page: OpenPage) -> None:
    """401 brings the field; the token goes with what is asked then, and is kept nowhere."""
    page = open_page("about:blank")
    sent: list[str | None] = []

    def guard(route: Route) -> None:
        sent.append(route.request.headers.get("authorization"))
        if sent[-1] == "Bearer lathe":
            route.continue_()
        else:
            told = {"title": "Who asks?", "status": 401, "detail": "A token is needed."}
            route.fulfill(status=401, body=json.dumps(told), content_type="application/problem+json")

    page.route("**/v1/**", guard)
    page.goto("/")
    field = page.get_by_label("Access token required")
    expect(field).to_be_focused()
    page.get_by_label("Spindle speed rpm").fill("9001")
    field.fill("lathe")
    field.press("Enter")
    expect(verdict(page)).to_contain_text("Pass")
    assert '"spindle_speed_rpm": 9001' in editor(page).text()
    assert sent[0] is None
    assert sent[-1] == "Bearer lathe"
    assert page.evaluate("JSON.stringify([localStorage, sessionStorage, document.cookie])") == '[{},{},""]'
    expect(field).to_be_hidden()
