"""The bench for rulebooks: remarks on how they are written, what their rules cover, and what a change of them changes.

A remark does not stop the start, as a defect does (:mod:`rules.rulebook.loader`). A shop's rule may be used with
remarks; a built-in one may not have any.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, TypeAlias

from pydantic import BaseModel

from rules.assessor import Assessor
from rules.rulebook.book import (
    SEVERITIES,
    Adjustment,
    AdjustmentEntry,
    BookHead,
    Outcome,
    Rule,
    Rulebook,
    RuleEntry,
    Severity,
)
from rules.rulebook.expression import Call, Expression, Name, children, names_in
from rules.rulebook.loader import load_books
from rules.rulebook.vocabulary import Property, Vocabulary
from rules.schema.parsing import BadRequestError
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.view import request_vocabulary

__all__ = [
    "Change",
    "Coverage",
    "Difference",
    "Remark",
    "TriedExample",
    "books_of",
    "coverage",
    "difference",
    "remarks",
    "rulebook_schema",
    "try_examples",
]


def books_of(folders: Sequence[Path], today: date | None = None) -> Rulebook:
    """Return the built-in books with those of these folders, their examples untried.

    Raises :class:`~rules.rulebook.source.RulebookError` with every defect.
    """
    return load_books([files("rules").joinpath("books"), *folders], request_vocabulary(), today)


# --- remarks -------------------------------------------------------------------------------------------------------

Level: TypeAlias = Literal["warning", "error"]


@dataclass(frozen=True, slots=True)
class Remark:
    """What should be better about a rule or an adjustment; an error for a built-in rule."""

    file: str
    line: int
    code: str
    level: Level
    reason: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.level}: {self.code}: {self.reason}"


_WARN_DAYS: Final = 30
"""Days before its end from which on an adjustment is said to end soon."""


def remarks(book: Rulebook, today: date | None = None) -> list[Remark]:
    """Return the remarks on every rule and adjustment of the books, by file and line.

    ``today`` is the day against which adjustments end; load the books with the same day. Ends are not remarked on if
    it is None.
    """
    found: list[Remark] = []
    for rule in book.rules:
        level: Level = "warning" if rule.code in book.own else "error"
        found += [Remark(rule.file, rule.line, rule.code, level, reason) for reason in _of_rule(rule, book)]
    for one in (*book.adjustments, *book.expired):
        reasons = _of_adjustment(one, book, today)
        found += [Remark(one.file, one.line, one.entry.code, "warning", reason) for reason in reasons]
    return sorted(found, key=lambda one: (one.file, one.line))


def _of_rule(rule: Rule, book: Rulebook) -> Iterator[str]:
    own = rule.code in book.own
    if rule.why is None:
        yield "no why: say why the rule exists"
    if rule.remedy == RuleEntry.default_remedy(rule.code):
        yield "no remedy: say what to do about a finding"
    if rule.source == RuleEntry.default_source(rule.book):
        yield "no source: say where its numbers come from"
    if own and rule.owner is None:
        yield "no owner: say who is responsible for the rule"
    for name in _unguarded_labels(rule):
        yield (
            f"undecided for every stack without {name}; leave those out with where: stated({name}) && ...,"
            " or give an undecided example that removes the label"
        )
    if rule.applies_to != "part":  # an example is a request; parts are judged in a library
        yield from _of_examples(rule, book.vocabulary)
    if rule.replaced_by is not None:
        known = any(one.code == rule.replaced_by for one in book.rules)
        yield f"replaced by {rule.replaced_by}{'; remove it' if known else ', which does not exist'}"
    first = book.originals.get(rule.code)
    if first is not None and SEVERITIES.index(rule.severity) != SEVERITIES.index(first.severity):
        yield f"{_moved(first.severity, rule.severity)} of the rule that it replaces"


def _unguarded_labels(rule: Rule) -> list[str]:
    """Return the labels that ``where`` reads unguarded, unless an undecided example removes them.

    Few stacks have every label, and an undecided rule makes each of the others a review.
    """
    if rule.scope is None:
        return []
    removed = {place for example in rule.examples.undecided for place in example.remove}
    names = dict.fromkeys(name for name in names_in(rule.scope) if name.startswith("labels."))
    return [name for name in names if "/" + name.replace(".", "/", 1) not in removed and not _tested(name, rule.scope)]


def _tested(name: str, one: Expression) -> bool:
    if isinstance(one, Call) and one.function in ("has", "stated"):
        return one.argument == Name(name)
    return any(_tested(name, part) for part in children(one))


def _of_examples(rule: Rule, vocabulary: Vocabulary) -> Iterator[str]:
    if not rule.examples.fires:
        yield "no example that fires"
    if not rule.examples.silent:
        yield "no example that stays silent"
    if not rule.examples.undecided and (name := _may_be_missing(rule, vocabulary)) is not None:
        yield f"no example that is undecided; it is without {name}"


def _moved(before: Severity, after: Severity) -> str:
    higher = SEVERITIES.index(after) > SEVERITIES.index(before)
    return f"{'raises' if higher else 'lowers'} the severity from {before} to {after}"


def _may_be_missing(rule: Rule, vocabulary: Vocabulary) -> str | None:
    """Return a field of requests that leaves the rule undecided if it is left out; None if there is none."""
    words = vocabulary.of(rule.applies_to)
    conditions = [one for one in (rule.scope, rule.requirement) if one is not None]
    return next(
        (
            name
            for one in conditions
            for name in _compared(one)
            if name in words and words[name].from_request and name not in rule.stated
            if name.rpartition(".")[2] not in _ALWAYS_STATED
        ),
        None,
    )


def _compared(one: Expression) -> Iterator[str]:
    """Yield the names of an expression, but for those in has() and stated()."""
    if isinstance(one, Name):
        yield one.name
    elif not (isinstance(one, Call) and one.function in ("has", "stated")):
        for part in children(one):
            yield from _compared(part)


_ALWAYS_STATED: Final = ("kind", "id")


def _of_adjustment(one: Adjustment, book: Rulebook, today: date | None) -> Iterator[str]:
    entry, rule = one.entry, book.rule(one.entry.code)
    if entry.severity == rule.severity:
        yield f"sets the severity {entry.severity}, which the rule has already"
    elif entry.severity is not None:
        yield f"{_moved(rule.severity, entry.severity)}"
    for name, value in entry.thresholds.items():
        if value == rule.thresholds[name].value:
            yield f"sets {name} to {value:g}, which it is already"
        elif rule.safety and not one.tightens[name]:
            yield f"may loosen the threshold {name} of a safety rule"
    if entry.disable and one.scope is None:
        yield "switches the rule off everywhere"
    if entry.until is None:
        if entry.disable or rule.safety:
            yield "has no end; write until"
    elif today is not None:
        if entry.until < today:
            yield f"ended on {entry.until} and no longer counts"
        elif entry.until <= today + timedelta(days=_WARN_DAYS):
            yield f"ends on {entry.until}"


# --- the schema of rulebook files ----------------------------------------------------------------------------------


def rulebook_schema(vocabulary: Vocabulary) -> dict[str, Any]:
    """Return the JSON Schema of rulebook files, for editors.

    It describes every field, and lists under each kind of subject the names that an expression may use. What the
    linter alone can tell, such as a misspelt name inside an expression, the schema accepts.
    """
    schema, definitions = _schema_of(BookHead), dict[str, Any]()
    for model, place in ((RuleEntry, "rules"), (AdjustmentEntry, "adjust")):
        entry = _schema_of(model)
        definitions |= entry.pop("$defs", {})
        definitions[model.__name__] = entry
        schema["properties"][place]["items"] = {"$ref": f"#/$defs/{model.__name__}"}
    threshold = definitions["Threshold"]
    short = [{"type": "number"}, {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)? ?\S", "examples": ["6000 rpm"]}]
    definitions["Threshold"] = {"description": threshold.pop("description"), "anyOf": [*short, threshold]}
    definitions["RuleEntry"]["allOf"] = [_names_for(kind) for kind in vocabulary.kinds]
    for kind in vocabulary.kinds:
        definitions[f"names_of_{kind}"] = {
            "description": f"A name of a property of {kind}.",
            "anyOf": [
                *({"const": name, "description": _described(one)} for name, one in sorted(vocabulary.of(kind).items())),
                {"type": "string"},
            ],
        }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Rulebook",
        "$defs": dict(sorted(definitions.items())),
    }


def _schema_of(model: type[BaseModel]) -> dict[str, Any]:
    return model.model_json_schema(by_alias=True)


def _names_for(kind: str) -> dict[str, Any]:
    named = {"$ref": f"#/$defs/names_of_{kind}"}
    places = ("where", "require", "observed", "limit")
    return {
        "if": {"properties": {"for": {"const": kind}}, "required": ["for"]},
        "then": {"properties": dict.fromkeys(places, named)},
    }


def _described(one: Property) -> str:
    unit = "" if one.unit == "none" else f" [{one.unit}]"
    among = "" if one.values is None else f": {', '.join(one.values)}"
    return f"{one.meaning}{unit}{among}"


# --- examples and coverage -----------------------------------------------------------------------------------------


class TriedExample(NamedTuple):
    """An example of a rule, what it says, and what the rule does on it."""

    rule: Rule
    name: str
    says: str
    does: str

    @property
    def holds(self) -> bool:
        """Whether the rule does what its example says."""
        return self.says == self.does


def try_examples(book: Rulebook, rules: Iterable[Rule]) -> list[TriedExample]:
    """Return what each rule, as written, does on each of its examples."""
    assessor = Assessor(replace(book, adjustments=()))
    return [
        TriedExample(rule, example.name, says, assessor.outcome(rule.code, example))
        for rule in rules
        for says in ("fires", "silent", "undecided")
        for example in getattr(rule.examples, says)
    ]


@dataclass(slots=True)
class Coverage:
    """How often each rule had which outcome, counted by subject and operation; rules on parts have none."""

    book: Rulebook
    stacks: int = 0
    faults: int = 0
    """Requests that could not be judged."""
    counts: dict[str, Counter[Outcome]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Start with nothing counted for every rule."""
        self.counts = {rule.code: Counter() for rule in self.book.rules if rule.applies_to != "part"}

    def never(self, *outcomes: Outcome, own: bool = False) -> list[str]:
        """Return the codes of the rules, or of those that are not built in, that never had one of these outcomes."""
        return [
            code
            for code, counted in self.counts.items()
            if not any(counted[one] for one in outcomes) and (not own or code in self.book.own)
        ]


