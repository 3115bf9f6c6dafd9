"""Load rulebooks from folders: read, check, merge and lint them, and report every defect at once."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final

import yaml

from rules.rulebook.book import SEVERITIES, BookHead, Example, Overridden, Rule, Rulebook, RuleEntry
from rules.rulebook.linting import Checked, lint_entry, lint_limits
from rules.rulebook.source import Problem, RulebookError, Source, Step, read_source, validated
from rules.rulebook.vocabulary import Vocabulary, load_vocabulary

__all__ = [
    "base_names",
    "base_request",
    "example_request",
    "load_books",
    "rule_of",
]


VOCABULARY_NAME: Final = "vocabulary.yaml"
"""The one YAML file in a folder of books that is not a book."""


def load_books(folders: Sequence[Path | Traversable], vocabulary: Vocabulary | None = None) -> Rulebook:
    """Load every ``*.yaml`` of the folders, folder by folder, sorted by name.

    A rule of a later folder with ``replaces: true`` replaces the rule of that code in an earlier folder. A replaced
    safety rule remains a safety rule, and ``overridden`` lists it if its severity was lowered.
    The default vocabulary is the package's own.
    Raises :class:`~rules.rulebook.source.RulebookError` with every defect of every file.
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
    problems.extend(lint_limits(rules, known))
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
                reason = "a folder cannot extend the vocabulary"
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

    if (checked := lint_entry(entry, vocabulary, report)) is None:
        return None
    return rule_of(entry, checked, book, short, source.lines.at(path))


def rule_of(entry: RuleEntry, checked: Checked, book: str, file: str, line: int) -> Rule:
    """Return the rule that a checked entry makes, with a remedy and a source where none is written."""
    fields = {name: getattr(entry, name) for name in RuleEntry.model_fields}
    fields |= {
        "thresholds": checked.thresholds,
        "observed": checked.observed,
        "limit": checked.limit,
        "unit": checked.unit,
        "remedy": entry.remedy or f"Meet the requirement of rule {entry.code}.",
        "source": entry.source or f"rulebook {book}",
    }
    return Rule(**fields, scope=checked.scope, requirement=checked.requirement, book=book, file=file, line=line)


class _Merged:
    """Rules of all folders read so far, by code."""

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
            reason = f"the code is already used: {earlier.file}, line {earlier.line}"
        elif not rule.replaces:
            reason = f"the code is already used in {earlier.file}; to replace that rule, write replaces: true"
        elif earlier.safety and not rule.safety:
            reason = "replaces a safety rule and needs safety: true"
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
        "rules": [rule.model_dump(mode="json", include=set(RuleEntry.model_fields), by_alias=True) for rule in rules],
        "vocabulary": {
            kind: {name: known.model_dump(mode="json") for name, known in properties.items()}
            for kind, properties in vocabulary.kinds.items()
        },
    }
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def _bases() -> Mapping[str, dict[str, Any]]:
    folder = files("rules").joinpath("books", "bases")
    return {
        file.name.removesuffix(".yaml"): yaml.safe_load(file.read_text(encoding="utf-8"))
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if file.name.endswith(".yaml")
    }


def base_names() -> tuple[str, ...]:
    """Return the names of the base requests."""
    return tuple(_bases())


def base_request(name: str) -> dict[str, Any]:
    """Return a copy of a base request, free to change; raises KeyError for an unknown name."""
    return copy.deepcopy(_bases()[name])


def example_request(example: Example) -> dict[str, Any]:
    """Return the base of an example with its values set and its fields removed.

    Pointers are RFC 6901; a set with "-" at the end appends to a list. Raises KeyError or IndexError
    for a place that does not exist.
    """
    request = base_request(example.base)
    for pointer, value in example.set.items():
        holder, last = _holder(request, pointer)
        if isinstance(holder, list) and last == "-":
            holder.append(copy.deepcopy(value))
        else:
            holder[int(last) if isinstance(holder, list) else last] = copy.deepcopy(value)
    for pointer in example.remove:
        holder, last = _holder(request, pointer)
        del holder[int(last) if isinstance(holder, list) else last]
    return request


def _holder(request: dict[str, Any], pointer: str) -> tuple[Any, str]:
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    place: Any = request
    for step in steps[:-1]:
        place = place[int(step)] if isinstance(place, list) else place[step]
    return place, steps[-1]
