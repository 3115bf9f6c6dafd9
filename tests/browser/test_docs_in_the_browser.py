"""The page of the API shows every operation, sends its examples and writes programs that do the same."""

from __future__ import annotations

import contextlib
import io
import subprocess
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.support.contract import read

OpenPage = Callable[..., Page]

CONTRACT = read()
OPERATIONS = [told for methods in CONTRACT["paths"].values() for told in methods.values()]


def test_every_operation_is_listed(open_page: OpenPage) -> None:
    """Nothing of the contract is left out."""
    page = open_page("/docs")
    expect(page.locator("#operations li")).to_have_count(len(OPERATIONS), timeout=60_000)
    for told in OPERATIONS:
        expect(page.locator("#operations").get_by_role("link", name=told["summary"], exact=True)).to_be_visible()


def _curl(program: str) -> str:
    """The status and the body that a program in the shell prints."""
    shown = program.replace("curl -s ", "curl -s -w ' %{http_code}' ", 1)
    return subprocess.run(["/bin/sh", "-c", shown], capture_output=True, text=True, check=True).stdout


def _python(program: str) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(program, {})  # noqa: S102
    return printed.getvalue()


def _javascript(page: Page, program: str) -> str:
    said = "const said = [], console = { log: (...words) => said.push(...words) };"
    script = f"async () => {{ {said}\n{program}\nreturn said.join(' '); }}"
    return str(page.evaluate(script))


def test_every_operation_can_be_sent_as_it_is_shown(open_page: OpenPage) -> None:
    """Its first example succeeds: by the page and by the program in each language, with the same bytes."""
    page = open_page("/docs")
    for told in OPERATIONS:
        page.locator("#operations").get_by_role("link", name=told["summary"], exact=True).click()
        expect(page.locator("#operation h2")).to_have_text(told["summary"])
        page.get_by_role("button", name="Send").click()
        expect(page.locator("#operation [role=status]")).to_contain_text("Status 200")
        expect(page.locator("#answer pre")).not_to_be_empty()
        programs = {}
        for language in ("JavaScript", "Python", "curl"):
            page.locator("#operation").get_by_role("button", name=language).click()
            programs[language] = page.locator("#operation .programs pre").text_content() or ""
        answers = {_javascript(page, programs["JavaScript"]).strip(), _python(programs["Python"]).strip()}
        assert len(answers) == 1, programs
        (answer,) = answers
        assert answer.startswith("200 "), programs
        curl = _curl(programs["curl"])
        # curl prints the status after the body
        assert f"{curl[-3:]} {curl[:-4]}".strip() == answer, programs["curl"]


@pytest.mark.parametrize(
    "body",
    [
        '{"a": "it\'s \\" \\\\ \\/ \\ud83d\\ude00 true", "b": [true, null, 1.0, 12345678901234567890]}',
        'BODY\n\'`${1}\\ """ end"',
    ],
)
def test_programs_send_any_body_as_it_is_typed(open_page: OpenPage, body: str) -> None:
    """Quotes, backslashes and marks of the languages change nothing: the service refuses each alike."""
    page = open_page("/docs#check_stack")
    page.get_by_label("Body").fill(body)
    answers = set()
    for language, run in (("curl", _curl), ("Python", _python), ("JavaScript", lambda one: _javascript(page, one))):
        page.locator("#operation").get_by_role("button", name=language).click()
        told = run(page.locator("#operation .programs pre").text_content() or "").strip()
        status, document = (told[-3:], told[:-3]) if language == "curl" else (told[:3], told[4:])
        assert status in {"400", "422"}, told
        answers.add(document.split('"request_id"')[0].strip())
    assert len(answers) == 1


def test_a_program_is_copied(open_page: OpenPage) -> None:
    """Into the clipboard, as it is shown; the language stays chosen in the next operation."""
    page = open_page("/docs#check_stack")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.locator("#operation").get_by_role("button", name="Python").click()
    page.locator("#operation").get_by_role("button", name="Copy").click()
    expect(page.locator("#operation .programs")).to_contain_text("Copied")
    code = page.locator("#operation .programs pre")
    assert page.evaluate("navigator.clipboard.readText()") == code.text_content()
    page.locator("#operations").get_by_role("link", name="Draw a stack").click()
    expect(code).to_contain_text("import httpx")


