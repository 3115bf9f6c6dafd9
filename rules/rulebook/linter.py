"""The linter of single rules: what a rule may mention, compare and print."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Final

from rules.rulebook.condition import (
    Comparison,
    Condition,
    PropertyRef,
    ThresholdRef,
    comparisons,
    parse_condition,
    plain_unit,
)
from rules.rulebook.model import Rule, RuleEntry
from rules.rulebook.problem import Problem
from rules.rulebook.vocabulary import NAME_PATTERN, UNITS, Property, Vocabulary
from rules.rulebook.wording import placeholders
from rules.rulebook.yaml_source import Step

__all__ = ["lint_entry", "lint_rules"]

_RESERVED: Final = {"GATE": "what a gate asks beyond the rules", "REQ": "the requirement of a search"}
"""Families of codes that no rulebook may use, since they are told beside those of rules."""

Report = Callable[[tuple[Step, ...], str], None]


def lint_entry(entry: RuleEntry, vocabulary: Vocabulary, report: Report) -> Condition | None:
    """Check one rule against the vocabulary; its condition, or None after everything wrong was reported.

    ``report`` takes the path of the defect below the rule and the reason.
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
    """Check rules that are already loaded, for instance put together by a program."""
    problems: list[Problem] = []
    for rule in rules:
        found: list[str] = []
        condition = lint_entry(rule, vocabulary, lambda _path, reason, found=found: found.append(reason))  # type: ignore[misc]
        if condition is not None and condition != rule.condition:
            found.append("the condition is not the one its text says")
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
            yield ("needs", index), f"needs {name!r}, which the vocabulary does not know on a {kind}"
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
            yield (field,), f"{field} has the place {{{name}}}, which is neither under needs nor a threshold"


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
            yield path, f"{name!r} is no name for a threshold: small letters, digits and underscores"
        if name in properties:
            yield path, f"the threshold {name} has the name of a property"
        if threshold.unit not in UNITS and threshold.unit != "x D":
            yield path, f"unknown unit {threshold.unit!r}; there are: {', '.join(UNITS)}, x D"
        if condition is not None and name not in used:
            yield path, f"the threshold {name} decides nothing"
