"""The linter of rules: names, types, units and texts; scope that must be written; conditions that decide nothing."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Final, NamedTuple

from rules.rulebook.book import (
    Adjustment,
    AdjustmentEntry,
    Rule,
    RuleEntry,
    Threshold,
    check_overrides,
    stricter,
)
from rules.rulebook.checking import Scope, in_words, read
from rules.rulebook.expression import (
    Call,
    Comparison,
    Constant,
    Expression,
    ExpressionError,
    Join,
    Listing,
    Name,
    Negation,
    children,
    conjuncts,
    names_in,
    text_of,
)
from rules.rulebook.fact import Value, placeholders
from rules.rulebook.lowering import MAX_COMPARISONS, comparisons_in
from rules.rulebook.source import Problem, Step
from rules.rulebook.vocabulary import NAME_PATTERN, UNITS, Property, Vocabulary

__all__ = [
    "MAX_RULES",
    "Checked",
    "Report",
    "lint_adjustment",
    "lint_entry",
    "lint_limits",
    "lint_rules",
    "rule_in_words",
    "scope_of",
]

RESERVED: Final = {
    "AUD": "what an audit compares",
    "GATE": "the required data of a gate",
    "REQ": "the requirement of a search",
}
"""Code families that no rulebook may use, since other messages of a report use them."""

Report = Callable[[tuple[Step, ...], str], None]
"""Takes the path of a defect below the rule, and its reason."""


class Checked(NamedTuple):
    """What the linter adds to a rule as written."""

    scope: Expression | None
    requirement: Expression
    thresholds: dict[str, Threshold]
    observed: str | None
    limit: str | None
    unit: str
    always: frozenset[str]


def scope_of(entry: RuleEntry, vocabulary: Vocabulary) -> Scope:
    """Return what the names in the expressions of a rule mean."""
    return Scope(entry.applies_to, vocabulary, entry.thresholds, entry.lists)


def rule_in_words(rule: Rule, one: Expression, vocabulary: Vocabulary) -> str:
    """Return a condition of a rule in plain words, with the thresholds that its rulebook sets."""
    limits = {name: limit.value for name, limit in rule.thresholds.items()}
    return in_words(one, scope_of(rule, vocabulary), limits)


def lint_entry(entry: RuleEntry, vocabulary: Vocabulary, report: Report) -> Checked | None:
    """Check one rule against the vocabulary; return what follows from it, or None after reporting every defect."""
    defects: list[str] = []

    def note(path: tuple[Step, ...], reason: str) -> None:
        defects.append(reason)
        report(path, reason)

    for path, reason in _unit_defects(entry):
        note(path, reason)
    if defects:
        return None
    names = scope_of(entry, vocabulary)
    scope = None if entry.where is None else _condition("where", entry.where, names, note)
    requirement = _condition("require", entry.require, names, note)
    if defects or requirement is None:
        return None
    thresholds = _with_units(entry, names)
    if thresholds != entry.thresholds:
        # the unit that one place gives a threshold must fit every other place
        again = Scope(entry.applies_to, vocabulary, thresholds, entry.lists)
        for name, text in (("where", entry.where), ("require", entry.require)):
            if text is not None:
                _condition(name, text, again, note)
        if defects:
            return None
    checked = _completed(entry, vocabulary, scope, requirement, thresholds)
    for path, reason in _defects(entry, vocabulary.of(entry.applies_to), checked):
        note(path, reason)
    if not defects:
        for path, reason in _idle(
            scope, requirement, {name: one.value for name, one in thresholds.items()}, vocabulary.of(entry.applies_to)
        ):
            note(path, reason)
    return None if defects else checked


def _condition(name: str, text: str, scope: Scope, note: Report) -> Expression | None:
    try:
        found = read(text, scope)
    except ExpressionError as error:
        note((name,), f"{name}: {error}")
        return None
    if found.type != "flag":
        note((name,), f"{name} is a condition; {text_of(found.expression)} is a {found.type}")
        return None
    return found.expression


def _with_units(entry: RuleEntry, names: Scope) -> dict[str, Threshold]:
    """Return the thresholds, those without unit with the unit of what they are compared with."""
    return {
        name: one if one.unit is not None else one.model_copy(update={"unit": names.units.get(name, "ratio")})
        for name, one in entry.thresholds.items()
    }


def _completed(
    entry: RuleEntry,
    vocabulary: Vocabulary,
    scope: Expression | None,
    requirement: Expression,
    thresholds: dict[str, Threshold],
) -> Checked:
    """Return the rule with observed value, limit and unit, which a requirement of one comparison gives by itself."""
    observed, limit = entry.observed, entry.limit
    if observed is None and limit is None and isinstance(requirement, Comparison):
        left, right = requirement.left, requirement.right
        if isinstance(left, Name) and not left.is_threshold:
            observed = left.name
            limit = right.name if isinstance(right, Name) else None
    unit = entry.unit
    if unit is None:
        properties = vocabulary.of(entry.applies_to)
        known = properties.get(observed or "") or properties.get(limit or "")
        unit = "none" if known is None else known.unit
    always = frozenset(name for name, one in vocabulary.of(entry.applies_to).items() if one.always)
    return Checked(scope, requirement, thresholds, observed, limit, unit, always)


def lint_adjustment(
    entry: AdjustmentEntry, rule: Rule, vocabulary: Vocabulary, file: str, line: int, report: Report
) -> Adjustment | None:
    """Check one adjustment against its rule; return it, or None after reporting every defect."""
    defects: list[str] = []

    def note(path: tuple[Step, ...], reason: str) -> None:
        defects.append(reason)
        report(path, reason)

    scope = None
    if entry.where is not None:
        scope = _condition("where", entry.where, Scope(rule.applies_to, vocabulary), note)
        if scope is not None and not _possible(scope, {}, vocabulary.of(rule.applies_to)):
            note(("where",), "where can never hold, so it adjusts nothing")
    for problem in check_overrides((rule,), {rule.code: entry.thresholds}):
        note(("thresholds", problem.threshold), problem.reason)
    if defects:
        return None
    tightens = {}
    for name, value in entry.thresholds.items():
        sense, written = stricter(rule, name), rule.thresholds[name].value
        tightens[name] = sense is not None and (value < written if sense == "at most" else value > written)
    return Adjustment(entry, scope, file, line, tightens)


def lint_rules(rules: Sequence[Rule], vocabulary: Vocabulary) -> list[Problem]:
    """Check rules that are already loaded, for example rules composed by a program."""
    problems: list[Problem] = []
    for rule in rules:
        found: list[str] = []
        checked = lint_entry(rule, vocabulary, lambda _path, reason, found=found: found.append(reason))  # type: ignore[misc]
        if checked is not None and (checked.scope, checked.requirement) != (rule.scope, rule.requirement):
            found.append("its conditions differ from their text")
        problems.extend(Problem(rule.file, rule.line, rule.code, reason) for reason in found)
    return problems


MAX_RULES: Final = 1_000
"""Rules in total: more than any shop has, and few enough for a check within milliseconds."""


def lint_limits(rules: Sequence[Rule], vocabulary: Vocabulary) -> list[Problem]:
    """Return every size limit that a set of rules exceeds, each at the first rule beyond it."""
    problems: list[Problem] = []
    if len(rules) > MAX_RULES:
        first = rules[MAX_RULES]
        reason = f"{len(rules)} rules in all; at most {MAX_RULES}"
        problems.append(Problem(first.file, first.line, first.code, reason))
    for rule in rules:
        if (count := comparisons_in(rule, vocabulary)) > MAX_COMPARISONS:
            reason = f"{count} comparisons in require, each value of a list counted; at most {MAX_COMPARISONS}"
            problems.append(Problem(rule.file, rule.line, rule.code, reason))
    return problems


# --- names, units, texts, scope ------------------------------------------------------------------------------------

Defect = tuple[tuple[Step, ...], str]


def _defects(entry: RuleEntry, properties: Mapping[str, Property], checked: Checked) -> Iterator[Defect]:
    family = entry.code.partition("-")[0]
    if family in RESERVED:
        yield ("code",), f"codes of the family {family} are those of {RESERVED[family]}"
    yield from _value_defects(entry, properties, checked)
    for name, template in (("message", entry.message), ("remedy", entry.remedy or "")):
        yield from _template_defects(name, template, properties, entry)
    yield from _threshold_defects(entry, properties, checked)
    yield from _list_defects(entry, properties, checked)
    yield from _scope_defects(entry, properties, checked)
    examples = entry.examples
    if entry.applies_to == "part" and (examples.fires or examples.silent or examples.undecided):
        yield ("examples",), "a rule on the parts of a library has no examples; try it by an audit"


def plain_unit(unit: str) -> str:
    """Return the unit for comparisons; ``x D`` (multiples of the diameter) is a ratio."""
    return "ratio" if unit in ("x D", "count") else unit


def _unit_defects(entry: RuleEntry) -> Iterator[Defect]:
    for name, threshold in entry.thresholds.items():
        if threshold.unit is not None and threshold.unit not in UNITS and threshold.unit != "x D":
            yield ("thresholds", name), f"unknown unit {threshold.unit!r}; there are: {', '.join(UNITS)}, x D"


def _value_defects(entry: RuleEntry, properties: Mapping[str, Property], checked: Checked) -> Iterator[Defect]:
    if checked.unit not in UNITS and checked.unit != "x D":
        yield ("unit",), f"unknown unit {checked.unit!r}; there are: {', '.join(UNITS)}, x D"
    for name, value in (("observed", checked.observed), ("limit", checked.limit)):
        if value is None:
            continue
        if name == "limit" and value in checked.thresholds:
            unit = checked.thresholds[value].unit
        elif value in properties:
            unit = properties[value].unit
        else:
            yield (name,), f"{name} names {value!r}, which is neither a property nor a threshold"
            continue
        if unit is not None and plain_unit(unit) != plain_unit(checked.unit):
            field = "unit" if getattr(entry, name) is None else name
            yield (field,), f"{name} {value} is in {unit}, the rule's unit is {checked.unit}"


def _template_defects(
    name: str, template: str, properties: Mapping[str, Property], entry: RuleEntry
) -> Iterator[Defect]:
    try:
        found = placeholders(template)
    except ValueError as error:
        yield (name,), f"{name}: {error}"
        return
    for one in sorted(set(found) - properties.keys() - entry.thresholds.keys()):
        yield (
            (name,),
            f"{name} has the placeholder {{{one}}}, neither a property of a {entry.applies_to} nor a threshold",
        )


def _uses(name: str, checked: Checked) -> bool:
    def inside(one: Expression | None) -> bool:
        if one is None:
            return False
        if isinstance(one, Name | Listing) and one.name == name:
            return True
        return any(inside(part) for part in children(one))

    return inside(checked.scope) or inside(checked.requirement)


def _threshold_defects(entry: RuleEntry, properties: Mapping[str, Property], checked: Checked) -> Iterator[Defect]:
    for name, threshold in checked.thresholds.items():
        path = ("thresholds", name)
        if not re.fullmatch(NAME_PATTERN, name):
            yield path, f"{name!r} is not a valid name of a threshold: lower-case letters, digits and underscores"
        if name in properties:
            yield path, f"the threshold {name} has the name of a property"
        if name in entry.lists:
            yield path, f"the threshold {name} has the name of a list"
        if threshold.unit not in (*UNITS, "x D"):  # one that follows from what it is compared with, such as a product
            yield path, f"the threshold {name} is in {threshold.unit}; a threshold is in: {', '.join(UNITS)}, x D"
        if not _uses(name, checked):
            yield path, f"the threshold {name} is used in neither where nor require"


def _list_defects(entry: RuleEntry, properties: Mapping[str, Property], checked: Checked) -> Iterator[Defect]:
    for name in entry.lists:
        path = ("lists", name)
        if not re.fullmatch(NAME_PATTERN, name) or name in properties:
            yield (
                path,
                f"{name!r} is not a valid name of a list: lower-case letters, digits and underscores, no property",
            )
        if not _uses(name, checked):
            yield path, f"the list {name} is used in neither where nor require"


def _scope_defects(entry: RuleEntry, properties: Mapping[str, Property], checked: Checked) -> Iterator[Defect]:
    """Yield each property that only some subjects have although ``where`` does not say so.

    Such a rule would stay silent elsewhere, and nobody who reads it would know.
    """
    written = set() if checked.scope is None else set(names_in(checked.scope))
    try:
        shown = (*placeholders(entry.message), *placeholders(entry.remedy or ""))
    except ValueError:
        return  # reported with the message itself
    groups = {(_prefix(name), properties[name].only) for name in written if name in properties}
    named = [one for one in shown if one in properties]
    ends = [one for one in (checked.observed, checked.limit) if one is not None and one in properties]
    for name in dict.fromkeys((*names_in(checked.requirement), *named, *ends)):
        known = properties[name]
        if name in written or _has_inside(name, checked.requirement):
            continue
        if known.only is not None and (_prefix(name), known.only) not in groups:
            yield (
                ("where",),
                f"{name} exists only for {known.only}; say so: where: has({name})",
            )
        elif known.kinds is not None:
            for key, values in known.kinds.items():
                if not _narrowed(_prefix(name) + key, values, checked.scope):
                    listed = f'== "{values[0]}"' if len(values) == 1 else f"in {text_of(Listing(values))}"
                    yield ("where",), f"{name} exists only where {_prefix(name)}{key} {listed}; say so under where"
                    break


def _prefix(name: str) -> str:
    """Return the part of a name that says whose property it is, such as ``upper.``.

    >>> _prefix("upper.workpiece_side.diameter_mm"), _prefix("teeth"), _prefix("machine_side.form")
    ('upper.', '', '')
    """
    first, point, _ = name.partition(".")
    return f"{first}." if point and first in ("upper", "lower", "above", "below") else ""


def _has_inside(name: str, one: Expression) -> bool:
    if isinstance(one, Call) and one.function in ("has", "stated"):
        return one.argument == Name(name)
    return any(_has_inside(name, part) for part in children(one))


def _narrowed(name: str, values: Sequence[str], scope: Expression | None) -> bool:
    """Whether ``where`` admits only these values of a property."""
    for one in conjuncts(scope):
        if isinstance(one, Comparison) and one.left == Name(name):
            if one.sign == "==" and isinstance(one.right, Constant) and one.right.value in values:
                return True
            if one.sign == "in" and isinstance(one.right, Listing) and set(one.right.values) <= set(values):
                return True
    return False


# --- conditions that decide nothing --------------------------------------------------------------------------------

_MOST_CASES: Final = 512


def _idle(
    scope: Expression | None, requirement: Expression, limits: Mapping[str, float], properties: Mapping[str, Property]
) -> Iterator[Defect]:
    """Yield why a rule can never speak, or never be silent, as far as intervals and lists decide it."""
    where = scope if scope is not None else Constant(True)
    if not _possible(where, limits, properties):
        yield ("where",), "where can never hold, so the rule concerns nothing"
    elif not _possible(Join("&&", (where, Negation(requirement))), limits, properties):
        yield ("require",), "require always holds where the rule applies, so it can never fire"
    elif not _possible(Join("&&", (where, requirement)), limits, properties):
        yield ("require",), "require can never hold where the rule applies, so it always fires"


def _possible(one: Expression, limits: Mapping[str, float], properties: Mapping[str, Property]) -> bool:
    """Whether a condition may hold for some values; True where that is not decided."""
    cases = _cases(one, holds=True)
    return cases is None or any(_Case(limits, properties).admits(case) for case in cases)


_Atoms = tuple[tuple[Expression, bool], ...]


def _cases(one: Expression, *, holds: bool) -> list[_Atoms] | None:
    """Return the alternatives of a condition, each a list of atoms and whether they hold; None if too many."""
    if isinstance(one, Negation):
        return _cases(one.inner, holds=not holds)
    if isinstance(one, Constant):
        return [()] if one.value is holds else []
    if not isinstance(one, Join):
        return [((one, holds),)]
    members = [_cases(member, holds=holds) for member in one.members]
    known = [member for member in members if member is not None]
    if len(known) < len(members):
        return None
    if (one.sign == "&&") != holds:
        return [case for member in known for case in member]
    if math.prod(map(len, known)) > _MOST_CASES:
        return None
    return [tuple(atom for case in cases for atom in case) for cases in product(*known)]


_OPPOSITE: Final = {"==": "!=", "!=": "==", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}
_TURNED: Final = {"==": "==", "!=": "!=", "<": ">", "<=": ">=", ">": "<", ">=": "<="}
_RELATIONS: Final = {"==": "=", "!=": "<>", "<": "<", "<=": "<=", ">": ">", ">=": ">="}


@dataclass(slots=True)
class _Range:
    """What is known of one value: bounds of a number, and the values it may or may not have."""

    low: float = -math.inf
    high: float = math.inf
    among: set[Value] | None = None
    without: set[Value] = field(default_factory=set)
    open_low: bool = False
    open_high: bool = False

    def meet(self, sign: str, value: Value) -> None:
        """Take in one comparison."""
        if sign == "==":
            self.among = {value} if self.among is None else self.among & {value}
        elif sign == "!=":
            self.without.add(value)
        elif not isinstance(value, str):
            if sign in ("<", "<="):
                if value < self.high or (value == self.high and sign == "<"):
                    self.high, self.open_high = value, sign == "<"
            elif value > self.low or (value == self.low and sign == ">"):
                self.low, self.open_low = value, sign == ">"

    @property
    def is_empty(self) -> bool:
        """Whether no value is left."""
        if self.low > self.high or (self.low == self.high and (self.open_low or self.open_high)):
            return True
        if self.among is not None:
            return not any(self._admits(value) for value in self.among - self.without)
        return self.low == self.high and self.low in self.without

    def _admits(self, value: Value) -> bool:
        if isinstance(value, str):
            return True
        above = value > self.low or (value == self.low and not self.open_low)
        return above and (value < self.high or (value == self.high and not self.open_high))


class _Case:
    """One alternative of a condition."""

    def __init__(self, limits: Mapping[str, float], properties: Mapping[str, Property]) -> None:
        self._limits, self._properties = limits, properties
        self._ranges: dict[str, _Range] = {}
        self._pairs: dict[tuple[str, str], set[str]] = {}

    def admits(self, atoms: _Atoms) -> bool:
        """Whether some values make every atom what it is said to be."""
        for one, holds in atoms:
            if isinstance(one, Comparison):
                self._take(one, holds=holds)
            else:
                self._range(one).meet("==", holds)
        return not any(one.is_empty for one in self._ranges.values()) and all(self._pairs.values())

    def _range(self, one: Expression) -> _Range:
        found = self._ranges.get(text_of(one))
        if found is None:
            known = self._properties.get(one.name) if isinstance(one, Name) else None
            closed = None if known is None or known.values is None else set[Value](known.values)
            found = self._ranges[text_of(one)] = _Range(among=closed)
        return found

    def _value(self, one: Expression) -> Value | None:
        if isinstance(one, Constant):
            return one.value
        return self._limits[one.name] if isinstance(one, Name) and one.is_threshold else None

    def _take(self, one: Comparison, *, holds: bool) -> None:
        left, sign, right = one.left, one.sign, one.right
        if isinstance(right, Listing):
            found = self._range(left)
            if holds:
                found.among = set(right.values) if found.among is None else found.among & set(right.values)
            else:
                found.without |= set(right.values)
            return
        sign = sign if holds else _OPPOSITE[sign]
        if self._value(left) is not None:
            left, right, sign = right, left, _TURNED[sign]
        value = self._value(right)
        if value is not None:
            if self._value(left) is None:
                self._range(left).meet(sign, value)
            return
        names = text_of(left), text_of(right)
        if names[0] > names[1]:
            names, sign = (names[1], names[0]), _TURNED[sign]
        self._pairs[names] = self._pairs.get(names, set("<=>")) & set(_RELATIONS[sign])