def coverage(assessor: Assessor, requests: Iterable[CheckRequest | None], *, strict: bool = False) -> Coverage:
    """Count the outcomes of every rule over these requests.

    An invalid request, or None for one that could not be read, is counted as a fault, or raises if ``strict``.
    """
    found = Coverage(assessor.book)
    for request in requests:
        try:
            situations = None if request is None else assessor.situations(request)
        except BadRequestError:
            if strict:
                raise
            situations = None
        if situations is None:
            found.faults += 1
            continue
        found.stacks += 1
        for number, one in enumerate(situations.each):
            for standing in assessor.engine.standings(one.analysis.facts, situations.overrides, one.view_of):
                code = standing.rule.code
                if number == 0 or assessor.depends_on_operation(code):
                    found.counts[code][standing.outcome] += 1
    return found


# --- what a change of the books changes ----------------------------------------------------------------------------


class Change(NamedTuple):
    """A kind of change between two reports, how many stacks have it, and the first of them."""

    what: str
    stacks: int
    first: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """What differs between two sets of books, and between the reports they make of a library.

    ``changed`` are rules with, each, the fields that differ; ``findings`` and ``verdicts`` count stacks.
    """

    added: tuple[str, ...]
    removed: tuple[str, ...]
    changed: tuple[tuple[str, tuple[str, ...]], ...]
    adjusted: bool
    stacks: int
    faults: int
    verdicts: tuple[Change, ...]
    findings: tuple[Change, ...]

    @property
    def is_empty(self) -> bool:
        """Whether nothing differs."""
        return not (self.added or self.removed or self.changed or self.adjusted or self.verdicts or self.findings)


