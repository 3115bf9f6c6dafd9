"""Loading rulebooks from folders: read, checked, merged, linted; every defect is reported at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final

from rules.rulebook.closed_model import validated
from rules.rulebook.limits import lint_limits
from rules.rulebook.linter import lint_entry
from rules.rulebook.model import SEVERITIES, BookHead, Overridden, Rule, Rulebook, RuleEntry
from rules.rulebook.problem import Problem, RulebookError
from rules.rulebook.vocabulary import Vocabulary, load_vocabulary
from rules.rulebook.yaml_source import Source, Step, read_source

__all__ = ["VOCABULARY_NAME", "load_books"]

VOCABULARY_NAME: Final = "vocabulary.yaml"
"""The file in a folder of books that is no book."""


def load_books(folders: Sequence[Path | Traversable], vocabulary: Vocabulary | None = None) -> Rulebook:
    """Load every ``*.yaml`` of the folders, folder by folder, sorted by name.

    A rule of a later folder may replace one of an earlier folder when it says ``replaces: true``; a safety
    rule stays one, and is noted in ``overridden`` when its severity is lowered.
    The vocabulary is the package's own unless given.
    Raises :class:`~rules.rulebook.problem.RulebookError` with every defect of every file.
    """
    known = vocabulary if vocabulary is not None else load_vocabulary()
    problems: list[Problem] = []
    merged = _Merged(problems)
    for folder in folders:
        merged.next_folder()
        for file in _books(folder, known, problems):
            for rule in _read_book(file, f"{folder.name}/{file.name}", known, problems):
                merged.add(rule, str(file))
    rules = merged.rules()
    if not rules and not problems:
        problems.append(Problem(", ".join(map(str, folders)), 0, "", "no rule in any folder"))
    problems.extend(lint_limits(rules))
    if problems:
        raise RulebookError(problems)
    return Rulebook(rules, known, merged.overridden(), _digest(rules, known))


def _books(folder: Path | Traversable, vocabulary: Vocabulary, problems: list[Problem]) -> Iterable[Path | Traversable]:
    if not folder.is_dir():
        problems.append(Problem(str(folder), 0, "", "is not a folder"))
        return
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".yml"):
            problems.append(Problem(str(file), 0, "", "a book's name ends in .yaml"))
        elif file.name == VOCABULARY_NAME:
            if str(file) != vocabulary.file:
                reason = "the vocabulary belongs to the program and can't be added to by folder"
                problems.append(Problem(str(file), 0, "", reason))
        elif file.name.endswith(".yaml"):
            yield file


def _read_book(file: Path | Traversable, short: str, vocabulary: Vocabulary, problems: list[Problem]) -> Iterable[Rule]:
    source = read_source(file)
    head, defects = None, list(source.problems)
    if not defects:
        head, defects = validated(BookHead, source.value, source, ())
    problems.extend(defects)
    if head is None:
        return
    for index, raw in enumerate(head.rules):
        if rule := _read_rule(raw, source, index, head.book, short, vocabulary, problems):
            yield rule


def _read_rule(
    raw: object,
    source: Source,
    index: int,
    book: str,
    short: str,
    vocabulary: Vocabulary,
    problems: list[Problem],
) -> Rule | None:
    path: tuple[Step, ...] = ("rules", index)
    code = raw["code"] if isinstance(raw, dict) and isinstance(raw.get("code"), str) else ""
    entry, defects = validated(RuleEntry, raw, source, path, code)
    problems.extend(defects)
    if entry is None:
        return None

    def report(below: tuple[Step, ...], reason: str) -> None:
        problems.append(Problem(source.file, source.lines.at((*path, *below)), code, reason))

    if (condition := lint_entry(entry, vocabulary, report)) is None:
        return None
    fields = {name: getattr(entry, name) for name in RuleEntry.model_fields}
    return Rule(**fields, condition=condition, book=book, file=short, line=source.lines.at(path))


class _Merged:
    """The rules of all folders so far, one a code."""

    def __init__(self, problems: list[Problem]) -> None:
        self._problems = problems
        self._folder = 0
        self._in_force: dict[str, tuple[int, Rule]] = {}
        self._first: dict[str, Rule] = {}

    def next_folder(self) -> None:
        self._folder += 1

    def add(self, rule: Rule, file: str) -> None:
        folder, earlier = self._in_force.get(rule.code, (0, None))
        reason = None
        if earlier is None:
            if rule.replaces:
                reason = "replaces a rule that is in no earlier folder"
        elif folder == self._folder:
            reason = f"the code is taken already: {earlier.file}, line {earlier.line}"
        elif not rule.replaces:
            reason = f"the code is taken by {earlier.file}; to replace that rule say replaces: true"
        elif earlier.safety and not rule.safety:
            reason = "replaces a safety rule and must say safety: true itself"
        if reason:
            self._problems.append(Problem(file, rule.line, rule.code, reason))
        else:
            self._in_force[rule.code] = (self._folder, rule)
            self._first.setdefault(rule.code, rule)

    def rules(self) -> tuple[Rule, ...]:
        return tuple(rule for _, (_, rule) in sorted(self._in_force.items()))

    def overridden(self) -> tuple[Overridden, ...]:
        found: list[Overridden] = []
        for rule in self.rules():
            first = self._first[rule.code]
            lowered = SEVERITIES.index(rule.severity) < SEVERITIES.index(first.severity)
            if first.safety and lowered:
                found.append(Overridden(rule.code, first.severity, rule.severity, rule.file))
        return tuple(found)


def _digest(rules: Iterable[Rule], vocabulary: Vocabulary) -> str:
    content = {
        "rules": [rule.model_dump(mode="json", include=set(RuleEntry.model_fields)) for rule in rules],
        "vocabulary": {
            kind: {name: known.model_dump(mode="json") for name, known in properties.items()}
            for kind, properties in vocabulary.kinds.items()
        },
    }
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
