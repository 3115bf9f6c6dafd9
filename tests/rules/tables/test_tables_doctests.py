"""The examples in the tables' and fits' docstrings are true."""

from __future__ import annotations

import doctest
import pkgutil
from importlib import import_module

import pytest

import rules.tables

MODULES = [
    *(f"rules.tables.{module.name}" for module in pkgutil.iter_modules(rules.tables.__path__)),
    "rules.grip.formulas",
    "tests.support.tapers",
]
WITHOUT_EXAMPLES = {
    "rules.couplings.definition",
    "rules.quantities.tables",
    "rules.couplings.morse_taper",
    "rules.couplings.polygonal_taper",
    "rules.couplings.shell_mill_arbor",
}


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_hold(name: str) -> None:
    """Every example gives what it shows, and modules that should have examples have them."""
    result = doctest.testmod(import_module(name))
    assert result.failed == 0
    assert (result.attempted > 0) is (name not in WITHOUT_EXAMPLES)
