"""The report page: opened from the start page, accessible, and printed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

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
    found = Axe().run(report)
    assert found.violations_count == 0, found.generate_report()
    report.set_viewport_size({"width": 360, "height": 900})
    assert report.evaluate("document.documentElement.scrollWidth") == 360


def test_it_prints(report: Page) -> None:
    """On a sheet nothing is cut off at the side, and the findings are there without opening anything."""
    # the width of A4 less its margins, 180 mm at 96 pixels an inch
    report.set_viewport_size({"width": 680, "height": 1000})
    report.emulate_media(media="print")
    expect(report.get_by_text("GRIP-010").first).to_be_visible()
    assert report.evaluate("document.documentElement.scrollWidth") <= 680
    sheets = report.pdf(format="A4")
    assert sheets.startswith(b"%PDF")
    assert 1 <= sheets.count(b"/Type /Page\n") + sheets.count(b"/Type /Page ") <= 9
