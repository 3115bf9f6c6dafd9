"""Models of a rulebook, as written and as loaded; its adjustable thresholds; the judgement of facts."""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import AfterValidator, ConfigDict, Field, SkipValidation, StringConstraints, model_validator

from rules.rulebook.expression import (
    Call,
    Comparison,
    Expression,
    Join,
    Name,
    asks,
    conjuncts,
    has_macro,
    names_in,
    text_of,
)
from rules.rulebook.fact import Fact, Kind, placeholders
from rules.rulebook.source import ClosedModel
from rules.rulebook.vocabulary import Vocabulary

__all__ = [
    "SEVERITIES",
    "Adjustment",
    "AdjustmentEntry",
    "BookHead",
    "Example",
    "Fired",
    "Judgement",
    "Outcome",
    "Overridden",
    "OverrideProblem",
    "Overrides",
    "Rule",
    "RuleEntry",
    "Rulebook",
    "Standing",
    "Threshold",
    "Undecided",
    "check_overrides",
    "stricter",
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

Values: TypeAlias = Annotated[
    tuple[Annotated[str, Field(strict=True)] | Annotated[float, Field(strict=True)], ...], Field(min_length=1)
]
"""A named list of texts or of numbers."""


class _YamlModel(ClosedModel):
    """A closed model that accepts YAML lists for its tuple fields."""

    model_config = ConfigDict(strict=False)


_SHORT: Final = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) ?(\S(?:.*\S)?)")


class Threshold(_YamlModel):
    """A number that a rule compares with.

    A request may set it between minimum and maximum, and not at all if these are not written. The short form is a
    number, or a text with the unit: ``6000 rpm``. A threshold without a unit has that of what it is compared with.
    """

    value: Annotated[float, Field(strict=True, description="Value in force unless a request or adjustment sets it.")]
    unit: Line | None = Field(None, description="Unit; default that of what it is compared with.")
    minimum: Annotated[float, Field(strict=True)] | None = Field(
        None, description="Lowest value that a request or an adjustment may set; write it with maximum."
    )
    maximum: Annotated[float, Field(strict=True)] | None = Field(
        None, description="Highest value that a request or an adjustment may set; write it with minimum."
    )
    meaning: Line | None = Field(None, description="What the threshold limits.")

    @model_validator(mode="before")
    @classmethod
    def _from_short_form(cls, raw: Any) -> Any:
        if isinstance(raw, int | float) and not isinstance(raw, bool):
            return {"value": raw}
        if isinstance(raw, str):
            found = _SHORT.fullmatch(raw.strip())
            if found is None:
                raise ValueError(f"{raw!r} is not a number with its unit, such as 6000 rpm")
            return {"value": float(found[1]), "unit": found[2]}
        return raw

    @model_validator(mode="after")
    def _within(self) -> Threshold:
        if (self.minimum is None) != (self.maximum is None):
            raise ValueError("write both minimum and maximum, or neither")
        if self.minimum is not None and self.maximum is not None and not self.minimum <= self.value <= self.maximum:
            raise ValueError(f"{self.value:g} is not between {self.minimum:g} and {self.maximum:g}")
        return self


class Example(_YamlModel):
    """Changes to a valid base request, and the expected result: the rule fires, does not fire or is undecided."""

    name: Line = Field(description="What is special about the example.")
    base: Line = Field(description="Name of the base request, built in or of the folder bases.")
    set: dict[Pointer, JsonPart] = Field(
        default_factory=dict, description="Values by JSON Pointer; a pointer that ends in - appends to a list."
    )
    remove: tuple[Pointer, ...] = Field((), description="JSON Pointers of the fields to remove.")
    catalogue: dict[str, list[JsonPart]] = Field(
        default_factory=dict, description="Components of the mounted catalogue, by key."
    )


class Examples(_YamlModel):
    """Examples of a rule: requests on which it fires, stays silent or is undecided."""

    fires: tuple[Example, ...] = Field((), description="Requests on which the rule gives a finding.")
    silent: tuple[Example, ...] = Field((), description="Requests on which it holds or that it does not concern.")
    undecided: tuple[Example, ...] = Field((), description="Requests that lack something it reads.")


