"""YAML opened, dropped, pasted and written on the pages, and the second view in either notation."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Locator, Page, expect

from rules.schema.short_form import full_form, read_yaml
from tests.browser.second_view import SecondView

OpenPage = Callable[..., Page]

SHORT: Final = """\
# which collet?
stack:
  - generic:holder:HSK-A63:iso15488-32:100
  - iso15488:32:12
  - part: "din6535:HA12:83"
    cutting_diameter_mm: 12
    teeth: 4
    projection_mm: 40
machine: {spindle: HSK-A63, max_speed_rpm: 12000}
operation: {spindle_speed_rpm: 6000, runout_limit_um: 0.0008 in}
policy: {unstated: typical}
"""
FULL: Final = full_form(read_yaml(SHORT.encode()))


def verdict(page: Page) -> Locator:
    return page.locator("#check .verdict-word")


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    page = open_page("/")
    expect(verdict(page)).to_contain_text("KB-T-0042")
    return page


def paste(page: Page, box: Locator, text: str) -> None:
    """Over all that is there, as a person does."""
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.evaluate("text => navigator.clipboard.writeText(text)", text)
    box.press("Control+a")
    box.press("Control+v")


def file(text: str, name: str = "collet.yaml") -> dict[str, object]:
    return {"name": name, "mimeType": "", "buffer": text.encode()}


@pytest.mark.parametrize("name", ["collet.yaml", "collet.yml", "collet.txt"])
def test_a_file_in_yaml_is_opened(page: Page, name: str) -> None:
    """By its name or its look: parts, fields and the answer follow, and the text stays as it was written."""
    page.get_by_label("Open or drop a file").first.set_input_files(file(SHORT, name))  # type: ignore[arg-type]
    expect(page.locator("#check .part")).to_have_count(4)
    expect(page.get_by_label("Runout limit µm")).to_have_value("20.32")
    expect(verdict(page)).to_contain_text("unnamed stack")
    view = SecondView(page)
    assert view.text() == SHORT
    view.show("JSON")
    assert json.loads(view.text()) == FULL


def test_pasted_yaml_becomes_the_request(page: Page) -> None:
    """A field changed afterwards is in the YAML, too."""
    view = SecondView(page)
    paste(page, view.box(), SHORT)
    expect(page.locator("#check .part")).to_have_count(4)
    expect(page.get_by_role("radio", name="YAML")).to_be_checked()
    page.get_by_label("Projection mm").fill("55")
    view.wait_for("projection_mm: 55")
    assert read_yaml(view.text().encode())["stack"]["joints"][0]["projection_mm"] == 55


def test_the_notation_is_switched_and_nothing_else(page: Page) -> None:
    """JSON, YAML and back: the same request."""
    view = SecondView(page)
    before = json.loads(view.text())
    view.show("YAML")
    assert read_yaml(view.text().encode()) == before
    view.fill(view.text().replace("spindle_speed_rpm: 9000", "spindle_speed_rpm: 9600"))
    view.show("JSON")
    before["operations"][0]["spindle_speed_rpm"] = 9600
    assert json.loads(view.text()) == full_form(before)
    page.get_by_role("button", name="Undo").click()
    view.wait_for('"spindle_speed_rpm": 9000')


def test_yaml_typed_by_hand_is_checked(page: Page) -> None:
    """The fields follow, and the drawing."""
    view = SecondView(page)
    view.show("YAML")
    view.fill(SHORT.replace("rpm: 6000", "rpm: 6100"))
    expect(page.get_by_label("Spindle speed rpm")).to_have_value("6100")
    expect(verdict(page)).to_contain_text("unnamed stack")


def test_a_fault_of_a_value_is_marked_at_its_field_and_in_its_line(page: Page) -> None:
    """The service places it in both."""
    view = SecondView(page)
    view.show("YAML")
    view.fill(SHORT.replace("spindle_speed_rpm: 6000", "spindle_speed_rpm: 6 kg"))
    field = page.get_by_label("Spindle speed rpm")
    expect(field).to_have_attribute("aria-invalid", "true")
    problem = page.locator('#check [data-part="problem"]')
    expect(problem).to_contain_text("spindle speed")
    expect(page.locator('#check [data-part="json-fault"]')).to_contain_text("Line 10")
    problem.get_by_role("button").first.click()
    expect(field).to_be_focused()


def test_a_text_that_is_no_yaml_names_its_line(page: Page) -> None:
    """What was last valid stays in grey; mended, it is gone."""
    view = SecondView(page)
    view.show("YAML")
    view.fill(SHORT.replace("machine: {", "machine: {{"))
    problem = page.locator('#check [data-part="problem"]')
    expect(problem).to_contain_text("line 10")
    expect(page.locator("#check .stale .verdict-word")).to_contain_text("KB-T-0042")
    page.get_by_role("button", name="Check", exact=True).click()
    expect(view.box()).to_be_focused()
    view.fill(SHORT)
    expect(problem).to_be_hidden()
    expect(verdict(page)).to_contain_text("unnamed stack")


def test_a_broken_file_shows_no_other_stack(page: Page) -> None:
    """Neither parts nor fields of the one before it; its text is open to be mended."""
    page.get_by_label("Open or drop a file").first.set_input_files(file("stack: [\n"))  # type: ignore[arg-type]
    expect(page.locator('#check [data-part="problem"]')).to_contain_text("line 2")
    expect(page.locator("#check .part")).to_have_count(1)
    assert SecondView(page).text() == "stack: [\n"


def test_the_request_is_saved_as_it_is_shown(page: Page, tmp_path: Path) -> None:
    """A file in YAML can be opened again."""
    SecondView(page).show("YAML")
    with page.expect_download() as caught:
        page.get_by_role("button", name="Save request").click()
    assert caught.value.suggested_filename == "KB-T-0042.yaml"
    caught.value.save_as(tmp_path / "saved.yaml")
    assert read_yaml((tmp_path / "saved.yaml").read_bytes())["stack"]["id"] == "KB-T-0042"


STRICT: Final = SHORT.replace("policy: {unstated: typical}\n", "")
BUDGET: Final = STRICT.replace("operation: {spindle_speed_rpm: 6000, runout_limit_um: 0.0008 in}\n", "")


@pytest.mark.parametrize("way", ["file", "paste"])
def test_the_other_views_take_yaml(open_page: OpenPage, way: str) -> None:
    """As the JSON that it stands for."""
    page = open_page("/#budget")
    box = page.locator("#budget textarea")
    expect(box).not_to_have_value("")
    if way == "file":
        page.locator("#budget input[type=file]").set_input_files(file(BUDGET))  # type: ignore[arg-type]
    else:
        paste(page, box, BUDGET)
    expect(box).to_have_value(re.compile(r"^\{.*HSK-A63:iso15488-32:100", re.DOTALL))
    assert json.loads(box.input_value()) == full_form(read_yaml(BUDGET.encode()))


def test_a_broken_file_of_another_view_names_its_line(open_page: OpenPage) -> None:
    """In words, as for JSON."""
    page = open_page("/#gate")
    expect(page.locator("#gate textarea")).not_to_have_value("")
    page.locator("#gate input[type=file]").set_input_files(file("order: [\n"))  # type: ignore[arg-type]
    expect(page.locator("#gate .problem")).to_contain_text("line 2")


def test_a_rule_is_tried_on_yaml(open_page: OpenPage) -> None:
    """Opened from a file."""
    page = open_page("/rules/try#GRIP-010")
    expect(page.locator("#explanation h3")).to_contain_text("GRIP-010")
    page.get_by_label("Open or drop a file").set_input_files(file(STRICT))  # type: ignore[arg-type]
    expect(page.locator("#explanation")).to_contain_text("collet/tool")
    assert json.loads(page.get_by_label("Request, JSON").input_value()) == full_form(read_yaml(STRICT.encode()))


def test_a_pasted_body_of_an_operation_becomes_json(open_page: OpenPage) -> None:
    """Where JSON is the content type that was chosen."""
    page = open_page("/docs#gate_order")
    box = page.get_by_label("Body")
    expect(box).not_to_have_value("", timeout=60_000)
    paste(page, box, "order: {id: A}\n")
    expect(box).to_have_value('{\n  "order": {\n    "id": "A"\n  }\n}')


def option(page: Page, name: str) -> Locator:
    return page.locator("#check .text-editor").get_by_role("option", name=name).first


@pytest.mark.parametrize(
    ("notation", "text", "typed", "name", "left"),
    [
        ("YAML", "stack:\n- kind: cutter\n  ", "te", "teeth", "stack:\n- kind: cutter\n  teeth: "),
        ("YAML", "policy:\n  unstated: ", "ty", "typical", "policy:\n  unstated: typical"),
        ("YAML", "stack:\n  components:\n  - kind: ", "cu", "cutter", "stack:\n  components:\n  - kind: cutter"),
        ("YAML", "operation: {coolant: ", "th", "through", "operation: {coolant: through"),
        ("JSON", '{"stack": {"components": [{"kind": "cutter", ', '"te', "teeth", None),
        ("JSON", '{"policy": {"unstated": ', '"ca', "cautious", '{"policy": {"unstated": "cautious"'),
    ],
)
def test_names_and_values_are_completed(
    page: Page, notation: str, text: str, typed: str, name: str, left: str | None
) -> None:
    """From the JSON Schema, by what the object states of its kind; with the keyboard alone."""
    view = SecondView(page)
    view.show(notation)
    view.fill(text)
    page.keyboard.press("Control+End")
    page.keyboard.type(typed)
    expect(option(page, name)).to_have_attribute("aria-selected", "true")
    expect(view.box()).to_have_attribute("aria-activedescendant", re.compile("."))
    # the editor takes no key for a choice before the list has been there for a moment
    page.wait_for_timeout(100)
    page.keyboard.press("Enter")
    expect(page.get_by_role("listbox")).to_have_count(0)
    assert view.text() == (left or f'{text}"{name}": ')


def test_only_what_may_stand_there_is_offered(page: Page) -> None:
    """Neither a name of another kind nor one that is stated."""
    view = SecondView(page)
    view.show("YAML")
    view.fill("stack:\n- kind: collet\n  id: a\n  ")
    page.keyboard.press("Control+End")
    page.keyboard.press("Control+Space")
    expect(option(page, "machine_side")).to_be_attached()
    names = set(page.locator("#check .cm-completionLabel").all_inner_texts())
    assert not names & {"teeth", "cutting_diameter_mm", "kind", "id", "operations"}


def test_a_name_is_described(page: Page) -> None:
    """Below the text for the cursor, at the pointer in a box."""
    view = SecondView(page)
    view.show("YAML")
    view.fill("stack:\n- kind: cutter\n  teeth: 4\n")
    page.keyboard.press("Control+End")
    page.keyboard.press("ArrowUp")
    expect(page.locator('#check [data-part="about"]')).to_contain_text("teeth")
    expect(verdict(page)).to_contain_text("unnamed stack")
    name = page.locator("#check .cm-line", has_text="teeth").locator("span").first
    box = page.locator("#check .cm-tooltip-hover")
    for step in range(20):
        name.hover(position={"x": 8 + step % 2 * 8, "y": 8})
        page.wait_for_timeout(500)
        if box.count():
            break
    expect(box).to_contain_text("teeth")


def test_escape_and_tab_leave_the_text(page: Page) -> None:
    """With the list open, too; nothing is typed by it."""
    view = SecondView(page)
    view.show("YAML")
    view.fill("stack:\n- kind: cutter\n  ")
    page.keyboard.press("Control+End")
    page.keyboard.type("te")
    expect(option(page, "teeth")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("listbox")).to_have_count(0)
    page.keyboard.press("Tab")
    expect(view.box()).not_to_be_focused()
    assert view.text() == "stack:\n- kind: cutter\n  te"


def test_text_is_typed_over_a_selection(page: Page) -> None:
    """Without an inline style, which the policy of the page would report."""
    view = SecondView(page)
    view.show("YAML")
    view.box().click()
    page.keyboard.press("Control+a")
    page.keyboard.type("stack: []")
    view.wait_for("stack: []")
    assert view.text() == "stack: []"


def test_without_the_editor_the_text_area_serves(page: Page) -> None:
    """Where its file does not come; the next time it is tried again."""
    page.context.set_offline(True)
    page.locator('#check [data-part="json-box"] summary').click()
    area = page.locator("#check-json")
    expect(area).to_be_visible()
    page.context.set_offline(False)
    area.fill(json.dumps({**FULL, "policy": {"unstated": "typical"}}))
    expect(verdict(page)).to_contain_text("unnamed stack")
