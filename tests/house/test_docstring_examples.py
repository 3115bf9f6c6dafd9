"""Examples in docstrings are run: what a reader sees is what the code says."""

from __future__ import annotations

import doctest
import importlib
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
    assert "rules.random_vectors.series_rest" in MODULES
    assert len(MODULES) > 40


@pytest.mark.parametrize("name", MODULES)
def test_examples_hold(name: str) -> None:
    """Each prints what stands below it."""
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0
