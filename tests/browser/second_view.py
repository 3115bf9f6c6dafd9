"""The second view of the builder: the request as text, in an editor that completes names."""

from __future__ import annotations

from playwright.sync_api import Locator, Page, expect

_FILL = """async ([content, text]) => {
    const { EditorView } = await import("/static/codemirror.js");
    const view = EditorView.findFromDOM(content);
    view.focus();
    view.dispatch({ changes: { from: 0, to: view.state.doc.length, insert: text }, userEvent: "input.type" });
}"""


class SecondView:
    """Opened when it is first asked for, with the editor loaded."""

    def __init__(self, page: Page) -> None:
        self._page = page
        box = page.locator('#check [data-part="json-box"]')
        if box.get_attribute("open") is None:
            box.locator("summary").click()
        expect(page.locator("#check .text-editor")).to_be_visible()
        self._kept = page.locator("#check-json")

    def box(self) -> Locator:
        """Where the text is typed."""
        return self._page.get_by_label("Request, ")

    def text(self) -> str:
        """What is shown."""
        return self._kept.input_value()

    def chosen(self) -> str:
        """What is selected."""
        text: str = self._kept.evaluate("area => area.value.slice(area.selectionStart, area.selectionEnd)")
        return text

    def rest(self) -> str:
        """What follows the cursor."""
        text: str = self._kept.evaluate("area => area.value.slice(area.selectionStart)")
        return text

    def fill(self, text: str) -> None:
        """Replace all of it at once, as if it had been typed."""
        self.box().evaluate(f"(content, text) => ({_FILL})([content, text])", text)

    def show(self, notation: str) -> None:
        """Switch to JSON or YAML, and wait until it is there."""
        self._page.get_by_role("radio", name=notation).check()
        expect(self._page.get_by_label(f"Request, {notation}")).to_be_visible()

    def wait_for(self, words: str) -> None:
        """Until the text has these words."""
        self._page.wait_for_function("words => document.getElementById('check-json').value.includes(words)", arg=words)
