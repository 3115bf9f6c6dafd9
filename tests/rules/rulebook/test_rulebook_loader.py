"""Loading folders of books: order, replacement, digest and defects."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from rules.rulebook.book import Overridden, Rulebook
from rules.rulebook.loader import load_books
from rules.rulebook.source import Problem, RulebookError
from tests.support.rulebooks import BOOKS, rule_entry, small_book, small_vocabulary


def write(folder: Path, *rules: dict[str, Any], name: str = "book.yaml") -> Path:
    folder.mkdir(exist_ok=True)
    book = {"book": "test", "version": "1", "title": "A test", "rules": list(rules)}
    (folder / name).write_text(yaml.safe_dump(book, sort_keys=False, allow_unicode=True), encoding="utf-8")
    return folder


def load(*folders: Path) -> Rulebook:
    return load_books(folders, small_vocabulary())


def refused(*folders: Path) -> tuple[Problem, ...]:
    with pytest.raises(RulebookError) as caught:
        load(*folders)
    return caught.value.problems


def test_the_rules_of_all_books_are_ordered_by_code() -> None:
    """Whatever the file they stand in; each knows its book, file and line."""
    book = small_book()
    assert [rule.code for rule in book.rules] == sorted(rule.code for rule in book.rules)
    assert {rule.file for rule in book.rules} == {"books/joints.yaml", "books/stacks.yaml"}
    rule = book.rule("GRIP-020")
    assert (rule.book, rule.file) == ("joints", "books/joints.yaml")
    assert "GRIP-020" in (BOOKS / "joints.yaml").read_text(encoding="utf-8").splitlines()[rule.line - 1]
    with pytest.raises(KeyError):
        book.rule("GRIP-999")


def test_a_rule_says_what_is_written() -> None:
    """Every field arrives, examples with their patches."""
    rule = small_book().rule("GRIP-010")
    assert rule.safety
    assert rule.needs == ("grip_length_mm", "minimum_grip_mm")
    assert (rule.observed, rule.limit, rule.unit) == ("grip_length_mm", "minimum_grip_mm", "mm")
    (example,) = rule.examples.undecided
    assert (example.name, example.base, example.remove) == (
        "no length",
        "plain",
        ("/joints/0/grip_length_mm",),
    )
    assert rule.examples.fires[0].set == {"/joints/0/grip_length_mm": 5}
    assert small_book().rule("GRIP-020").thresholds["loose_um"].value == 25


def test_a_later_folder_replaces_a_rule_that_says_so(tmp_path: Path) -> None:
    """The later rule is in force; an ordinary rule made milder is nobody's business."""
    first = write(tmp_path / "a", rule_entry(), rule_entry("GRIP-020"))
    later = write(tmp_path / "b", rule_entry(severity="advice", title="Milder", replaces=True))
    book = load(first, later)
    assert [(rule.code, rule.title, rule.file) for rule in book.rules] == [
        ("GRIP-010", "Milder", "b/book.yaml"),
        ("GRIP-020", "A rule", "a/book.yaml"),
    ]
    assert book.overridden == ()


def test_a_safety_rule_made_milder_is_recorded(tmp_path: Path) -> None:
    """With its first and its last severity, over as many folders as there are."""
    first = write(tmp_path / "a", rule_entry(safety=True), rule_entry("GRIP-020", safety=True, severity="warning"))
    second = write(
        tmp_path / "b",
        rule_entry(safety=True, severity="warning", replaces=True),
        rule_entry("GRIP-020", safety=True, severity="error", replaces=True),
    )
    third = write(tmp_path / "c", rule_entry(safety=True, severity="advice", replaces=True))
    assert load(first).overridden == ()
    assert load(first, second).overridden == (Overridden("GRIP-010", "error", "warning", "b/book.yaml"),)
    assert load(first, second, third).overridden == (Overridden("GRIP-010", "error", "advice", "c/book.yaml"),)


