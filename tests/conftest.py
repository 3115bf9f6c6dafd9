"""Options of the test run."""

from __future__ import annotations

import pytest
from hypothesis import settings

# the same examples in every run, however slow the machine
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the full-size form of the long tests")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    skip = pytest.mark.skip(reason="full-size form; run with --long")
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(skip)
