"""Rules of axe-core that a page breaks."""

from __future__ import annotations

from typing import Final

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

_OF_COLOURS: Final = ["color-contrast", "link-in-text-block"]

_RUN: Final = """async (only) => {
    const options = { resultTypes: ["violations"], ...(only ? { runOnly: only } : {}) };
    const found = await axe.run(options);
    const told = (rule, node) => `${rule.id}: ${node.target} ${node.failureSummary}`;
    return found.violations.flatMap(rule => rule.nodes.map(node => told(rule, node)));
}"""


def broken_rules(page: Page, *, only_colours: bool = False) -> list[str]:
    """Return each rule that is broken, with the element; ``only_colours`` where no more has changed.

    What passes is not told, because axe-core takes half of its time for the names of elements that pass.
    """
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found: list[str] = page.evaluate(_RUN, _OF_COLOURS if only_colours else None)
    return found
