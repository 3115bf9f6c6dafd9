"""The built-in rulebook and the contract as a process keeps them for later ones."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI

from rules import assessor
from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from service.http import reference
from service.http.reference import contract_router
from service.operations.assessors import load_assessor
from service.operations.settings import Settings
from tests.service.conftest import Client


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
    [kept] = tmp_path.rglob("*.kept*")
    whole = kept.read_bytes()
    assert reads() == 1
    assert load_assessor().assess(request) == load_assessor(Settings()).assess(request) == first
    assert reads() == 0
    for spoilt in (whole[:-1], b"0" * 64 + whole[64:], b""):
        kept.write_bytes(spoilt)
        load_assessor()
        assert reads() == 1
        assert kept.read_bytes() != spoilt
    assert [kept] == list(tmp_path.rglob("*.kept*"))


def test_books_of_an_operator_are_read_each_time(reads: Callable[[], int], tmp_path: Path) -> None:
    """Only the built-in ones change with the program alone."""
    folder = Path(__file__).resolve().parents[2] / "demo_data" / "rulebooks"
    for _ in range(2):
        found = load_assessor(Settings(extra_rulebooks=[folder]))
        assert found.book.own
        assert reads() > 0
    assert not list(tmp_path.rglob("*.kept*"))


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
    assert not list(tmp_path.rglob("*.kept*"))


def _refused(*_: object) -> int:
    raise PermissionError("read only")


def test_the_next_process_makes_no_contract(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It serves the same bytes; a program that has changed makes its own."""
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "cache"))
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    times: list[int] = []

    def describe() -> tuple[dict[str, object], dict[str, str]]:
        times.append(1)
        return {"openapi": "3.1.0", "paths": {"made": len(times)}}, {"examples/checks/one.json": "{}"}

    def served() -> bytes:
        app = FastAPI(openapi_url=None)
        app.include_router(contract_router(describe))
        client = Client(app)
        assert client.get("/examples/checks/one.json").content == b"{}"
        return client.get("/openapi.json").content

    first = served()
    assert (served(), len(times)) == (first, 1)
    monkeypatch.setattr(reference, "program_sha256", lambda: "0" * 64)
    assert served() != first
    assert len(times) == 2
