"""The examples in docstrings and in the README run and give the printed results."""

from __future__ import annotations

import doctest
import importlib
import re
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).resolve().parents[2]
MODULES: Final = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for folder in ("rules", "service", "tests/support", "tests/oracles")
    for path in (ROOT / folder).rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


def test_there_are_examples() -> None:
    """The modules are found at all."""
    assert "rules.random_vectors.random_sum" in MODULES
    assert len(MODULES) > 40


@pytest.mark.parametrize("name", MODULES)
def test_examples_hold(name: str) -> None:
    """Each prints what stands below it."""
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0


def test_examples_of_the_readme_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    """Typed at the top of the project, each prints what stands below it."""
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"^```pycon\n(.*?)^```", (ROOT / "README.md").read_text(encoding="utf-8"), re.M | re.S)
    assert blocks
    for block in blocks:
        example = doctest.DocTestParser().get_doctest(block, {}, "README", "README.md", 0)
        assert doctest.DocTestRunner().run(example) == doctest.TestResults(0, len(example.examples))
