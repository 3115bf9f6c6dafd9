"""Load rulebooks from folders: read, check, merge and lint them, and report every defect at once."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final, NamedTuple

from rules.quantities.tables import read_definitions
from rules.rulebook.book import (
    SEVERITIES,
    Adjustment,
    AdjustmentEntry,
    BookHead,
    Example,
    Overridden,
    Rule,
    Rulebook,
    RuleEntry,
)
from rules.rulebook.linting import Checked, lint_adjustment, lint_entry, lint_limits
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


def load_books(
    folders: Sequence[Path | Traversable], vocabulary: Vocabulary | None = None, today: date | None = None
) -> Rulebook:
    """Load every ``*.yaml`` of the folders, folder by folder, sorted by name.

    A rule of a later folder with ``replaces: true`` replaces the rule of that code in an earlier folder. A replaced
    safety rule remains a safety rule, and ``overridden`` lists it if its severity was lowered. Adjustments change rules
    of their own or an earlier folder. A folder ``bases`` inside one of the folders holds base requests for examples.
    The default vocabulary is that of what the analysis computes. Adjustments that end before ``today`` do not count;
    all count if it is None.
    Raises :class:`~rules.rulebook.source.RulebookError` with every defect of every file.
    """
    known = vocabulary if vocabulary is not None else load_vocabulary()
    problems: list[Problem] = []
    merged = _Merged(problems)
    raw: list[_RawAdjustment] = []
    bases: dict[str, Any] = {}
    revisions: dict[str, str] = {}
    for folder in folders:
        merged.next_folder()
        for file in _books(folder, known, problems):
            short = f"{folder.name}/{file.name}"
            head, source = _read_head(file, problems)
            if head is None:
                continue
            if head.revision is not None:
                revisions[head.book] = head.revision
            for rule in _read_rules(head, source, short, known, problems):
                merged.add(rule, str(file))
            raw += [_RawAdjustment(one, source, short, place) for place, one in enumerate(head.adjust)]
        _read_bases(folder, bases, problems)
    rules = merged.rules()
    adjustments = [one for entry in raw if (one := _adjustment(entry, rules, known, problems)) is not None]
    if not rules and not problems:
        problems.append(Problem(", ".join(map(str, folders)), 0, "", "no rule in any folder"))
    problems.extend(lint_limits(rules, known))
    if problems:
        raise RulebookError(problems)
    current = tuple(one for one in adjustments if today is None or one.entry.until is None or today <= one.entry.until)
    return Rulebook(
        rules,
        known,
        merged.overridden(),
        _digest(rules, known, current),
        current,
        tuple(one for one in adjustments if one not in current),
        merged.originals(),
        bases,
        revisions,
        merged.own(),
    )


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


class _RawAdjustment(NamedTuple):
    raw: object
    source: Source
    short: str
    place: int


def _adjustment(
    one: _RawAdjustment, rules: Sequence[Rule], vocabulary: Vocabulary, problems: list[Problem]
) -> Adjustment | None:
    path: tuple[Step, ...] = ("adjust", one.place)
    code = one.raw.get("code") if isinstance(one.raw, dict) else None
    code = code if isinstance(code, str) else ""
    entry, defects = validated(AdjustmentEntry, one.raw, one.source, path, code)
    problems.extend(defects)
    if entry is None:
        return None

    def report(below: tuple[Step, ...], reason: str) -> None:
        problems.append(Problem(one.source.file, one.source.lines.at((*path, *below)), code, reason))

    rule = next((rule for rule in rules if rule.code == code), None)
    if rule is None:
        if not any(problem.code == code for problem in problems):  # a rule with a defect is reported as that
            report(("code",), f"there is no rule {code} to adjust")
        return None
    return lint_adjustment(entry, rule, vocabulary, one.short, one.source.lines.at(path), report)


def _read_bases(folder: Path | Traversable, bases: dict[str, Any], problems: list[Problem]) -> None:
    """Read the base requests of a shop's folder; those of this package are read when an example asks for them."""
    inside = folder.joinpath("bases")
    if str(inside) == str(files("rules").joinpath("books", "bases")) or not inside.is_dir():
        return
    for file in sorted(inside.iterdir(), key=lambda entry: entry.name):
        name = file.name.removesuffix(".yaml")
        if name == file.name:
            problems.append(Problem(str(file), 0, "", "a base request's name ends in .yaml"))
        elif name in _bases() or name in bases:
            problems.append(Problem(str(file), 0, "", f"there is a base request {name} already; choose another name"))
        else:
            source = read_source(file)
            problems.extend(source.problems)
            bases[name] = source.value


def _read_head(file: Path | Traversable, problems: list[Problem]) -> tuple[BookHead | None, Source]:
    source = read_source(file)
    head, defects = None, list(source.problems)
    if not defects:
        head, defects = validated(BookHead, source.value, source, ())
    problems.extend(defects)
    return head, source


def _read_rules(
    head: BookHead, source: Source, short: str, vocabulary: Vocabulary, problems: list[Problem]
) -> Iterable[Rule]:
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
        "always": checked.always,
        "remedy": entry.remedy or RuleEntry.default_remedy(entry.code),
        "source": entry.source or RuleEntry.default_source(book),
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

    def own(self) -> frozenset[str]:
        """Return the codes of the rules that are not of the first folder."""
        return frozenset(code for code, (folder, _) in self._in_force.items() if folder > 1)

    def originals(self) -> dict[str, Rule]:
        """Return the first rule of each code that another folder replaced."""
        return {rule.code: self._first[rule.code] for rule in self.rules() if rule is not self._first[rule.code]}

    def overridden(self) -> tuple[Overridden, ...]:
        found: list[Overridden] = []
        for rule in self.rules():
            first = self._first[rule.code]
            lowered = SEVERITIES.index(rule.severity) < SEVERITIES.index(first.severity)
            if first.safety and lowered:
                found.append(Overridden(rule.code, first.severity, rule.severity, rule.file))
        return tuple(found)


def _digest(rules: Iterable[Rule], vocabulary: Vocabulary, adjustments: Iterable[Adjustment]) -> str:
    content = {
        "adjust": [one.entry.model_dump(mode="json") for one in adjustments],
        "rules": [rule.content for rule in rules],
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
        file.name.removesuffix(".yaml"): read_definitions(file)
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if file.name.endswith(".yaml")
    }


def base_names() -> tuple[str, ...]:
    """Return the names of the base requests."""
    return tuple(_bases())


def base_request(name: str, further: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return a copy of a base request, free to change; raises KeyError for an unknown name.

    ``further`` are the base requests of a shop.
    """
    found = (further or {}).get(name)
    return copy.deepcopy(_bases()[name] if found is None else found)


def example_request(example: Example, bases: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return the base of an example with its values set and its fields removed.

    Pointers are RFC 6901; a set with "-" at the end appends to a list. Raises KeyError or IndexError
    for a place that does not exist.
    """
    request = base_request(example.base, bases)
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
