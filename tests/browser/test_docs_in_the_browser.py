"""The page of the API shows every operation and sends its examples."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.support.contract import read

OpenPage = Callable[..., Page]

CONTRACT = read()
OPERATIONS = [told for methods in CONTRACT["paths"].values() for told in methods.values()]


def test_every_operation_is_listed(open_page: OpenPage) -> None:
    """Nothing of the contract is left out."""
    page = open_page("/docs")
    expect(page.locator("#operations li")).to_have_count(len(OPERATIONS))
    for told in OPERATIONS:
        expect(page.locator("#operations").get_by_role("link", name=told["summary"], exact=True)).to_be_visible()


def test_every_operation_can_be_sent_as_it_is_shown(open_page: OpenPage) -> None:
    """Its first example is answered with success."""
    page = open_page("/docs")
    for told in OPERATIONS:
        page.locator("#operations").get_by_role("link", name=told["summary"], exact=True).click()
        expect(page.locator("#operation h2")).to_have_text(told["summary"])
        page.get_by_role("button", name="Send").click()
        expect(page.locator("#operation [role=status]")).to_contain_text("Status 200")
        expect(page.locator("#answer pre")).not_to_be_empty()


def test_fields_are_told_down_to_the_leaves(open_page: OpenPage) -> None:
    """Types, bounds, meaning and examples, opened level by level."""
    page = open_page("/docs#check_stack")
    page.locator("summary", has_text="application/json").first.click()
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
