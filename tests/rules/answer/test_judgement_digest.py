"""The digest of what judges changes with each part of it, and with nothing else."""

from __future__ import annotations

import os
import py_compile
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from importlib.machinery import EXTENSION_SUFFIXES
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import pytest

import rules
from rules.answer import provenance
from rules.answer.provenance import EXAMPLE_JUDGEMENT, UnknownJudgementError, judgement_sha256
from rules.assessor import Assessor
from rules.rulebook.book import Rulebook
from rules.schema.request import CheckRequest
from service.cli import FAULT

PACKAGE = Path(rules.__file__).parent
REQUEST = CheckRequest.model_validate({"stack": {"components": [{"id": "mill", "kind": "cutter"}]}})

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


def test_every_source_and_data_file_beside_the_books_is_covered() -> None:
    """However deep in the package it lies."""
    found = (file for end in ("c", "py", "yaml") for file in PACKAGE.rglob(f"*.{end}"))
    expected = {file.relative_to(PACKAGE).as_posix() for file in found}
    covered = dict(provenance._files())
    assert set(covered) == {name for name in expected if not name.startswith("books/")}
    assert {"grip/formulas.py", "gate/gate_requirements.yaml", "rulebook/engine.py"} <= set(covered)


@pytest.mark.parametrize(
    ("content", "changes"),
    [
        ({"grip/a.yaml": "x: 1"}, False),
        ({"grip/a.yaml": "x: 2"}, True),
        ({"grip/b.yaml": "x: 1"}, True),
        ({"speed/a.yaml": "x: 1"}, True),
        ({"grip/a.yaml": "x: 1", "grip/c/d.yaml": ""}, True),
        ({"grip/a.yaml": "x: 1", "books/b.yaml": ""}, False),
        ({"grip/a.yaml": "x: 1", "grip/a.md": ""}, False),
        ({"grip/a.yaml": "x: 1", "grip/formulas.py": ""}, True),
    ],
)
def test_a_changed_file_is_another_judgement(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, book: Rulebook, content: dict[str, str], changes: bool
) -> None:
    """By name, place and content; rulebooks count as they are read."""
    digests = []
    for name, one in (("before", {"grip/a.yaml": "x: 1"}), ("after", content)):
        folder = _as_files(tmp_path / name, one)
        monkeypatch.setattr(provenance, "_files", lambda folder=folder: _found(folder))
        digests.append(judgement_sha256(book))
    assert (digests[0] != digests[1]) == changes


def _found(folder: Path) -> tuple[tuple[str, str], ...]:
    return tuple(provenance._judging_files(folder, ""))


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """A copy of the package, as an installer or a checkout makes it."""
    return shutil.copytree(PACKAGE, tmp_path / "copied", ignore=shutil.ignore_patterns("__pycache__"))


def _change(file: Path, before: bytes, after: bytes) -> None:
    content = file.read_bytes()
    assert before in content
    file.write_bytes(content.replace(before, after))


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [
        ("grip/formulas.py", b"friction *", b"2.0 * friction *"),
        ("grip/formulas.py", b"def ", b"# a comment\ndef "),
        ("rulebook/engine.py", b"def judge(", b"def  judge("),
        ("gate/gate.py", b"may_start", b"may_begin"),
        ("kernel/_laws.c", b"sqrt(", b"fabs("),
    ],
)
def test_a_changed_formula_is_another_judgement(copied: Path, name: str, before: bytes, after: bytes) -> None:
    """Without another version, too; only the changed file counts."""
    assert _found(copied) == provenance._files()
    _change(copied / name, before, after)
    assert {changed for changed, _ in set(_found(copied)) ^ set(provenance._files())} == {name}


