"""The page that tries a rule on a stack."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

OpenPage = Callable[..., Page]


def test_a_rule_is_explained_on_a_stack(open_page: OpenPage) -> None:
    """Outcome, values with their places, what would have to change; a place leads into the request."""
    page = open_page("/rules/try#GRIP-010")
    page.get_by_label("Start from").select_option("KB-T-0043")
    fired = page.locator("#explanation section", has_text="Fires").first
    expect(fired).to_contain_text("To pass:")
    expect(fired).to_contain_text("now")
    fired.get_by_role("button", name="/grip_length_mm").first.click()
    area = page.get_by_label("Request, JSON")
    expect(area).to_be_focused()
    picked = area.evaluate("area => area.value.slice(area.selectionStart, area.selectionEnd)")
    assert picked.startswith('"grip_length_mm": 14')
    page.get_by_label("Rule", exact=True).select_option("KNOB-010")
    expect(page.locator("#explanation h3")).to_contain_text("KNOB-010")


def test_faults_are_shown_at_their_place(open_page: OpenPage) -> None:
    """Text that is no JSON, then a field that does not exist; the explanation goes away."""
    page = open_page("/rules/try")
    expect(page.locator("#explanation h3")).to_be_visible()
    area = page.get_by_label("Request, JSON")
    for text, place in (
        ('{"stack": }', "line 1, column 11"),
        ('{"stack": {"components": [], "joint": 1}}', "Stack, joint"),
    ):
        area.fill(text)
        page.get_by_role("button", name="Explain").click()
        expect(page.locator("#problem")).to_contain_text(place)
        expect(page.locator("#explanation h3")).to_have_count(0)
