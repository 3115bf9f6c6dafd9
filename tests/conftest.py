"""Options of the test run, and the permitted skips in CI."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

# the same examples in every run, however slow the machine
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the full-size form of the long tests")


def pytest_configure(config: pytest.Config) -> None:
    # read where a module is imported; a process of pytest-xdist does not have the command line
    if config.getoption("--long"):
        os.environ["FULL_SIZE_TESTS"] = "1"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    skip = pytest.mark.skip(reason="full-size form; run with --long")
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(skip)


ALLOWED_SKIPS = tomllib.loads((Path(__file__).parent / "allowed_skips.toml").read_text(encoding="utf-8"))["skip"]


def is_allowed(test: str, reason: str) -> bool:
    """Return whether CI takes this skip (``allowed_skips.toml``)."""
    return any(
        reason == skip["reason"]
        and any(re.fullmatch(".*".join(map(re.escape, tests.split("*"))), test) for tests in skip["tests"])
        for skip in ALLOWED_SKIPS
    )


def _fail_other_skips(report: pytest.TestReport | pytest.CollectReport) -> None:
    if not report.skipped or hasattr(report, "wasxfail") or os.environ.get("CI") != "true":
        return
    assert isinstance(report.longrepr, tuple)
    reason = report.longrepr[2].removeprefix("Skipped: ")
    if not is_allowed(report.nodeid, reason):
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid}: skipped ({reason}), which tests/allowed_skips.toml does not list"


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    _fail_other_skips(report)
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _fail_other_skips(report)
    return report