def test_the_first_stack_is_judged_as_the_steps_say(open_page: OpenPage) -> None:
    """Each request of the overview gives the verdict that its text explains."""
    page = open_page("/docs")
    steps = page.locator(".steps > li")
    expect(steps.get_by_role("button", name="Send")).to_have_count(5)
    for step in steps.all():
        step.get_by_role("button", name="Send").click()
        verdict = step.get_attribute("data-verdict") or ""
        expect(step.get_by_role("region", name="Report of step")).to_contain_text(verdict.upper(), timeout=60_000)


def test_a_field_is_found_and_shown_in_its_place(open_page: OpenPage) -> None:
    """The search lists operations and fields; a field's link opens the schema down to it, also when it is shared."""
    page = open_page("/docs")
    page.get_by_label("Find an operation").fill("clocking_deg")
    expect(page.locator("#hits")).to_contain_text("Operations: 0.")
    page.get_by_role("link", name="stack › joints › clocking_deg request, Check a stack", exact=True).click()
    row = page.locator(".found")
    expect(row).to_contain_text("Angle of the lower component's mark")
    expect(row).to_be_in_viewport()
    page.reload()
    expect(row).to_be_in_viewport()
    page.get_by_label("Find an operation").fill("work order")
    expect(
        page.locator("#operations").get_by_role("link", name="Release, hold or stop a work order", exact=True)
    ).to_be_visible()
    page.get_by_label("Find an operation").fill("no such thing")
    expect(page.locator("#hits")).to_have_text("Operations: 0. Fields: 0.")


def test_fields_stand_beside_the_example(open_page: OpenPage) -> None:
    """The schema of the body at the left, the body to send at the right; below each other on a small screen."""
    page = open_page("/docs#check_stack", width=1600)
    fields, body = page.locator("#operation .schema").first, page.get_by_label("Body")
    expect(fields).to_be_visible()
    left, right = fields.bounding_box(), body.bounding_box()
    assert left
    assert right
    assert left["x"] + left["width"] <= right["x"]
    assert left["y"] < right["y"] < left["y"] + left["height"]
    page.set_viewport_size({"width": 360, "height": 900})
    left, right = fields.bounding_box(), body.bounding_box()
    assert left
    assert right
    assert left["y"] + left["height"] <= right["y"]
    expect(page.get_by_role("region", name="Example of the response")).to_contain_text('"verdict"')


def test_a_form_is_sent_with_its_files(open_page: OpenPage) -> None:
    """Each part of the form has a field for its file, and the program names the parts."""
    page = open_page("/docs#import_components")
    page.get_by_label("Content type").select_option("multipart/form-data")
    page.get_by_label("document", exact=True).set_input_files(
        {"name": "parts.csv", "mimeType": "text/csv", "buffer": b"KIND,ID,DMM,OAL\ngauge_pin,KB-GP8,8,100\n"}
    )
    page.get_by_role("button", name="Send").click()
    expect(page.locator("#answer pre")).to_contain_text("KB-GP8")
    expect(page.locator("#operation .programs pre")).to_contain_text("document=@document.txt")
    page.get_by_label("Content type").select_option("application/zip")
    expect(page.get_by_label("File to send")).to_be_visible()
    expect(page.locator("#operation .programs pre")).to_contain_text("@package.zip")


def test_fields_are_told_down_to_the_leaves(open_page: OpenPage) -> None:
    """Types, bounds, meaning and examples, opened level by level."""
    page = open_page("/docs#check_stack")
    page.get_by_text("Fields of Stack", exact=True).first.click()
    page.get_by_text("Fields of Joint", exact=True).click()
    leaf = page.locator("#operation dl dl dl > div", has_text="clocking_deg")
    expect(leaf).to_contain_text("at least -360")
    expect(leaf).to_contain_text("Angle of the lower component's mark")


def test_a_refused_body_leads_to_its_place(open_page: OpenPage) -> None:
    """Problems of the body are shown as on the start page."""
    page = open_page("/docs#check_stack")
    body = page.get_by_label("Body")
    body.fill('{"stack": {"components": [,]}}')
    page.get_by_role("button", name="Send").click()
    page.get_by_role("button", name="line 1, column 27").click()
    expect(body).to_be_focused()
    assert body.evaluate("area => area.selectionStart") == 26