def test_line_ends_and_compiled_files_make_no_difference(copied: Path) -> None:
    """As a checkout on another system has them, and as an installer leaves them."""
    for end in ("c", "py", "yaml"):
        for file in copied.rglob(f"*.{end}"):
            _change(file, b"\n", b"\r\n")
    for compiled in ("grip/formulas.pyc", "grip/__pycache__/formulas.cpython-311.pyc", "grip/__pycache__/old.so"):
        (copied / compiled).parent.mkdir(exist_ok=True)
        (copied / compiled).touch()
    assert sorted(_found(copied)) == sorted(provenance._files())


@pytest.mark.parametrize(
    "name", ["formulas.pyc", f"formulas{EXTENSION_SUFFIXES[0]}", f"report{EXTENSION_SUFFIXES[-1]}"]
)
def test_code_without_its_source_is_refused(copied: Path, name: str) -> None:
    """Whatever Python would load in place of a source file, beside it or without it."""
    (copied / "grip" / "formulas.py").unlink()
    (copied / "grip" / name).touch()
    with pytest.raises(UnknownJudgementError, match=rf"rules/grip/{re.escape(name)} "):
        _found(copied)


def test_a_command_without_the_sources_says_so(copied: Path, tmp_path: Path) -> None:
    """One line and no report, since nobody could say what judged."""
    copied.rename(tmp_path / "rules")
    source = tmp_path / "rules" / "grip" / "formulas.py"
    py_compile.compile(str(source), cfile=str(source.with_suffix(".pyc")), doraise=True)
    source.unlink()
    stack = PACKAGE.parent / "demo_data" / "stacks" / "01-deep-rib-shrink-extension.json"
    run = [sys.executable, "-c", "import sys; from service.__main__ import main; sys.exit(main())", "check", str(stack)]
    path = os.pathsep.join((str(tmp_path), str(PACKAGE.parent)))
    done = subprocess.run(
        run, cwd=tmp_path, env=os.environ | {"PYTHONPATH": path}, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (FAULT, "")
    (line,) = done.stderr.splitlines()
    assert line.startswith("rules/grip/formulas.pyc ")


def test_rules_version_and_libraries_are_covered(monkeypatch: pytest.MonkeyPatch, book: Rulebook) -> None:
    """Each of them alone."""
    digests = [judgement_sha256(book), judgement_sha256(replace(book, digest="0" * 64))]
    with monkeypatch.context() as changed:
        changed.setattr(provenance, "VERSION", "0.0.0")
        digests.append(judgement_sha256(book))
    build = dict(provenance._build())
    assert {"durable-rules", "numpy", "scipy"} <= set(build)
    for name in build:
        monkeypatch.setattr(provenance, "_build", lambda name=name: tuple((build | {name: "0"}).items()))
        digests.append(judgement_sha256(book))
    assert len(set(digests)) == len(digests)


def test_a_library_without_a_version_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its judgement could not be told from another one's."""

    def unknown(name: str) -> str:
        raise PackageNotFoundError(name)

    monkeypatch.setattr(provenance, "installed_version", unknown)
    with pytest.raises(UnknownJudgementError, match="durable-rules"):
        provenance._build.__wrapped__()


def test_only_examples_show_no_digest(book: Rulebook) -> None:
    """They judge alike; what is loaded to judge requests has its own digest."""
    assessor = Assessor.load()
    shown = assessor.for_examples().assess(REQUEST)
    told = assessor.assess(REQUEST)
    assert shown.provenance.judgement_sha256 == EXAMPLE_JUDGEMENT
    assert told.provenance.judgement_sha256 == judgement_sha256(book) != EXAMPLE_JUDGEMENT
    assert shown.findings == told.findings


def test_an_adjustment_counts_until_its_last_day(tmp_path: Path, book: Rulebook) -> None:
    """The judgement changes with its beginning and its end, and with no day between."""
    _as_files(tmp_path, {"shop.yaml": BOOK})
    days = [date(2025, 1, 1), date(2026, 1, 31), date(2026, 2, 1), date(2027, 1, 1)]
    during, last, after, later = (judgement_sha256(Assessor.load([tmp_path], today=day).book) for day in days)
    assert during == last != after == later == judgement_sha256(book)
