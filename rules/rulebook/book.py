"""Models of a rulebook, as written and as loaded; its adjustable thresholds; the judgement of facts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import AfterValidator, ConfigDict, Field, SkipValidation, StringConstraints, model_validator

from rules.rulebook.condition import Condition, PropertyRef, ThresholdRef, comparisons
from rules.rulebook.fact import Fact, Kind, placeholders
from rules.rulebook.source import ClosedModel
from rules.rulebook.vocabulary import Vocabulary

__all__ = [
    "SEVERITIES",
    "BookHead",
    "Example",
    "Fired",
    "Judgement",
    "Overridden",
    "OverrideProblem",
    "Overrides",
    "Rule",
    "RuleEntry",
    "Rulebook",
    "Undecided",
    "check_overrides",
    "threshold_in_force",
]


CODE_PATTERN: Final = r"^[A-Z]{2,5}-\d{3}$"

Severity: TypeAlias = Literal["error", "warning", "advice"]

SEVERITIES: Final[tuple[Severity, ...]] = ("advice", "warning", "error")
"""In rising order."""

Line: TypeAlias = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Pointer: TypeAlias = Annotated[str, StringConstraints(pattern=r"^/")]


def _json_part(value: Any) -> Any:
    """Reject YAML dates, NaN and infinities, which a JSON request cannot hold."""
    if isinstance(value, dict):
        return {key: _json_part(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_json_part(part) for part in value]
    if value is None or isinstance(value, str | int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    raise ValueError(f"{value} is not possible in a request; put it in quotes if it is text")


JsonPart: TypeAlias = Annotated[Any, AfterValidator(_json_part)]


class _YamlModel(ClosedModel):
    """A closed model that accepts YAML lists for its tuple fields."""

    model_config = ConfigDict(strict=False)


class Threshold(_YamlModel):
    """A number that a rule compares with, and the range within which a request may set it."""

    value: Annotated[float, Field(strict=True)]
    unit: Line
    minimum: Annotated[float, Field(strict=True)]
    maximum: Annotated[float, Field(strict=True)]
    meaning: Line

    @model_validator(mode="after")
    def _within(self) -> Threshold:
        if not self.minimum <= self.value <= self.maximum:
            raise ValueError(f"{self.value:g} is not between {self.minimum:g} and {self.maximum:g}")
        return self


class Example(_YamlModel):
    """Changes to a valid base request, and the expected result: the rule fires, does not fire or is undecided."""

    name: Line
    base: Line
    set: dict[Pointer, JsonPart] = Field(default_factory=dict)
    remove: tuple[Pointer, ...] = ()
    catalogue: dict[str, list[JsonPart]] = Field(default_factory=dict)
    """Components of the mounted library, by key."""


class Examples(_YamlModel):
    """Examples of a rule: at least one that fires and one that does not."""

    fires: Annotated[tuple[Example, ...], Field(min_length=1)]
    silent: Annotated[tuple[Example, ...], Field(min_length=1)]
    undecided: tuple[Example, ...] = ()


class RuleEntry(_YamlModel):
    """One rule as written."""

    code: Annotated[str, Field(pattern=CODE_PATTERN)]
    title: Line
    severity: Severity
    safety: Annotated[bool, Field(strict=True)] = False
    replaces: Annotated[bool, Field(strict=True)] = False
    applies_to: Kind
    needs: tuple[Line, ...]
    when: Any
    message: Line
    observed: Line | None = None
    limit: Line | None = None
    unit: Line
    thresholds: dict[str, Threshold] = Field(default_factory=dict)
    why: Line
    remedy: Line
    known_limits: Line
    source: Line
    examples: Examples


_SENSES: Final[Mapping[str, Literal["at most", "at least"]]] = {
    "greater_than": "at most",
    "at_least": "at most",
    "less_than": "at least",
    "at_most": "at least",
}
"""The relation required where a comparison makes a rule fire."""


class BookHead(_YamlModel):
    """One rulebook file, its rules still unchecked; each is checked by itself."""

    book: Line
    version: Literal["1"]
    title: Line
    rules: Annotated[tuple[Any, ...], Field(min_length=1)]


class Rule(RuleEntry):
    """A rule that passed the linter, with its parsed condition, its file and its line.

    ``file`` is ``folder/name`` of the book, ``line`` counts from 1.
    """

    condition: SkipValidation[Condition]
    book: str
    file: str
    line: int

    @cached_property
    def shown(self) -> frozenset[str]:
        """Properties and thresholds whose values appear in a finding."""
        named = (*placeholders(self.message), *placeholders(self.remedy), self.observed, self.limit)
        return frozenset(name for name in named if name is not None)

    @cached_property
    def sense(self) -> Literal["at most", "at least"] | None:
        """Relation that the observed value must have to the limit; None where no number decides."""
        for comparison in comparisons(self.condition):
            right = comparison.right
            compared = right.name if isinstance(right, PropertyRef | ThresholdRef) else None
            if comparison.left == self.observed and compared == self.limit and comparison.operator in _SENSES:
                return _SENSES[comparison.operator]
        return None


@dataclass(frozen=True, slots=True)
class Overridden:
    """A safety rule that a later folder replaced by one of lower severity."""

    code: str
    severity_from: Severity
    severity_to: Severity
    file: str


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All rules in force, ordered by code.

    ``overridden`` lists the safety rules whose severity was lowered, ``replaced`` every rule that replaces one of an
    earlier folder. ``digest`` is the SHA-256 (hexadecimal) of the content of rules and vocabulary; it does not depend
    on the path of the files.
    """

    rules: tuple[Rule, ...]
    vocabulary: Vocabulary
    overridden: tuple[Overridden, ...]
    digest: str
    replaced: tuple[Rule, ...] = field(init=False, repr=False, compare=False)
    _by_code: dict[str, Rule] = field(init=False, repr=False, compare=False)
    _names: tuple[str, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the rules once, since every report looks them up."""
        object.__setattr__(self, "replaced", tuple(rule for rule in self.rules if rule.replaces))
        object.__setattr__(self, "_by_code", {rule.code: rule for rule in self.rules})
        object.__setattr__(self, "_names", tuple(sorted({rule.book for rule in self.rules})))

    def rule(self, code: str) -> Rule:
        """Return the rule with this code; raises :class:`KeyError` for an unknown code."""
        return self._by_code[code]

    def book_names(self) -> list[str]:
        """Names of the books that hold the rules, sorted."""
        return list(self._names)

    def by_kind(self) -> Mapping[str, tuple[Rule, ...]]:
        """Rules by kind of fact, in the order of their codes; a kind without rules is left out."""
        grouped: dict[str, list[Rule]] = {}
        for rule in self.rules:
            grouped.setdefault(rule.applies_to, []).append(rule)
        return {kind: tuple(rules) for kind, rules in grouped.items()}


Overrides = Mapping[str, Mapping[str, float]]
"""Rule code to threshold name to value, in the threshold's own unit."""


@dataclass(frozen=True, slots=True)
class OverrideProblem:
    """One rejected override; ``part`` is what is wrong with it."""

    code: str
    threshold: str
    part: Literal["code", "threshold", "value"]
    reason: str
    """Whether the rule has this threshold."""


def check_overrides(book: Rulebook, overrides: Overrides) -> list[OverrideProblem]:
    """Return a problem for each override of an unknown threshold, and for each value not finite or out of bounds."""
    problems: list[OverrideProblem] = []
    for code, wanted in overrides.items():
        try:
            rule = book.rule(code)
        except KeyError:
            problems.append(OverrideProblem(code, "", "code", f"there is no rule {code}"))
            continue
        for name, value in wanted.items():
            if (threshold := rule.thresholds.get(name)) is None:
                known = ", ".join(sorted(rule.thresholds)) or "none"
                problems.append(
                    OverrideProblem(code, name, "threshold", f"the rule has no threshold {name}; known: {known}")
                )
            elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                problems.append(OverrideProblem(code, name, "value", f"{value!r} is not a finite number"))
            elif not threshold.minimum <= value <= threshold.maximum:
                bounds = f"between {threshold.minimum:g} and {threshold.maximum:g} {threshold.unit}"
                problems.append(OverrideProblem(code, name, "value", f"{value:g} must lie {bounds}"))
    return problems


def threshold_in_force(book: Rulebook, overrides: Overrides, code: str, name: str) -> float | None:
    """Return the value of a threshold in one request; None for a threshold that no book has."""
    asked = overrides.get(code, {}).get(name)
    if asked is not None:
        return asked
    try:
        return book.rule(code).thresholds[name].value
    except KeyError:
        return None


@dataclass(frozen=True, slots=True)
class Fired:
    """A rule that fired on a subject; ``thresholds`` are the values in force, overrides included."""

    rule: Rule
    fact: Fact
    thresholds: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Undecided:
    """A rule not decided on a subject, with the missing properties and the request fields that supply them."""

    rule: Rule
    fact: Fact
    lacking: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Rules that fired and rules that were not decided, ordered by code, then by the order of the facts.

    ``decided`` lists the codes, sorted, of the rules decided on every subject they concern. A rule that concerns no
    subject is in neither list.
    """

    fired: tuple[Fired, ...]
    undecided: tuple[Undecided, ...]
    decided: tuple[str, ...]