class RuleEntry(_YamlModel):
    """One rule as written: whom it concerns (``for``, ``where``) and what must hold there (``require``)."""

    model_config = ConfigDict(populate_by_name=True)

    code: Annotated[str, Field(pattern=CODE_PATTERN)] = Field(description="Stable code, such as SHOP-010.")
    title: Line = Field(description="What is wrong where the rule fires.")
    severity: Severity = Field(description="An error fails the stack, a warning asks for review.")
    safety: Annotated[bool, Field(strict=True)] = Field(False, description="Whether people may be hurt.")
    replaces: Annotated[bool, Field(strict=True)] = Field(
        False, description="Whether it takes the place of the rule of this code in an earlier folder."
    )
    applies_to: Kind = Field(alias="for", description="Kind of subject that the rule judges.")
    where: Line | None = Field(None, description="Expression: which subjects it concerns; all if left out.")
    require: Line = Field(description="Expression: what must hold; the rule fires where it is false.")
    thresholds: dict[str, Threshold] = Field(default_factory=dict, description="Numbers that the expressions name.")
    lists: dict[str, Values] = Field(default_factory=dict, description="Lists of values that the expressions name.")
    message: Line = Field(description="Text of a finding; {names} are filled in.")
    observed: Line | None = Field(None, description="Property reported as observed; default the one compared.")
    limit: Line | None = Field(None, description="Property or threshold reported as limit; default the one compared.")
    unit: Line | None = Field(None, description="Unit of observed and limit; default that of the property.")
    why: Line | None = Field(None, description="Why the rule exists.")
    remedy: Line | None = Field(None, description="What to do about a finding; {names} are filled in.")
    known_limits: Line | None = Field(None, description="What the rule does not cover.")
    source: Line | None = Field(None, description="Where its numbers come from.")
    owner: Line | None = Field(None, description="Who is responsible for the rule.")
    replaced_by: Annotated[str, Field(pattern=CODE_PATTERN)] | None = Field(
        None, description="Code of the rule that is to take its place."
    )
    tags: tuple[Line, ...] = Field((), description="Words to find the rule by.")
    links: tuple[Line, ...] = Field((), description="Addresses of further texts.")
    examples: Examples = Field(Examples(), description="Requests that show what the rule does; tried at the start.")

    @staticmethod
    def default_remedy(code: str) -> str:
        """Return the remedy of a rule for which none is written."""
        return f"Meet the requirement of rule {code}."

    @staticmethod
    def default_source(book: str) -> str:
        """Return the source of a rule for which none is written."""
        return f"rulebook {book}"


_SENSES: Final[Mapping[str, Literal["at most", "at least"]]] = {
    "<=": "at most",
    "<": "at most",
    ">=": "at least",
    ">": "at least",
}
"""The relation that a requirement asks of its left side."""

_OPPOSITE: Final[Mapping[str, Literal["at most", "at least"]]] = {
    "<=": "at least",
    "<": "at least",
    ">=": "at most",
    ">": "at most",
}


class AdjustmentEntry(_YamlModel):
    """A change to a rule of an earlier folder, without a copy of the rule.

    It switches the rule off, or sets its severity or thresholds, where ``where`` holds: an expression on the subjects
    of the rule, such as ``labels.cell == "A"``. After the day of ``until`` it no longer counts.
    """

    code: Annotated[str, Field(pattern=CODE_PATTERN)] = Field(description="Code of the rule to change.")
    where: Line | None = Field(None, description="Expression: where the change counts; everywhere if left out.")
    disable: Annotated[bool, Field(strict=True)] = Field(False, description="Whether the rule is switched off.")
    severity: Severity | None = Field(None, description="Severity in place of that of the rule.")
    thresholds: dict[str, Annotated[float, Field(strict=True)]] = Field(
        default_factory=dict, description="Values by name of the threshold, in its unit and within its bounds."
    )
    reason: Line = Field(description="Why the change is made.")
    owner: Line = Field(description="Who is responsible for the change.")
    until: date | None = Field(None, description="Last day on which the change counts.")

    @model_validator(mode="after")
    def _changes(self) -> AdjustmentEntry:
        if not (self.disable or self.severity or self.thresholds):
            raise ValueError("changes nothing; write disable: true, severity or thresholds")
        if self.disable and (self.severity or self.thresholds):
            raise ValueError("a rule that is switched off has neither severity nor thresholds")
        return self


@dataclass(frozen=True, slots=True)
class Adjustment:
    """An adjustment that passed the linter; ``scope`` is the expression of its ``where``."""

    entry: AdjustmentEntry
    scope: Expression | None
    file: str
    line: int
    tightens: Mapping[str, bool]
    """By threshold, whether the adjusted value is the stricter one."""


class BookHead(_YamlModel):
    """One rulebook file, its rules and adjustments still unchecked; each is checked by itself."""

    book: Line = Field(description="Name of the book.")
    version: Literal["1"] = Field(description="Version of the format.")
    title: Line = Field(description="What the book is about.")
    revision: Line | None = Field(None, description="Revision of the book, as its owner counts them.")
    rules: tuple[Any, ...] = Field((), description="Rules of the book.")
    adjust: tuple[Any, ...] = Field((), description="Changes to rules of this or an earlier folder.")

    @model_validator(mode="after")
    def _holds_something(self) -> BookHead:
        if not self.rules and not self.adjust:
            raise ValueError("a book has rules, or adjust with changes to rules")
        return self


