"""Load rulebooks from folders: read, check, merge and lint them, and report every defect at once."""

from __future__ import annotations

import copy
import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final

import yaml

from rules.rulebook.book import SEVERITIES, BookHead, Example, Overridden, Rule, Rulebook, RuleEntry
from rules.rulebook.condition import (
    Comparison,
    Condition,
    PropertyRef,
    ThresholdRef,
    comparisons,
    parse_condition,
    plain_unit,
)
from rules.rulebook.fact import placeholders
from rules.rulebook.source import Problem, RulebookError, Source, Step, read_source, validated
from rules.rulebook.vocabulary import NAME_PATTERN, UNITS, Property, Vocabulary, load_vocabulary

__all__ = [
    "MAX_COMPARISONS",
    "MAX_RULES",
    "base_names",
    "base_request",
    "example_request",
    "lint_entry",
    "lint_limits",
    "lint_rules",
    "load_books",
]


_RESERVED: Final = {"GATE": "the required data of a gate", "REQ": "the requirement of a search"}
"""Code families that no rulebook may use, since other messages of a report use them."""

Report = Callable[[tuple[Step, ...], str], None]


def lint_entry(entry: RuleEntry, vocabulary: Vocabulary, report: Report) -> Condition | None:
    """Check one rule against the vocabulary; return its condition, or None after reporting every defect.

    ``report`` takes the path of a defect below the rule, and its reason.
    """
    defects: list[str] = []

    def note(path: tuple[Step, ...], reason: str) -> None:
        defects.append(reason)
        report(path, reason)

    properties = vocabulary.of(entry.applies_to)
    condition = parse_condition(
        entry.when, properties, entry.thresholds, lambda path, reason: note(("when", *path), reason)
    )
    for path, reason in _defects(entry, properties, condition):
        note(path, reason)
    return None if defects else condition


def lint_rules(rules: tuple[Rule, ...], vocabulary: Vocabulary) -> list[Problem]:
    """Check rules that are already loaded, for example rules composed by a program."""
    problems: list[Problem] = []
    for rule in rules:
        found: list[str] = []
        condition = lint_entry(rule, vocabulary, lambda _path, reason, found=found: found.append(reason))  # type: ignore[misc]
        if condition is not None and condition != rule.condition:
            found.append("the condition differs from its text")
        problems.extend(Problem(rule.file, rule.line, rule.code, reason) for reason in found)
    return problems


def _defects(
    entry: RuleEntry, properties: Mapping[str, Property], condition: Condition | None
) -> Iterator[tuple[tuple[Step, ...], str]]:
    kind = entry.applies_to
    family = entry.code.partition("-")[0]
    if family in _RESERVED:
        yield ("code",), f"codes of the family {family} are those of {_RESERVED[family]}"
    for index, name in enumerate(entry.needs):
        if name not in properties:
            yield ("needs", index), f"needs {name!r}, which is not in the vocabulary of a {kind}"
        if name in entry.needs[:index]:
            yield ("needs", index), f"needs {name!r} twice"
    present = {name for name, known in properties.items() if known.always} | set(entry.needs)
    for comparison in comparisons(condition) if condition else ():
        for name in _properties_of(comparison):
            if name not in present:
                yield ("when",), f"the condition uses {name}, which is not under needs"
    yield from _value_defects(entry, properties, present)
    yield from _template_defects(entry, present)
    yield from _threshold_defects(entry, properties, condition)


def _properties_of(comparison: Comparison) -> Iterator[str]:
    yield comparison.left
    if isinstance(comparison.right, PropertyRef):
        yield comparison.right.name


def _value_defects(
    entry: RuleEntry, properties: Mapping[str, Property], present: set[str]
) -> Iterator[tuple[tuple[Step, ...], str]]:
    if entry.unit not in UNITS and entry.unit != "x D":
        yield ("unit",), f"unknown unit {entry.unit!r}; there are: {', '.join(UNITS)}, x D"
    for field, name in (("observed", entry.observed), ("limit", entry.limit)):
        if name is None:
            continue
        unit = None
        if field == "limit" and name in entry.thresholds:
            unit = entry.thresholds[name].unit
        elif name not in present:
            yield (field,), f"{field} names {name!r}, which is not under needs"
        elif name in properties:
            unit = properties[name].unit
        if unit is not None and plain_unit(unit) != plain_unit(entry.unit):
            yield (field,), f"{field} {name} is in {unit}, the rule's unit is {entry.unit}"


def _template_defects(entry: RuleEntry, present: set[str]) -> Iterator[tuple[tuple[Step, ...], str]]:
    for field, template in (("message", entry.message), ("remedy", entry.remedy)):
        try:
            names = placeholders(template)
        except ValueError as error:
            yield (field,), f"{field}: {error}"
            continue
        for name in sorted(set(names) - present - entry.thresholds.keys()):
            yield (field,), f"{field} has the placeholder {{{name}}}, which is neither under needs nor a threshold"


def _threshold_defects(
    entry: RuleEntry, properties: Mapping[str, Property], condition: Condition | None
) -> Iterator[tuple[tuple[Step, ...], str]]:
    used = {
        comparison.right.name
        for comparison in (comparisons(condition) if condition else ())
        if isinstance(comparison.right, ThresholdRef)
    }
    for name, threshold in entry.thresholds.items():
        path = ("thresholds", name)
        if not re.fullmatch(NAME_PATTERN, name):
            yield path, f"{name!r} is not a valid name of a threshold: lower-case letters, digits and underscores"
        if name in properties:
            yield path, f"the threshold {name} has the name of a property"
        if threshold.unit not in UNITS and threshold.unit != "x D":
            yield path, f"unknown unit {threshold.unit!r}; there are: {', '.join(UNITS)}, x D"
        if condition is not None and name not in used:
            yield path, f"the threshold {name} is not used in the condition"


MAX_RULES: Final = 1_000
"""Rules in total: more than any shop has, and few enough for a check within milliseconds."""

MAX_COMPARISONS: Final = 10
"""Comparisons per rule, under ``all`` and ``any`` alike. With kind and flag that makes twelve; the engine crashes at
sixteen.
"""


def lint_limits(rules: tuple[Rule, ...]) -> list[Problem]:
    """Return every size limit that a set of rules exceeds, each at the first rule beyond it."""
    problems: list[Problem] = []
    if len(rules) > MAX_RULES:
        first = rules[MAX_RULES]
        reason = f"{len(rules)} rules in all; at most {MAX_RULES}"
        problems.append(Problem(first.file, first.line, first.code, reason))
    for rule in rules:
        if (count := len(comparisons(rule.condition))) > MAX_COMPARISONS:
            reason = f"{count} comparisons in one rule; at most {MAX_COMPARISONS}"
            problems.append(Problem(rule.file, rule.line, rule.code, reason))
    return problems


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

    if (condition := lint_entry(entry, vocabulary, report)) is None:
        return None
    fields = {name: getattr(entry, name) for name in RuleEntry.model_fields}
    return Rule(**fields, condition=condition, book=book, file=short, line=source.lines.at(path))


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
        "rules": [rule.model_dump(mode="json", include=set(RuleEntry.model_fields)) for rule in rules],
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