_FIRST: Final = 3
"""Stacks that are named for each change."""

_CODE_NAMES: Final = {"applies_to": "for"}


def difference(old: Assessor, new: Assessor, library: Iterable[tuple[str, CheckRequest | None]]) -> Difference:
    """Return what differs between two sets of books.

    ``library`` are stacks, each with the place it was read from, None for one that could not be read.
    """
    before, after = ({rule.code: rule for rule in one.book.rules} for one in (old, new))
    changed = [
        (code, fields)
        for code in sorted(before.keys() & after.keys())
        if (fields := _changed_fields(before[code], after[code]))
    ]
    verdicts: dict[str, list[str]] = {}
    findings: dict[str, list[str]] = {}
    stacks = faults = 0
    for place, request in library:
        try:
            both = None if request is None else (old.assess(request), new.assess(request))
        except BadRequestError:
            both = None
        if both is None:
            faults += 1
            continue
        stacks += 1
        if both[0].verdict != both[1].verdict:
            verdicts.setdefault(f"{both[0].verdict} to {both[1].verdict}", []).append(place)
        for what in _changed_findings(*both):
            findings.setdefault(what, []).append(place)
    return Difference(
        tuple(sorted(after.keys() - before.keys())),
        tuple(sorted(before.keys() - after.keys())),
        tuple(changed),
        [one.entry for one in old.book.adjustments] != [one.entry for one in new.book.adjustments],
        stacks,
        faults,
        _changes(verdicts),
        _changes(findings),
    )


def _changed_fields(before: Rule, after: Rule) -> tuple[str, ...]:
    return tuple(
        _CODE_NAMES.get(name, name) for name in RuleEntry.model_fields if getattr(before, name) != getattr(after, name)
    )


def _changed_findings(before: Report, after: Report) -> Iterator[str]:
    """Yield each code with what it says now and then, once per stack."""
    said = [
        Counter(
            [(one.code, one.severity, tuple(one.at), one.operation) for one in report.findings]
            + [(one.code, "undecided", tuple(one.at), one.operation) for one in report.undecided]
        )
        for report in (before, after)
    ]
    gone, come = said[0] - said[1], said[1] - said[0]
    moved: dict[str, tuple[set[str], set[str]]] = {}
    for place, counted in enumerate((gone, come)):
        for code, severity, _, _ in counted:
            moved.setdefault(code, (set(), set()))[place].add(severity)
    for code, (left, right) in sorted(moved.items()):
        yield f"{code}: {_listed(left)} to {_listed(right)}"


def _listed(severities: set[str]) -> str:
    return " and ".join(sorted(severities)) or "nothing"


def _changes(found: dict[str, list[str]]) -> tuple[Change, ...]:
    return tuple(
        Change(what, len(places), tuple(places[:_FIRST]))
        for what, places in sorted(found.items(), key=lambda one: (-len(one[1]), one[0]))
    )
