"""Explanation of a rule on a stack: whom it concerns, the values it reads, and what would have to change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from rules.answer.findings import missing_quantity, not_judged, trade_name
from rules.answer.provenance import provenance, refuse_assumptions
from rules.assessor import Assessor, Situation
from rules.quantities.rounding import rounded_for_people
from rules.quantities.units import quantity_and_unit, ucum
from rules.rulebook.book import Rule, Standing
from rules.rulebook.checking import Scope, in_words
from rules.rulebook.expression import (
    COLLECTIONS,
    Expression,
    Gap,
    Macro,
    children,
    compiled,
    conjuncts,
    names_in,
    of_each,
    text_of,
)
from rules.rulebook.fact import Value, written
from rules.rulebook.linting import scope_of
from rules.rulebook.vocabulary import Property, Vocabulary
from rules.schema.explanation import Condition, ExplanationReport, ExplanationRequest, SeenValue, SubjectExplanation
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.request import CheckRequest, StackRequest
from rules.stack.view import Seen

__all__ = ["explain"]


def explain(request: ExplanationRequest, assessor: Assessor) -> ExplanationReport:
    """Return what one rule makes of each subject of a stack, and why.

    A rule that depends on the operation is explained for each operation.
    Raises :class:`~rules.schema.parsing.BadRequestError` for a rule that does not exist, and as a check.
    """
    try:
        rule = assessor.book.rule(request.code)
    except KeyError:
        raise BadRequestError([Fault("/code", f"there is no rule {request.code}", "unknown_rule")]) from None
    refuse_assumptions(request.policy, "an explanation")
    found = assessor.situations(_plain(request))
    each = found.each if assessor.depends_on_operation(rule.code) else found.each[:1]
    subjects = []
    concerned = False
    for situation in each:
        facts = situation.analysis.facts
        named = situation.operation.id if situation.operation and assessor.depends_on_operation(rule.code) else None
        for standing in assessor.engine.standings(facts, found.overrides, situation.view_of):
            if standing.rule.code == rule.code:
                concerned = concerned or standing.outcome != "not_concerned"
                subjects.append(_Explained(standing, situation, assessor.book.vocabulary, found.lead).report(named))
    limits = subjects[0].thresholds if subjects else {name: one.value for name, one in rule.thresholds.items()}
    names = scope_of(rule, assessor.book.vocabulary)
    return ExplanationReport(
        code=rule.code,
        title=rule.title,
        where=None if rule.scope is None else _condition(rule.scope, names, limits),
        require=_condition(rule.requirement, names, limits),
        subjects=subjects,
        not_judged=None if concerned else _why_not(rule, each[0], assessor, subjects),
        provenance=provenance(request, request.policy, assessor.book, assessor.catalogue.digests),
    )


def _plain(request: ExplanationRequest) -> CheckRequest:
    return CheckRequest.model_construct(
        **{name: getattr(request, name) for name in StackRequest.model_fields if name in request.model_fields_set},
        _fields_set=request.model_fields_set - {"code"},
    )


def _condition(one: Expression, names: Scope, limits: Mapping[str, float]) -> Condition:
    return Condition(text=text_of(one), words=in_words(one, names, limits))


def _why_not(rule: Rule, first: Situation, assessor: Assessor, subjects: Sequence[SubjectExplanation]) -> str:
    if rule.applies_to == "part":
        return "An audit judges it, on the parts of a library."
    if subjects and all(one.severity is None for one in subjects):
        return "An adjustment switches the rule off."
    facts = first.analysis.facts
    reasons = not_judged(assessor.book, assessor.engine.judge(facts, None, first.view_of), facts)
    return next((one.reason for one in reasons if one.code == rule.code), "No subject is in its scope.")


class _Explained:
    """One subject of a rule."""

    def __init__(
        self, standing: Standing, situation: Situation, vocabulary: Vocabulary, lead: Callable[[str], str]
    ) -> None:
        self._standing, self._lead, self._vocabulary = standing, lead, vocabulary
        self._view = situation.view_of(standing.fact)
        self._names = scope_of(standing.rule, vocabulary)

    def report(self, operation: str | None) -> SubjectExplanation:
        """Return the explanation for this subject."""
        one = self._standing
        fact, properties = one.fact, self._vocabulary.of(one.rule.applies_to)
        return SubjectExplanation(
            operation=operation,
            subject=str(fact.known.get(fact.kind, fact.known.get("stack", fact.key))),
            at=self._led(fact.at),
            outcome=one.outcome,
            severity=one.severity,
            thresholds=dict(one.thresholds),
            values=list(self._values()),
            lacks=[
                missing_quantity(name, self._led(fields), properties) for name, fields in one.lacking.items() if fields
            ],
            to_pass=list(self._to_pass()),
        )

    def _led(self, pointers: Sequence[str]) -> list[str]:
        return [self._lead(pointer) for pointer in pointers]

    def _values(self) -> Iterator[SeenValue]:
        rule, properties = self._standing.rule, self._vocabulary.of(self._standing.rule.applies_to)
        for name in rule.reads:
            yield self._value(name, properties[name], self._view.seen(name))
        asked = (found for one in (rule.scope, rule.requirement) if one is not None for found in _macros(one))
        for macro in dict.fromkeys(asked):
            inner = self._vocabulary.of(COLLECTIONS[macro.over])
            for view in self._view.subjects(macro.over):
                for name in _names_of(macro):
                    yield self._value(f"{macro.variable}.{name}", inner[name], view.seen(name))

    def _value(self, name: str, known: Property, seen: Seen) -> SeenValue:
        value, state = seen.value, "computed" if seen.computed else "stated"
        if isinstance(value, Gap):
            value, state = None, "missing"
        return SeenValue(
            name=name,
            meaning=known.meaning,
            unit=ucum(known.unit) if known.type == "number" else None,
            value=value,
            state="not_applicable" if seen.value is None else state,  # type: ignore[arg-type] # one of four
            at=self._led(seen.places),
        )

    def _to_pass(self) -> Iterator[str]:
        one = self._standing
        if one.outcome == "undecided":
            for name, fields in one.lacking.items():
                places = " or ".join(self._led(fields))
                yield f"State {_quantity(name)}{f' ({places})' if places else ''}."
        elif one.outcome == "fires":
            for part in conjuncts(one.rule.requirement):
                if compiled(part)(self._view, one.thresholds) is False:
                    yield f"{_sentence(in_words(part, self._names, one.thresholds))}{self._now(part)}."

    def _now(self, part: Expression) -> str:
        properties = self._vocabulary.of(self._standing.rule.applies_to)
        told = [
            (name, _shown(name, value, properties[name]))
            for name in names_in(part)
            if not isinstance(value := self._view.get(name), Gap | None)
        ]
        lines = [one for _, one in told] if len(told) == 1 else [f"{_quantity(name)} {one}" for name, one in told]
        lines += [f"see {place}" for macro in _macros(part) for place in self._against(macro)]
        return f"; now {', '.join(lines)}" if lines else ""

    def _against(self, macro: Macro) -> Iterator[str]:
        """Yield the places of the subjects that a question to several is decided by."""
        subjects = self._view.subjects(macro.over)
        for view, result in zip(subjects, of_each(macro)(self._view, self._standing.thresholds, subjects), strict=True):
            if result is (macro.method != "all"):
                yield from self._led(view.at)


def _quantity(name: str) -> str:
    """Return the quantity that a property means, in words.

    >>> _quantity("upper.workpiece_side.diameter_mm")
    'upper workpiece side diameter'
    """
    return quantity_and_unit(name)[0].replace("_", " ").replace(".", " ")


def _macros(one: Expression) -> Iterator[Macro]:
    if isinstance(one, Macro):
        yield one
    for part in children(one):
        yield from _macros(part)


def _names_of(macro: Macro) -> list[str]:
    start = f"{macro.variable}."
    return [name.removeprefix(start) for name in names_in(macro.body) if name.startswith(start)]


def _shown(name: str, value: Value, known: Property) -> str:
    if isinstance(value, bool):
        return written(value)
    if isinstance(value, str):
        return trade_name(name, value).replace("_", " ")
    unit = "" if known.unit in ("ratio", "none", "count") else f" {known.unit}"
    return f"{written(rounded_for_people(value, known.unit))}{unit}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
