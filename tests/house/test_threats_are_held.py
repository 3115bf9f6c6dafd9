"""Each row of the table of threats names existing tests."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Limits and threats\n")[2]
ROWS = [line for line in TEXT.splitlines() if re.match(r"\| API\d+ ", line)]
NAMED = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", TEXT)


@cache
def _tests_of(file: str) -> frozenset[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return frozenset(one.name for one in tree.body if isinstance(one, ast.FunctionDef))


def test_every_risk_of_the_list_has_a_line() -> None:
    """OWASP API Security Top 10, 2023: API1 to API10, in order, each with a test."""
    assert [int(re.findall(r"API(\d+)", row)[0]) for row in ROWS] == list(range(1, 11))
    assert all("`tests/" in row for row in ROWS)


@pytest.mark.parametrize(("file", "name"), NAMED)
def test_the_named_test_exists(file: str, name: str) -> None:
    """Renamed or taken out, it has to be changed here, too."""
    assert name in _tests_of(file)
