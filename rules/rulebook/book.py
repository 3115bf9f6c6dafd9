"""Models of a rulebook as written and as loaded, its adjustable thresholds, and the result of judging facts."""

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
"""From the mildest to the gravest."""

Line: TypeAlias = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Pointer: TypeAlias = Annotated[str, StringConstraints(pattern=r"^/")]


def _json_part(value: Any) -> Any:
    """YAML also knows dates, not-a-number and infinities; a request can't hold them."""
    if isinstance(value, dict):
        return {key: _json_part(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_json_part(part) for part in value]
    if value is None or isinstance(value, str | int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    raise ValueError(f"{value} can't stand in a request; put it in quotes if it is text")


JsonPart: TypeAlias = Annotated[Any, AfterValidator(_json_part)]


class _YamlModel(ClosedModel):
    """A closed model that takes YAML's lists where it wants tuples."""

    model_config = ConfigDict(strict=False)


class Threshold(_YamlModel):
    """A number a rule compares with, and how far a request's policy may move it."""

    value: Annotated[float, Field(strict=True)]
    unit: Line
    minimum: Annotated[float, Field(strict=True)]
    maximum: Annotated[float, Field(strict=True)]
    meaning: Line

    @model_validator(mode="after")
    def _within(self) -> Threshold:
        if not self.minimum <= self.value <= self.maximum:
            raise ValueError(f"{self.value:g} does not lie between {self.minimum:g} and {self.maximum:g}")
        return self


class Example(_YamlModel):
    """Changes to a valid base request, after which the rule must fire, stay silent or be undecided."""

    name: Line
    base: Line
    set: dict[Pointer, JsonPart] = Field(default_factory=dict)
    remove: tuple[Pointer, ...] = ()
    catalogue: dict[str, list[JsonPart]] = Field(default_factory=dict)
    """Components mounted beside the request, by key."""


class Examples(_YamlModel):
    """At least one that fires and one that does not."""

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
"""What is asked where a comparison objects."""


class BookHead(_YamlModel):
    """One rulebook file; its rules are checked one by one."""

    book: Line
    version: Literal["1"]
    title: Line
    rules: Annotated[tuple[Any, ...], Field(min_length=1)]


class Rule(RuleEntry):
    """A rule that passed the linter: as written, with its condition understood and its place noted.

    ``file`` is ``folder/name`` of the book, ``line`` counts from 1.
    """

    condition: SkipValidation[Condition]
    book: str
    file: str
    line: int

    @cached_property
    def told(self) -> frozenset[str]:
        """The properties and thresholds whose values a finding tells."""
        named = (*placeholders(self.message), *placeholders(self.remedy), self.observed, self.limit)
        return frozenset(name for name in named if name is not None)

    @cached_property
    def sense(self) -> Literal["at most", "at least"] | None:
        """How what is observed must keep to the limit; None where the rule does not say by a number."""
        for comparison in comparisons(self.condition):
            right = comparison.right
            compared = right.name if isinstance(right, PropertyRef | ThresholdRef) else None
            if comparison.left == self.observed and compared == self.limit and comparison.operator in _SENSES:
                return _SENSES[comparison.operator]
        return None


@dataclass(frozen=True, slots=True)
class Overridden:
    """A safety rule that a later folder replaced with a milder severity."""

    code: str
    severity_from: Severity
    severity_to: Severity
    file: str


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All rules in force, ordered by code.

    ``overridden`` names the safety rules made milder, ``replaced`` are all that stand in the place of one of an
    earlier folder; ``digest`` is the SHA-256 (hexadecimal) over the
    content of rules and vocabulary: the same for the same words wherever the files lie.
    """

    rules: tuple[Rule, ...]
    vocabulary: Vocabulary
    overridden: tuple[Overridden, ...]
    digest: str
    replaced: tuple[Rule, ...] = field(init=False, repr=False, compare=False)
    _by_code: dict[str, Rule] = field(init=False, repr=False, compare=False)
    _names: tuple[str, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the rules once: every report asks."""
        object.__setattr__(self, "replaced", tuple(rule for rule in self.rules if rule.replaces))
        object.__setattr__(self, "_by_code", {rule.code: rule for rule in self.rules})
        object.__setattr__(self, "_names", tuple(sorted({rule.book for rule in self.rules})))

    def rule(self, code: str) -> Rule:
        """The rule with this code; raises :class:`KeyError` when there is none."""
        return self._by_code[code]

    def book_names(self) -> list[str]:
        """The names of the books the rules stand in, sorted."""
        return list(self._names)

    def by_kind(self) -> Mapping[str, tuple[Rule, ...]]:
        """The rules of each kind that has any, in the order of their codes."""
        grouped: dict[str, list[Rule]] = {}
        for rule in self.rules:
            grouped.setdefault(rule.applies_to, []).append(rule)
        return {kind: tuple(rules) for kind, rules in grouped.items()}


Overrides = Mapping[str, Mapping[str, float]]
"""Rule code to threshold name to value, in the threshold's own unit."""


@dataclass(frozen=True, slots=True)
class OverrideProblem:
    """One threshold that can't be set so; ``threshold`` is empty when the rule itself is unknown."""

    code: str
    threshold: str
    reason: str
    known: bool = True
    """Whether the rule has this threshold."""


def check_overrides(book: Rulebook, overrides: Overrides) -> list[OverrideProblem]:
    """Every override that names no threshold of the book, is no finite number or lies outside its bounds."""
    problems: list[OverrideProblem] = []
    for code, wanted in overrides.items():
        try:
            rule = book.rule(code)
        except KeyError:
            problems.append(OverrideProblem(code, "", f"there is no rule {code}", known=False))
            continue
        for name, value in wanted.items():
            if (threshold := rule.thresholds.get(name)) is None:
                known = ", ".join(sorted(rule.thresholds)) or "none"
                problems.append(
                    OverrideProblem(code, name, f"the rule has no threshold {name}; known: {known}", known=False)
                )
            elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                problems.append(OverrideProblem(code, name, f"{value!r} is no finite number"))
            elif not threshold.minimum <= value <= threshold.maximum:
                bounds = f"between {threshold.minimum:g} and {threshold.maximum:g} {threshold.unit}"
                problems.append(OverrideProblem(code, name, f"{value:g} must lie {bounds}"))
    return problems


def threshold_in_force(book: Rulebook, overrides: Overrides, code: str, name: str) -> float | None:
    """Return what a threshold is for one request; None where no book has it."""
    asked = overrides.get(code, {}).get(name)
    if asked is not None:
        return asked
    try:
        return book.rule(code).thresholds[name].value
    except KeyError:
        return None


@dataclass(frozen=True, slots=True)
class Fired:
    """A rule that objects to a subject; ``thresholds`` are the values in effect, with the overrides."""

    rule: Rule
    fact: Fact
    thresholds: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Undecided:
    """A rule that concerns a subject but lacks properties, each with the request fields that supply it."""

    rule: Rule
    fact: Fact
    lacking: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings and gaps, ordered by code, then by the order of the facts.

    ``decided`` are the codes, sorted, of the rules that were decided on at least one subject and are
    undecided on none: a rule stands in ``decided``, in ``undecided`` or, concerning no subject, in neither.
    """

    fired: tuple[Fired, ...]
    undecided: tuple[Undecided, ...]
    decided: tuple[str, ...]