class Rule(RuleEntry):
    """A rule that passed the linter, with its parsed condition, its file and its line.

    ``file`` is ``folder/name`` of the book, ``line`` counts from 1. ``scope`` and ``requirement`` are the expressions
    of ``where`` and ``require``, checked.
    """

    unit: Line
    remedy: Line
    source: Line
    always: SkipValidation[frozenset[str]] = frozenset()
    """Properties that every subject of its kind has."""
    scope: SkipValidation[Expression | None]
    requirement: SkipValidation[Expression]
    book: str
    file: str
    line: int

    @property
    def content(self) -> dict[str, Any]:
        """The rule as its book writes it, with defaults filled in; JSON values."""
        return self.model_dump(mode="json", include=set(RuleEntry.model_fields), by_alias=True)

    @property
    def digest(self) -> str:
        """SHA-256 of the canonical JSON of the content."""
        text = json.dumps(self.content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    @cached_property
    def needs(self) -> tuple[str, ...]:
        """Properties without which the rule cannot be decided or worded, those of the requirement first.

        A requirement that itself asks what exists or is stated decides with what there is.
        """
        required = () if asks(self.requirement) else names_in(self.requirement)
        found = dict.fromkeys((*required, *self._named))
        return tuple(name for name in found if name not in self.thresholds and name not in self.always)

    @cached_property
    def _named(self) -> tuple[str, ...]:
        named = (*placeholders(self.message), *placeholders(self.remedy or ""), self.observed, self.limit)
        return tuple(dict.fromkeys(name for name in named if name is not None))

    @cached_property
    def shown(self) -> frozenset[str]:
        """Properties and thresholds whose values appear in a finding."""
        return frozenset(self._named)

    @cached_property
    def exists(self) -> tuple[str, ...]:
        """Properties that must exist for the subject, known or missing, by ``has`` in ``where``."""
        return _asked(self.scope, "has")

    @cached_property
    def stated(self) -> tuple[str, ...]:
        """Properties that must be known, by ``stated`` in ``where``."""
        return _asked(self.scope, "stated")

    @cached_property
    def scope_rest(self) -> tuple[Expression, ...]:
        """What else ``where`` asks."""
        return tuple(one for one in conjuncts(self.scope) if not _is_asked(one))

    @cached_property
    def scope_rest_text(self) -> str:
        """The same as text; empty if that is all."""
        return " && ".join(map(text_of, self.scope_rest))

    @cached_property
    def reads(self) -> tuple[str, ...]:
        """Every property that the rule reads or tests with has() or stated(), once."""
        scope = () if self.scope is None else names_in(self.scope)
        found = dict.fromkeys((*scope, *names_in(self.requirement), *self.needs))
        return tuple(name for name in found if name not in self.always)

    @cached_property
    def asks_others(self) -> bool:
        """Whether it asks several components or joints."""
        return any(has_macro(one) for one in (self.scope, self.requirement) if one is not None)

    @cached_property
    def sense(self) -> Literal["at most", "at least"] | None:
        """Relation that the observed value must have to the limit; None where no number decides."""
        for one in _comparisons(self.requirement):
            left, right = one.left, one.right
            if isinstance(left, Name) and isinstance(right, Name) and one.sign in _SENSES:
                if (left.name, right.name) == (self.observed, self.limit):
                    return _SENSES[one.sign]
                if (right.name, left.name) == (self.observed, self.limit):
                    return _OPPOSITE[one.sign]
        return None


def _asked(scope: Expression | None, function: str) -> tuple[str, ...]:
    return tuple(
        one.argument.name
        for one in conjuncts(scope)
        if isinstance(one, Call) and one.function == function and isinstance(one.argument, Name)
    )


def _is_asked(one: Expression) -> bool:
    return isinstance(one, Call) and one.function in ("has", "stated")


def _comparisons(one: Expression) -> Iterator[Comparison]:
    if isinstance(one, Comparison):
        yield one
    elif isinstance(one, Join):
        for member in one.members:
            yield from _comparisons(member)


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
    earlier folder. ``digest`` is the SHA-256 (hexadecimal) of the content of rules, adjustments and vocabulary; it does
    not depend on the path of the files.
    """

    rules: tuple[Rule, ...]
    vocabulary: Vocabulary
    overridden: tuple[Overridden, ...]
    digest: str
    adjustments: tuple[Adjustment, ...] = ()
    """In the order of the folders; a later one wins."""
    expired: tuple[Adjustment, ...] = ()
    """Adjustments whose day has passed; they do not count."""
    originals: Mapping[str, Rule] = field(default_factory=dict)
    """The first rule of each code that a later folder replaces."""
    bases: Mapping[str, Any] = field(default_factory=dict)
    """Base requests of the folders, by name, in addition to those of this package."""
    revisions: Mapping[str, str] = field(default_factory=dict)
    """Revision of each book that states one."""
    own: frozenset[str] = frozenset()
    """Codes of the rules that are not of the first folder."""
    of_examples: bool = False
    """Whether it judges examples of the contract, which show no digest of what judges."""
    replaced: tuple[Rule, ...] = field(init=False, repr=False, compare=False)
    _by_code: dict[str, Rule] = field(init=False, repr=False, compare=False)
    _names: tuple[str, ...] = field(init=False, repr=False, compare=False)
    of_check: tuple[Rule, ...] = field(init=False, repr=False, compare=False)
    """The rules on subjects of a check; the others judge the parts of a library."""
    computed: Mapping[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)
    """By code, what the analysis must supply before a rule concerns a subject."""
    sound: bool = field(init=False, repr=False, compare=False)
    """Whether an engine has compiled these very rules, so that they need no linter again."""

    def __post_init__(self) -> None:
        """Index the rules once, since every report looks them up."""
        object.__setattr__(self, "sound", False)
        object.__setattr__(self, "replaced", tuple(rule for rule in self.rules if rule.replaces))
        object.__setattr__(self, "_by_code", {rule.code: rule for rule in self.rules})
        object.__setattr__(self, "_names", tuple(sorted({rule.book for rule in self.rules})))
        object.__setattr__(self, "of_check", tuple(rule for rule in self.rules if rule.applies_to != "part"))
        object.__setattr__(self, "computed", {rule.code: _computed(rule, self.vocabulary) for rule in self.rules})

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


def _computed(rule: Rule, vocabulary: Vocabulary) -> tuple[str, ...]:
    words = vocabulary.of(rule.applies_to)
    names = dict.fromkeys((*rule.exists, *rule.stated, *rule.needs))
    return tuple(name for name in names if not words[name].from_request)


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


def check_overrides(rules: Iterable[Rule], overrides: Overrides) -> list[OverrideProblem]:
    """Return a problem for each override of an unknown threshold, and for each value not finite or out of bounds."""
    problems: list[OverrideProblem] = []
    known_rules = {rule.code: rule for rule in rules}
    for code, wanted in overrides.items():
        if (rule := known_rules.get(code)) is None:
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
            elif threshold.minimum is None or threshold.maximum is None:
                problems.append(
                    OverrideProblem(code, name, "value", "the rulebook sets no bounds within which to change it")
                )
            elif not threshold.minimum <= value <= threshold.maximum:
                bounds = f"between {threshold.minimum:g} and {threshold.maximum:g} {threshold.unit}"
                problems.append(OverrideProblem(code, name, "value", f"{value:g} must lie {bounds}"))
    return problems


def stricter(rule: Rule, name: str) -> Literal["at most", "at least"] | None:
    """Return what the requirement asks relative to a threshold; None where it is not one comparison."""
    found = {
        sense
        for one in _comparisons(rule.requirement)
        for side, senses in ((one.right, _SENSES), (one.left, _OPPOSITE))
        if side == Name(name, True) and (sense := senses.get(one.sign)) is not None
    }
    return found.pop() if len(found) == 1 else None


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
    """A rule that fired on a subject; ``thresholds`` and ``severity`` are those in force on it."""

    rule: Rule
    fact: Fact
    thresholds: Mapping[str, float]
    severity: Severity


@dataclass(frozen=True, slots=True)
class Undecided:
    """A rule not decided on a subject, with the missing properties and the request fields that supply them."""

    rule: Rule
    fact: Fact
    lacking: Mapping[str, tuple[str, ...]]
    severity: Severity


Outcome: TypeAlias = Literal["not_concerned", "undecided", "holds", "fires"]
"""What a rule makes of one subject."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What a rule makes of one subject; ``severity`` is None where an adjustment switches the rule off."""

    rule: Rule
    fact: Fact
    outcome: Outcome
    thresholds: Mapping[str, float]
    severity: Severity | None
    lacking: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Rules that fired and rules that were not decided, ordered by code, then by the order of the facts.

    ``decided`` lists the codes, sorted, of the rules decided on every subject they concern. A rule that concerns no
    subject is in neither list. ``adjusted`` are the places, among the adjustments of the book, of those that counted
    for some subject.
    """

    fired: tuple[Fired, ...]
    undecided: tuple[Undecided, ...]
    decided: tuple[str, ...]
    adjusted: tuple[int, ...] = ()
