"""What the start page offers to begin with: requests of the invented shop, as one JSON document."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from pydantic_core import to_json

from rules.rulebook.loader import base_request
from service.comparison_examples import COMPARISON_EXAMPLES
from service.examples import EXAMPLES, RequestExample
from service.reading_examples import READING_EXAMPLES

__all__ = ["page_examples"]

_STACKS: Final[tuple[tuple[str, str, str, dict[str, Any], dict[str, Any]], ...]] = (
    ("press_in", "KB-T-0042", "End mill 8 mm on an extension in press-in collets", {}, {}),
    (
        "press_in",
        "KB-T-0043",
        "The same, with too little of the shank held, too fast",
        {"runout_limit_um": 12, "spindle_speed_rpm": 15500},
        {"grip_length_mm": 14},
    ),
    ("nut_collet", "KB-T-0044", "End mill 12 mm in an 8° nut collet, 20 µm asked", {"runout_limit_um": 20}, {}),
    ("shrink", "KB-T-0045", "End mill 12 mm in a shrink-fit holder", {}, {}),
    ("side_lock", "KB-T-0046", "End mill 20 mm with a flat in a side-lock holder", {}, {}),
    ("shell_mill", "KB-T-0047", "Face mill on its arbor", {}, {}),
    ("long_reach", "KB-T-0048", "Slender reach: bending and vibration decide", {}, {}),
    ("declared", "KB-T-0049", "Screw-in head on an interface of the shop's own", {}, {}),
)
"""Base request, name of the stack, summary, what is asked instead, what the last joint is set to."""


def page_examples() -> bytes:
    """The document: lists of checks, readings and comparisons, each entry with name, summary and request."""
    return to_json(
        {
            "checks": [*_stacks(), _entry("patchy", EXAMPLES["patchy"])],
            "readings": _entries(READING_EXAMPLES.items()),
            "comparisons": _entries(COMPARISON_EXAMPLES.items()),
        }
    )


def _stacks() -> Iterator[dict[str, Any]]:
    for base, name, summary, asked, last_joint in _STACKS:
        request = base_request(base)
        request["stack"]["id"] = name
        request["operation"].update(asked)
        if last_joint:
            request["stack"]["joints"][-1].update(last_joint)
        yield _entry(name, RequestExample(summary, request))


def _entries(examples: Iterable[tuple[str, RequestExample]]) -> list[dict[str, Any]]:
    return [_entry(name, example) for name, example in examples]


def _entry(name: str, example: RequestExample) -> dict[str, Any]:
    request: Mapping[str, Any] = example.request
    return {"name": name, "summary": example.summary, "request": request}
