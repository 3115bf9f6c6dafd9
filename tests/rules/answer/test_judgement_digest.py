"""The digest of what judges changes with each part of it, and with nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import rules
from rules.answer import provenance
from rules.answer.provenance import judgement_sha256
from rules.assessor import Assessor
from rules.rulebook.book import Rulebook

PACKAGE = Path(rules.__file__).parent

BOOK = """\
book: shop
version: "1"
title: Changes of the shop
adjust:
  - {code: OVH-010, severity: warning, reason: trial, owner: toolroom, until: 2026-01-31}
"""


@pytest.fixture(scope="module")
def book() -> Rulebook:
    return Assessor.load().book


def _as_files(folder: Path, content: Mapping[str, str]) -> Path:
    for name, text in content.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def test_every_data_file_beside_the_books_is_covered() -> None:
    """However deep in the package it lies."""
    expected = {file.relative_to(PACKAGE).as_posix() for file in PACKAGE.rglob("*.yaml")}
    covered = dict(provenance._tables())
    assert set(covered) == {name for name in expected if not name.startswith("books/")}
    assert len(set(covered.values())) == len(covered) > 20


@pytest.mark.parametrize(
    ("content", "changes"),
    [
        ({"grip/a.yaml": "x: 1"}, False),
        ({"grip/a.yaml": "x: 2"}, True),
        ({"grip/b.yaml": "x: 1"}, True),
        ({"speed/a.yaml": "x: 1"}, True),
        ({"grip/a.yaml": "x: 1", "grip/c/d.yaml": ""}, True),
        ({"grip/a.yaml": "x: 1", "books/b.yaml": ""}, False),
        ({"grip/a.yaml": "x: 1", "grip/formulas.py": ""}, False),
    ],
)
def test_a_changed_table_is_another_judgement(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, book: Rulebook, content: dict[str, str], changes: bool
) -> None:
    """By name, place and content; rulebooks count as they are read."""
    digests = []
    for name, one in (("before", {"grip/a.yaml": "x: 1"}), ("after", content)):
        folder = _as_files(tmp_path / name, one)
        monkeypatch.setattr(provenance, "_tables", lambda folder=folder: tuple(provenance._data_files(folder, "")))
        digests.append(judgement_sha256(book))
    assert (digests[0] != digests[1]) == changes


def test_rules_and_version_are_covered(monkeypatch: pytest.MonkeyPatch, book: Rulebook) -> None:
    """The version stands for the code of the formulas."""
    usual = judgement_sha256(book)
    assert judgement_sha256(replace(book, digest="0" * 64)) != usual
    monkeypatch.setattr(provenance, "VERSION", "0.0.0")
    assert judgement_sha256(book) != usual


def test_an_adjustment_counts_until_its_last_day(tmp_path: Path, book: Rulebook) -> None:
    """The judgement changes with its beginning and its end, and with no day between."""
    _as_files(tmp_path, {"shop.yaml": BOOK})
    days = [date(2025, 1, 1), date(2026, 1, 31), date(2026, 2, 1), date(2027, 1, 1)]
    during, last, after, later = (judgement_sha256(Assessor.load([tmp_path], today=day).book) for day in days)
    assert during == last != after == later == judgement_sha256(book)
