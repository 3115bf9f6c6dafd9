"""The built-in rulebook as a process keeps it for later ones."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from rules import assessor
from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from service.operations.assessors import load_assessor
from service.operations.settings import Settings


@pytest.fixture
def reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], int]:
    """Return how often books were read since the last call; bytecode goes to a folder of its own."""
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "cache"))
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    # without what keeps the rules for all tests of a process
    load = Assessor.load.__func__  # type: ignore[attr-defined]
    monkeypatch.setattr(Assessor, "load", classmethod(getattr(load, "__wrapped__", load)))
    times, read = [0], assessor.load_books

    def counted(*words: object, **named: object) -> object:
        times[0] += 1
        return read(*words, **named)  # type: ignore[arg-type]

    def since() -> int:
        found, times[0] = times[0], 0
        return found

    monkeypatch.setattr(assessor, "load_books", counted)
    return since


def test_the_next_process_reads_no_book(reads: Callable[[], int], tmp_path: Path) -> None:
    """It judges alike, with settings and without; what is not whole, or of another program, is read anew."""
    request = parse_request(base_request("nut_collet"))
    first = load_assessor().assess(request)
    [kept] = tmp_path.rglob("*.pickle*")
    whole = kept.read_bytes()
    assert reads() == 1
    assert load_assessor().assess(request) == load_assessor(Settings()).assess(request) == first
    assert reads() == 0
    for spoilt in (whole[:-1], b"0" * 64 + whole[64:], b""):
        kept.write_bytes(spoilt)
        load_assessor()
        assert reads() == 1
        assert kept.read_bytes() != spoilt
    assert [kept] == list(tmp_path.rglob("*.pickle*"))


def test_books_of_an_operator_are_read_each_time(reads: Callable[[], int], tmp_path: Path) -> None:
    """Only the built-in ones change with the program alone."""
    folder = Path(__file__).resolve().parents[2] / "demo_data" / "rulebooks"
    for _ in range(2):
        found = load_assessor(Settings(extra_rulebooks=[folder]))
        assert found.book.own
        assert reads() > 0
    assert not list(tmp_path.rglob("*.pickle*"))


@pytest.mark.parametrize("how", ["forbidden", "no folder", "read only"])
def test_nothing_is_kept_where_python_keeps_no_bytecode(
    reads: Callable[[], int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """An operator may forbid it, and an installation be read-only."""
    cache = tmp_path / "cache"
    if how == "forbidden":
        monkeypatch.setattr(sys, "dont_write_bytecode", True)
    elif how == "no folder":
        cache.write_text("", encoding="utf-8")
    else:
        monkeypatch.setattr(Path, "write_bytes", _refused)
    for _ in range(2):
        load_assessor()
        assert reads() == 1
    assert not list(tmp_path.rglob("*.pickle*"))


def _refused(*_: object) -> int:
    raise PermissionError("read only")
