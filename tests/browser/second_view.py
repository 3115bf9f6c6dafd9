"""The second view of the builder: the request as text."""

from __future__ import annotations

from playwright.sync_api import Locator, Page, expect


class SecondView:
    """Opened when it is first asked for."""

    def __init__(self, page: Page) -> None:
        self._page = page
        box = page.locator('#check [data-part="json-box"]')
        if box.get_attribute("open") is None:
            box.locator("summary").click()

    def box(self) -> Locator:
        """Where the text is typed."""
        return self._page.get_by_label("Request, ")

    def text(self) -> str:
        """What is shown."""
        return self.box().input_value()

    def fill(self, text: str) -> None:
        """Replace all of it."""
        self.box().fill(text)

    def show(self, notation: str) -> None:
        """Switch to JSON or YAML, and wait until it is there."""
        self._page.get_by_role("radio", name=notation).check()
        expect(self._page.get_by_label(f"Request, {notation}")).to_be_visible()

    def wait_for(self, words: str) -> None:
        """Until the text has these words."""
        self._page.wait_for_function("words => document.getElementById('check-json').value.includes(words)", arg=words)
