"""Options of the test run, and the permitted skips in CI."""

from __future__ import annotations

import gc
import logging
import os
import re
import tomllib
from collections.abc import Generator, Iterator
from datetime import date
from functools import cache, wraps
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# For the processes that tests start, hundreds of them: they keep what they compile, and small matrices need no threads.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Thousands of tests and their examples stay to the end: looking through them less often saves a fifteenth.
gc.set_threshold(20_000, 20, 20)

MOST_EXAMPLES = 40
"""Examples of a property in the short run, whatever it states for the long one."""

# the same examples in every run, however slow the machine; all of them with --long
settings.register_profile("steady", deadline=None, derandomize=True, max_examples=25)
settings.register_profile("long", deadline=None, derandomize=True)
settings.load_profile("steady")

SLOW_FILES = (
    "test_workers.py",
    "test_openapi_conformance.py",
    "browser",
    "test_live_batches.py",
    "test_shutdown.py",
    "test_code_is_clean.py",
    "test_heavy_work.py",
    "test_installed.py",
    "test_soak.py",
    "test_stopping.py",
    "test_audit_dask.py",
    "test_bulk_pool.py",
    "test_audit_resume.py",
    "test_audit_command.py",
    "test_gate_signatures.py",
    "test_deletions.py",
    "test_rules_command.py",
    "test_logs_lost.py",
    "test_openapi_document.py",
    "test_audit_of_a_long_library.py",
    "test_hostile_input.py",
    "test_readme_shows_the_demo.py",
    "test_engine_load.py",
    "test_search.py",
    "test_component_round_trips.py",
    "test_report_faces.py",
    "test_generated_libraries.py",
    "test_content_codings.py",
)
"""Files that take the most processor time, the longest first, and the folder whose files share a browser.

A process of pytest-xdist that begins one of them last would end last.
"""


@pytest.fixture(scope="module", autouse=True)
def _logs_are_left_as_they_were() -> Iterator[None]:
    """A test that configures the logs of this process would have each later request written to standard error."""
    yield
    assert [one for one in logging.getLogger().handlers if not type(one).__module__.startswith("_pytest.")] == []


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the full-size form of the long tests")
    parser.addoption("--slow-pages", action="store_true", help="test the pages as on a slow network and processor")


def pytest_configure(config: pytest.Config) -> None:
    # read where a module is imported; a process of pytest-xdist does not have the command line
    if config.getoption("--long"):
        os.environ["FULL_SIZE_TESTS"] = "1"
        settings.load_profile("long")
    if config.getoption("--slow-pages"):
        os.environ["SLOW_PAGES"] = "true"
    # else pytest-xdist begins with the files of the most tests, and the slowest end alone
    config.option.loadscopereorder = False
    # the process that hands the tests out to others runs none
    runs_tests = hasattr(config, "workerinput") or not config.getoption("numprocesses", None)
    if runs_tests and (config.rootpath / "rules").is_dir():
        _load_rules_once()


def _load_rules_once() -> None:
    """Read and compile the built-in rules alone once in a process, since hundreds of tests use them."""
    from rules.assessor import Assessor

    load = Assessor.load.__func__  # type: ignore[attr-defined]
    built_in = cache(lambda today: load(Assessor, today=today))

    @wraps(load)
    def loaded(cls: type[Assessor], *arguments: Any, today: date | None = None, **named: Any) -> Assessor:
        plain = cls is Assessor and not any(arguments) and not any(named.values())
        found: Assessor = built_in(today) if plain else load(cls, *arguments, today=today, **named)
        return found

    Assessor.load = classmethod(loaded)  # type: ignore[assignment,method-assign]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    places = {name: place for place, name in enumerate(SLOW_FILES)}
    items.sort(key=lambda item: places.get(item.path.name, places.get(item.path.parent.name, len(places))))
    if config.getoption("--long"):
        return
    for item in items:
        if isinstance(item, pytest.Function) and item.get_closest_marker("hypothesis"):
            _shorten(item.obj)
    skip = pytest.mark.skip(reason="full-size form; run with --long")
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(skip)


def _shorten(test: Any) -> None:
    """Bound the examples of a property; fuzz tests, whose inputs take a millisecond, have their own bound."""
    test = getattr(test, "__func__", test)
    stated = test._hypothesis_internal_use_settings
    if stated.max_examples > MOST_EXAMPLES and not test.__module__.startswith("tests.fuzz"):
        test._hypothesis_internal_use_settings = settings(stated, max_examples=MOST_EXAMPLES)


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