def test_a_safety_rule_stays_one(tmp_path: Path) -> None:
    """Else a third folder could make it milder without a word."""
    first = write(tmp_path / "a", rule_entry(safety=True))
    (problem,) = refused(first, write(tmp_path / "b", rule_entry(replaces=True)))
    assert problem.reason.endswith(" safety rule and needs safety: true")


def test_a_code_taken_is_refused_with_the_place_of_the_other(tmp_path: Path) -> None:
    """In one folder always, in a later one unless it says that it replaces."""
    first = write(tmp_path / "a", rule_entry())
    write(first, rule_entry(replaces=True), name="second.yaml")
    (problem,) = refused(first)
    assert problem == Problem(
        str(first / "second.yaml"), 5, "GRIP-010", "the code is already used: a/book.yaml, line 5"
    )
    (first / "second.yaml").unlink()
    (problem,) = refused(first, write(tmp_path / "b", rule_entry()))
    assert "already used in a/book.yaml; " in problem.reason


def test_the_digest_is_one_of_content_only(tmp_path: Path) -> None:
    """Moving, splitting and commenting change nothing; a word of a rule or of a threshold does."""
    rules = [rule_entry(), rule_entry("GRIP-020")]
    digest = load(write(tmp_path / "a", *rules)).digest
    assert len(bytes.fromhex(digest)) == 32
    split = write(tmp_path / "b", rules[1])
    write(split, rules[0], name="other.yaml")
    (split / "other.yaml").write_text("# a remark\n" + (split / "other.yaml").read_text())
    assert load(split).digest == digest
    assert load(write(tmp_path / "c", rule_entry(why="Other."), rules[1])).digest != digest


def test_what_is_no_book_is_told(tmp_path: Path) -> None:
    """A missing folder, a book that would be passed over, another vocabulary, and nothing at all."""
    (problem,) = refused(tmp_path / "none")
    assert (problem.line, problem.reason) == (0, "is not a folder")
    folder = write(tmp_path / "a", rule_entry())
    (folder / "more.yml").write_text("book: more")
    (folder / "vocabulary.yaml").write_text("joint: {}")
    (folder / "read.me").write_text("not a book")
    assert [problem.reason for problem in refused(folder)] == [
        "a book's name ends in .yaml",
        "a folder cannot extend the vocabulary",
    ]
    (tmp_path / "empty").mkdir()
    (problem,) = refused(tmp_path / "empty")
    assert problem.reason == "no rule in any folder"


@pytest.mark.parametrize("hidden", ["\x85", "\u2028", "\u2029"])
def test_a_line_break_that_is_not_shown_is_refused(tmp_path: Path, hidden: str) -> None:
    """YAML 1.1, 5.4: these break lines; an editor shows the comment going on, and the rule would be in force."""
    (tmp_path / "book.yaml").write_text(f"book: hidden\n# a note{hidden}rules: []\n", encoding="utf-8")
    (problem,) = refused(tmp_path)
    assert problem.line == 2
    assert f"U+{ord(hidden):04X}" in problem.reason


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"book: \xff", "not written in UTF-8"),
        (b"", "the entry must be a mapping"),
        (b"- a", "the entry must be a mapping"),
        (b"[" * 800 + b"]" * 800, "nested too deeply"),
        (b"[" * 5_000, "not readable as YAML"),
    ],
)
def test_a_file_that_can_not_be_read_is_told(tmp_path: Path, content: bytes, reason: str) -> None:
    """As a problem of that file; the loader itself does not fall over."""
    (tmp_path / "book.yaml").write_bytes(content)
    (problem,) = refused(tmp_path)
    assert problem.file == str(tmp_path / "book.yaml")
    assert reason in problem.reason


def test_a_rule_is_read_only() -> None:
    """Nobody changes a rule in force."""
    with pytest.raises(ValueError, match="frozen"):
        small_book().rules[0].title = "x"  # type: ignore[misc]
