"""The page of an audit: opened as a file, filtered, sorted, read by keyboard, and printed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from service.cli.main import main
from tests.browser.accessibility import broken_rules
from tests.support.audits import mixed_lines, write


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with differences: since the last audit one stack has a limit that it cannot keep."""
    folder = tmp_path_factory.mktemp("audited")
    library = write(folder / "x.ndjson", mixed_lines())
    last = str(folder / "last.sarif")
    main(["audit", str(library), "--quiet", "--out", last])
    lines = list(mixed_lines())
    changed = json.loads(lines[3])
    changed["operations"][0]["limits"]["runout"]["tir_um"] = 1
    lines[3] = json.dumps(changed).encode() + b"\n"
    write(library, lines)
    main(["audit", str(library), "--quiet", "--against", last, "--out", str(folder / "o.html")])
    return folder / "o.html"


@pytest.fixture(params=["light", "dark"])
def page(browser: Browser, audited: Path, request: pytest.FixtureRequest) -> Iterator[Page]:
    """The page from the disk; at the end nothing may have erred, nor anything been fetched."""
    context = browser.new_context(color_scheme=request.param)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("console", lambda message: faults.append(message.text))
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.on("request", lambda one: one.url == audited.as_uri() or faults.append(one.url))
    opened.goto(audited.as_uri())
    expect(opened.locator("#found")).to_contain_text("39 stacks")
    yield opened
    context.close()
    assert faults == []


def test_causes_parts_stacks_and_their_report(page: Page) -> None:
    """From a cause to a part to a stack to its report, by keyboard alone; closing leads back."""
    heads = page.get_by_role("heading", level=2).all_inner_texts()
    assert heads[0].startswith("Differences")
    expect(page.locator("details.cause > summary").first).to_contain_text("could not be judged")
    page.locator("details.cause > summary").nth(1).focus()
    page.keyboard.press("Enter")
    page.locator("details.part > summary").first.focus()
    page.keyboard.press("Enter")
    opener = page.locator("details.part button.open").first
    name = opener.inner_text()
    opener.focus()
    page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_role("heading", name=name)).to_be_focused()
    expect(dialog.get_by_role("heading", name="Runout", exact=True)).to_be_visible()
    assert broken_rules(page) == []
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(opener).to_be_focused()


def test_filters_narrow_and_clear(page: Page) -> None:
    """By change, severity, machine, part, text and verdict; the count says what is left."""
    found = page.locator("#found")
    page.get_by_label("Change").select_option("new")
    expect(found).to_contain_text("1 stack of 39")
    page.get_by_role("button", name="Clear filters").click()
    expect(found).to_contain_text("39 stacks of 39")
    page.get_by_label("Severity").select_option("not judged")
    expect(found).to_contain_text("2 stacks of 39")
    page.get_by_role("button", name="Clear filters").click()
    page.get_by_label("Arrange by").select_option("list")
    for label, value in (("Text", "KB-0000007"), ("Part number", "press-25-16")):
        page.get_by_label(label, exact=True).fill(value)
    expect(found).to_contain_text("1 stack of 39")
    expect(page.locator("tbody button.open")).to_have_text(["KB-0000007"])
    page.get_by_label("Machine").select_option("mill 3")
    expect(page.locator("#results")).to_have_text("No stack matches the filters.")


def test_the_list_sorts_both_ways(page: Page) -> None:
    """By a head; the direction is told to who does not see the sign."""
    page.get_by_label("Arrange by").select_option("list")
    head = page.get_by_role("button", name="Runout p95")
    for direction in ("descending", "ascending"):
        head.click()
        expect(page.get_by_role("columnheader", name="Runout p95")).to_have_attribute("aria-sort", direction)
        cells = page.locator("#results tbody tr td:last-child").all_inner_texts()
        figures = [-1.0 if one == "not known" else float(one) for one in cells]
        assert figures == sorted(figures, reverse=direction == "descending")
    assert broken_rules(page) == []


def test_it_fits_and_prints_a_summary(page: Page) -> None:
    """At 360 pixels nothing is cut off; on paper there are the figures, not the list."""
    assert broken_rules(page) == []
    page.set_viewport_size({"width": 360, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    page.emulate_media(media="print")
    expect(page.locator("#explorer")).to_be_hidden()
    expect(page.locator("#differences")).to_be_visible()
    assert page.pdf(format="A4").startswith(b"%PDF")
