"""A published value names its print: title, edition or year, and the place in it."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Final

import pytest

PUBLISHED: Final = Path(__file__).resolve().parents[1] / "published"

ENTRY: Final = re.compile(r"OEIS A\d{6}|arXiv:\d{4}\.\d{4}")
"""A collection in which the entry is title, edition and place in one."""

EDITION: Final = re.compile(r"\d+(st|nd|rd|th) ed\.|\b(1[89]|20)\d\d\b")
PLACE: Final = re.compile(r"\bp\. \d+|[Tt]able|Eq\. |Example |Problem |[Cc]lause |columns? \w")


def _faults(source: str) -> list[str]:
    tests = [one for one in ast.parse(source).body if isinstance(one, ast.FunctionDef) and one.name.startswith("test_")]
    faults = []
    for test in tests:
        text = ast.get_docstring(test) or ""
        cited = ENTRY.search(text) or (EDITION.search(text) and PLACE.search(text))
        if not (text.startswith("Literature: ") and cited) or "memory:" in text:
            faults.append(test.name)
    return faults


@pytest.mark.parametrize("file", sorted(PUBLISHED.glob("test_*.py")), ids=lambda file: file.name)
def test_each_value_names_its_print(file: Path) -> None:
    """What has no title, edition and place belongs in tests/exact or tests/oracles."""
    assert _faults(file.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "text",
    [
        "A textbook, p. 3, 2nd ed.",
        "Literature: a textbook, p. 3",
        "Literature: a textbook, 2nd ed.",
        "Literature: ISO 1",
    ],
)
def test_an_incomplete_source_is_found(text: str) -> None:
    """Without the word, the edition or the place."""
    assert _faults(f'def test_value():\n    "{text}"') == ["test_value"]
