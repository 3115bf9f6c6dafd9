"""The mounted catalogue is listed on a page, and the builder offers its parts."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.accessibility import broken_rules

OpenPage = Callable[..., Page]

ITEMS = [
    {"key": "KB-32-12", "revision": "B", "kind": "collet", "label": "Collet 32, bore 12 mm", "quarantined": None},
    {"key": "KB-32-16", "revision": None, "kind": None, "label": None, "quarantined": "mass_kg: must be 0 or more"},
    *(
        {"key": f"KB-D-{number:03}", "revision": None, "kind": "drill", "label": None, "quarantined": None}
        for number in range(150)
    ),
]


def _answer(route: Route) -> None:
    """Answer as a service with these parts does."""
    query = dict(pair.split("=") for pair in route.request.url.partition("?")[2].split("&"))
    offset, limit = int(query.get("offset", 0)), int(query["limit"])
    sought, kind = query.get("contains", "").lower(), query.get("kind")
    found = [
        one for one in ITEMS if kind in (None, one["kind"]) and sought in f"{one['key']} {one['label'] or ''}".lower()
    ]
    following = f"/v1/catalogue?offset={offset + limit}" if offset + limit < len(found) else None
    page = {"items": found[offset : offset + limit], "next": following}
    route.fulfill(json={"catalogue_sha256": "ab" * 32, "total": len(found), **page})


@pytest.fixture
def mounted(open_page: OpenPage) -> Callable[[str], Page]:
    def open_mounted(path: str) -> Page:
        page = open_page("about:blank")
        page.route("**/v1/catalogue?*", _answer)
        page.goto(path)
        return page

    return open_mounted


def test_the_catalogue_is_listed(mounted: Callable[[str], Page]) -> None:
    """By text and kind, page after page; what no stack can use has its reason."""
    page = mounted("/#catalogue")
    status, rows = page.locator("#catalogue [role=status]"), page.locator("#catalogue tbody tr")
    expect(status).to_contain_text("152 parts mounted")
    expect(rows).to_have_count(100)
    expect(rows.nth(1)).to_contain_text("quarantined: mass_kg")
    assert broken_rules(page) == []
    page.get_by_role("button", name="Next page").click()
    expect(rows).to_have_count(52)
    expect(page.get_by_role("button", name="Next page")).to_be_disabled()
    page.get_by_label("Kind").locator("visible=true").select_option("collet")
    expect(rows).to_have_count(1)
    page.get_by_label("Key or label contains").fill("nothing")
    expect(status).to_contain_text("0 parts found")


def test_without_a_catalogue_the_page_says_so(open_page: OpenPage) -> None:
    """The service of these tests has none."""
    page = open_page("/#catalogue")
    expect(page.locator("#catalogue [role=status]")).to_contain_text("No catalogue is mounted")


def test_the_builder_offers_mounted_parts(mounted: Callable[[str], Page]) -> None:
    """By key or label, with its revision; a quarantined part is not offered."""
    page = mounted("/")
    expect(page.locator("#check .verdict-word")).to_contain_text("Pass")
    page.get_by_role("button", name="New stack").click()
    page.keyboard.type("KB-32")
    offered = page.locator(".suggestions [role=option]:visible")
    expect(offered.first).to_contain_text("KB-32-12 revision B, mounted catalogue")
    assert "KB-32-16" not in "".join(offered.all_inner_texts())
    page.keyboard.press("Enter")
    expect(page.get_by_role("group", name="collet")).to_be_visible()
    request = json.loads(page.locator("#check-json").input_value())
    assert request["stack"]["components"] == [
        {"kind": "reference", "id": "collet", "of": {"from": "catalogue", "key": "KB-32-12", "revision": "B"}}
    ]
