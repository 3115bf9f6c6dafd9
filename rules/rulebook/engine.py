"""The rules engine: compiles rulebooks into durable-rules and judges facts with it.

This is the only module that uses durable-rules.
It calls the engine's C core directly. The Python layer above it starts timer threads that dispatch actions, swallows
exceptions and writes the session state back after every action, which costs five times the matching. The core fails
silently in some cases, so this module guards against them:

- facts are integers under fixed names (see :mod:`rules.rulebook.lowering`), without any text from a request; each is
  asserted singly, under its own key;
- the core identifies a session by a 32-bit hash of its name, so names come from a small pool checked for collisions;
  each session is deleted before its name is reused;
- deleting a session in which no rule has fired crashes the process, so a marker fact opens each session and fires the
  catch-all rule first;
- a lost fact would look like one without findings, so the catch-all rule must match every fact; otherwise
  :class:`EngineFaultError` is raised and there is no judgement.

Before matching, each fact gets what its rules read from the request and from other subjects, and the terms that
:mod:`rules.rulebook.lowering` leaves to be computed. The term of a ``where`` stands on a fact only if it is true or
missing, so the shape of a fact, its kind with the names of its known and its missing properties, says which rules
concern it. Facts of one shape share a plan: the rules that are decided, the rules that are not, and the template of the
text for the engine.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import threading
import weakref
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from queue import SimpleQueue
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, TypeAlias

try:
    import durable_rules_engine as core
except ImportError as fault:
    if "PyEval_CallObject" not in str(fault):
        raise
    raise ImportError(
        "durable-rules was compiled without a flag that Python 3.13 and later need; compile it again: "
        'CPPFLAGS="-O2 -DPyEval_CallObject=PyObject_CallObject" '
        "pip install --force-reinstall --no-cache-dir --no-deps durable-rules==2.0.28"
    ) from fault

from rules.rulebook.book import (
    SEVERITIES,
    Adjustment,
    Fired,
    Judgement,
    Outcome,
    Overrides,
    Rule,
    Rulebook,
    Severity,
    Standing,
    Undecided,
    check_overrides,
)
from rules.rulebook.expression import Gap, Result, View, compiled, joined
from rules.rulebook.fact import Fact, FactError
from rules.rulebook.linting import lint_limits, lint_rules
from rules.rulebook.lowering import (
    CATCH_ALL,
    MARKER_KIND,
    Lowered,
    LoweredKind,
    LoweredPortion,
    LoweredRule,
    lower,
    ordered,
)
from rules.rulebook.source import RulebookError
from rules.rulebook.vocabulary import PropertyType, Vocabulary

__all__ = ["SESSIONS", "Engine", "EngineFaultError", "Judgement"]


MARKER_TEMPLATE: Final = '{"sid":"%s","key":%d,"kind":"' + MARKER_KIND + '"}'
"""The engine's text of the fact that opens a session, with places for session and key."""

# Largest finite double. Infinities exceed it, and NaN fails both comparisons.
_LARGEST: Final = 1.7976931348623157e308
_NUMBER: Final = (float, int)
_USUAL: Final[Mapping[PropertyType, set[type]]] = {"number": {float}, "text": {str}, "flag": {bool}}
_NO_LIMITS: Final[Mapping[str, float]] = MappingProxyType({})


_Taking: TypeAlias = Callable[[Any], tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Plan:
    """How facts of one shape are judged.

    Parameters
    ----------
    template
        JSON text for the engine with places for session, key and slot numbers. It holds the flags of the decided rules
        and the slots they read, no others: a rule does not match without its flag.
    numbers, limits, texts, flags
        What takes the values for the places after session and key, in this order: properties and terms that are
        numbers, thresholds, texts and flags.
    checked
        Further properties that decided rules use, by required type.
    decided
        Codes of the decided rules.
    undecided
        Rules not decided, each with its missing properties and terms.
    """

    template: str
    numbers: _Taking
    limits: _Taking
    texts: _Taking
    flags: _Taking
    checked: Sequence[tuple[PropertyType, tuple[str, ...], _Taking]]
    decided: frozenset[str]
    undecided: tuple[tuple[Rule, tuple[str, ...]], ...]

    def fill(self, fact: Fact, thresholds: Sequence[float], texts: dict[str, int]) -> tuple[int, ...]:
        """Return the numbers for the template; raises :class:`FactError` for a value of the wrong type.

        ``texts`` numbers the texts met so far; new ones are added.
        """
        known: Mapping[str, Any] = fact.known
        for kind, names, taking in self.checked:
            found = taking(known)
            # the usual type first; the sum of finite floats is finite, unless it is out of range
            if set(map(type, found)) == _USUAL[kind] and (kind != "number" or math.isfinite(sum(found))):
                continue
            for name, value in zip(names, found, strict=True):
                if kind == "number":
                    sound = isinstance(value, _NUMBER) and not isinstance(value, bool)
                    if not (sound and -_LARGEST <= value <= _LARGEST):
                        raise _wrong(fact, name, "a finite number")
                elif not isinstance(value, str if kind == "text" else bool):
                    raise _wrong(fact, name, "text" if kind == "text" else "a flag")
        return (
            *ordered((*self.numbers(known), *self.limits(thresholds))),
            *[texts.setdefault(text, len(texts) + 1) for text in self.texts(known)],
            *[1 if flag else 0 for flag in self.flags(known)],
        )


def _taking(places: Sequence[Any]) -> _Taking:
    """Return what takes the values at some places, several or none."""
    if len(places) > 1:
        return itemgetter(*places)
    return lambda values: tuple([values[place] for place in places])


def _wrong(fact: Fact, name: str, wanted: str) -> FactError:
    return FactError(f"{fact.key}: {name} must be {wanted}, not {fact.known[name]!r}")


def make_plan(
    fact: Fact,
    lowered: LoweredKind | None,
    vocabulary: Vocabulary,
    terms: frozenset[str] = frozenset(),
    off: frozenset[str] = frozenset(),
) -> Plan:
    """Return the plan for facts of this shape, which hold the terms of its kind.

    A rule concerns the fact if the term of its ``where`` is there (true or missing), all that it tests by has() or
    stated() is, and all that it reads exists. Rules that are ``off`` concern nothing.

    Raises :class:`FactError` when the shape contradicts itself or the vocabulary.
    """
    _refuse_contradictions(fact, vocabulary, terms)
    chosen: list[LoweredRule] = []
    undecided: list[tuple[Rule, tuple[str, ...]]] = []
    for candidate in lowered.rules if lowered else ():
        rule = candidate.rule
        if rule.code in off:
            continue
        asked = (*candidate.reads, *rule.exists, *(() if candidate.scope is None else (candidate.scope,)))
        if any(name not in fact.known and name not in fact.lacking for name in asked):
            continue
        if any(name not in fact.known for name in rule.stated):
            continue
        gaps = candidate.reads if candidate.scope is None else (*candidate.reads, candidate.scope)
        if lacking := tuple(name for name in gaps if name in fact.lacking):
            undecided.append((rule, lacking))
        else:
            chosen.append(candidate)
    slots = lowered.slots if lowered else ()
    used = sorted({slot for candidate in chosen for slot in candidate.slots})
    grouped = {source: [slot for slot in used if slots[slot].source == source] for source in _SOURCES}
    fields = [f'"{candidate.flag}":1' for candidate in chosen]
    fields += [f'"v{slot}":%d' for source in _SOURCES for slot in grouped[source]]
    taking = {source: _taking([slots[slot].key for slot in grouped[source]]) for source in _SOURCES}
    return Plan(
        template=f'{{"sid":"%s","key":%d,"kind":"{fact.kind}",{",".join(fields)}}}',
        numbers=taking["number"],
        limits=taking["threshold"],
        texts=taking["text"],
        flags=taking["flag"],
        checked=_by_type(fact.kind, (candidate.rule for candidate in chosen), vocabulary),
        decided=frozenset(candidate.rule.code for candidate in chosen),
        undecided=tuple(undecided),
    )


_SOURCES: Final[tuple[PropertyType | Literal["threshold"], ...]] = ("number", "threshold", "text", "flag")


def _by_type(
    kind: str, rules: Iterable[Rule], vocabulary: Vocabulary
) -> Sequence[tuple[PropertyType, tuple[str, ...], _Taking]]:
    properties = vocabulary.of(kind)
    names = [name for name, known in properties.items() if known.always]
    names += [name for rule in rules for name in rule.needs]
    found: dict[PropertyType, dict[str, None]] = {}
    for name in names:
        found.setdefault(properties[name].type, {})[name] = None
    return [(one, tuple(own), _taking(tuple(own))) for one, own in found.items()]


def _refuse_contradictions(fact: Fact, vocabulary: Vocabulary, terms: frozenset[str]) -> None:
    if fact.kind not in vocabulary.kinds:
        raise FactError(f"{fact.key}: there are no facts of the kind {fact.kind!r}")
    properties = vocabulary.of(fact.kind)
    for name in (*fact.known, *fact.lacking):
        if name not in properties and name not in terms:
            raise FactError(f"{fact.key}: the vocabulary has no property {name!r} on a {fact.kind}")
    if both := fact.known.keys() & fact.lacking.keys():
        raise FactError(f"{fact.key}: both known and lacking: {', '.join(sorted(both))}")
    for name, known in properties.items():
        if known.always and name not in fact.known:
            raise FactError(f"{fact.key}: lacks {name}, which every {fact.kind} has")


SESSIONS: Final = 64
"""Sessions open at once in a process; further callers wait. The core crashes at the 1,025th."""

_MOST_FACTS: Final = 10_000
_MOST_PLANS: Final = 4_096
# The core identifies a fact by a 32-bit hash of its content. After a collision within a session, the later fact is
# asserted again with its key raised by this step.
_KEY_STRIDE: Final = 100_000
_KEY_TRIES: Final = 8
_MARKER_KEY: Final = _KEY_STRIDE - 1

_OBSERVED: Final = 2
_MATCH: Final = re.compile(r'\{"([^"]+)":\{"m":\{"sid":"([^"]+)","key":(\d+),')


class EngineFaultError(RuntimeError):
    """The engine failed. There is no judgement, and an empty list of findings would be wrong."""


class Engine:
    """A compiled rulebook; any number of threads may share one instance.

    A rulebook too large for one rule set of the core is compiled in portions; every fact goes to each portion.

    Raises :class:`~rules.rulebook.source.RulebookError` for a book that does not pass the linter.
    Engines whose books have equal conditions share one compiled set.
    """

    def __init__(self, book: Rulebook) -> None:
        if not book.sound:
            problems = lint_rules(book.rules, book.vocabulary) or lint_limits(book.rules, book.vocabulary)
            if problems:
                raise RulebookError(problems)
        self._book = book
        self._lowered: Lowered = lower(book.rules, book.vocabulary)
        index = self._lowered.threshold_index
        self._places_of: Mapping[str, Sequence[tuple[str, int]]] = {
            rule.code: [(name, index[rule.code, name]) for name in rule.thresholds] for rule in book.rules
        }
        usual = self._lowered.thresholds
        self._usual_limits: Mapping[str, Mapping[str, float]] = {
            code: {name: usual[place] for name, place in places} for code, places in self._places_of.items()
        }
        self._order: Mapping[str, int] = {rule.code: place for place, rule in enumerate(book.rules)}
        terms = {
            kind: frozenset(
                term.name
                for found in (self._lowered.scopes.get(kind, ()), *[group.terms for group in groups])
                for term in found
            )
            for kind, groups in self._lowered.groups.items()
        }
        self._portions = [_Portion(one, book.vocabulary, terms) for one in self._lowered.portions]
        self._adjusters: dict[str, list[_Adjuster]] = {}
        for place, one in enumerate(book.adjustments):
            kind = book.rule(one.entry.code).applies_to
            self._adjusters.setdefault(kind, []).append(_Adjuster(place, one, index))
        object.__setattr__(book, "sound", True)

    @property
    def book(self) -> Rulebook:
        """The rulebook that was compiled."""
        return self._book

    def judge(
        self,
        facts: Sequence[Fact],
        overrides: Overrides | None = None,
        view_of: Callable[[Fact], View] | None = None,
    ) -> Judgement:
        """Decide every rule on every fact it concerns.

        Parameters
        ----------
        facts
            Subjects of one request; not modified.
        overrides
            Rule code to threshold name to value; check beforehand by
            :func:`~rules.rulebook.book.check_overrides`.
        view_of
            What a subject sees beyond its own fact; by default the properties of the other facts are not seen.

        Raises
        ------
        FactError
            A fact contradicts itself or the vocabulary, two have one key, or there are more than 10,000.
        ValueError
            An override that the book does not allow.
        EngineFaultError
            The engine lost a fact or failed.
        """
        order, rules = self._order, self._book.rules
        fired: list[tuple[int, int]] = []
        gaps: list[tuple[int, int, tuple[str, ...]]] = []
        decided: set[str] = set()
        run = self._run(facts, overrides, view_of)
        seen, changes, gaps_of = run.seen, run.changes, run.gaps_of
        judged: list[set[str]] = [set(one.off) for one in changes]
        for plans, matches in run.portions:
            fired += [(order[code], key) for code, key in matches]
            gaps += [(order[rule.code], key, names) for key, plan in enumerate(plans) for rule, names in plan.undecided]
            decided.update(*[plan.decided for plan in plans])
            if self._adjusters:
                for codes, plan in zip(judged, plans, strict=True):
                    codes.update(plan.decided, (rule.code for rule, _ in plan.undecided))
        decided.difference_update([rules[place].code for place, _, _ in gaps])
        return Judgement(
            fired=tuple([self._fired(rules[place], seen[key], changes[key]) for place, key in sorted(fired)]),
            undecided=tuple(
                Undecided(
                    rules[place],
                    facts[key],
                    _lacking(names, seen[key], gaps_of),
                    changes[key].severities.get(rules[place].code, rules[place].severity),
                )
                for place, key, names in sorted(gaps)
            ),
            decided=tuple(sorted(decided)),
            adjusted=tuple(
                sorted(
                    {
                        place
                        for one, codes in zip(changes, judged, strict=True)
                        for place in one.places
                        if self._book.adjustments[place].entry.code in codes
                    }
                )
            ),
        )

    def standings(
        self,
        facts: Sequence[Fact],
        overrides: Overrides | None = None,
        view_of: Callable[[Fact], View] | None = None,
    ) -> list[Standing]:
        """Return what every rule makes of every fact of its kind, by code, then by fact; as :meth:`judge` otherwise."""
        run = self._run(facts, overrides, view_of)
        fired = {match for _, matches in run.portions for match in matches}
        decided = [
            frozenset[str]().union(*[plans[key].decided for plans, _ in run.portions]) for key in range(len(facts))
        ]
        lacking = {
            (rule.code, key): _lacking(names, run.seen[key], run.gaps_of)
            for plans, _ in run.portions
            for key, plan in enumerate(plans)
            for rule, names in plan.undecided
        }
        found: list[Standing] = []
        for rule in self._book.rules:
            for key, fact in enumerate(facts):
                if fact.kind != rule.applies_to:
                    continue
                changed, case = run.changes[key], (rule.code, key)
                outcome: Outcome = "not_concerned"
                if case in lacking:
                    outcome = "undecided"
                elif rule.code in decided[key]:
                    outcome = "fires" if case in fired else "holds"
                limits = self._limits(rule.code, changed.thresholds)
                severity = None if rule.code in changed.off else changed.severities.get(rule.code, rule.severity)
                found.append(Standing(rule, fact, outcome, limits, severity, lacking.get(case, {})))
        return found

    def _run(self, facts: Sequence[Fact], overrides: Overrides | None, view_of: Callable[[Fact], View] | None) -> _Run:
        if len({fact.key for fact in facts}) != len(facts):
            raise FactError("two facts have the same key")
        if len(facts) > _MOST_FACTS:
            raise FactError(f"{len(facts)} facts in one request; at most {_MOST_FACTS}")
        thresholds = self._thresholds(overrides) if overrides else self._lowered.thresholds
        index = self._lowered.threshold_index
        asked = frozenset(index[code, name] for code, wanted in (overrides or {}).items() for name in wanted)
        changes = self._changes(facts, _Changes(thresholds, asked=asked), view_of)
        seen, gaps_of = self._seen(facts, changes, view_of)
        texts = dict(self._lowered.texts)
        return _Run(seen, changes, gaps_of, [portion.judge(seen, changes, texts) for portion in self._portions])

    def _changes(
        self, facts: Sequence[Fact], usual: _Changes, view_of: Callable[[Fact], View] | None
    ) -> list[_Changes]:
        """Return thresholds, severities and rules that are off on each fact."""
        if not self._adjusters:
            return [usual] * len(facts)
        return [self._changed(fact, usual, view_of) for fact in facts]

    def _changed(self, fact: Fact, usual: _Changes, view_of: Callable[[Fact], View] | None) -> _Changes:
        adjusters = self._adjusters.get(fact.kind)
        if not adjusters:
            return usual
        view: View = _Alone(fact) if view_of is None else view_of(fact)
        changed = _Changes(list(usual.thresholds), asked=usual.asked)
        for one in adjusters:
            one.apply(changed, view, self._book.rule(one.adjustment.entry.code).severity)
        return changed

    def _seen(
        self, facts: Sequence[Fact], changes: Sequence[_Changes], view_of: Callable[[Fact], View] | None
    ) -> tuple[Sequence[Fact], Mapping[tuple[str, str], Gap]]:
        """Return the facts with the terms of their kind and the properties read from the request, and their gaps."""
        gaps_of: dict[tuple[str, str], Gap] = {}
        extended = [
            self._extended(fact, changed.thresholds, view_of, gaps_of)
            for fact, changed in zip(facts, changes, strict=True)
        ]
        return extended, gaps_of

    def _extended(
        self,
        fact: Fact,
        thresholds: Sequence[float],
        view_of: Callable[[Fact], View] | None,
        gaps_of: dict[tuple[str, str], Gap],
    ) -> Fact:
        scopes, groups = self._lowered.scopes.get(fact.kind, ()), self._lowered.groups.get(fact.kind, ())
        if not scopes and not groups:
            return fact
        view: View = _Alone(fact) if view_of is None else view_of(fact)
        found: dict[str, Result] = {}
        elsewhere: set[str] = set()  # where does not hold: the rule does not concern this subject
        for name, code, value in scopes:
            result = value(view, _NO_LIMITS if code is None else self._limits(code, thresholds))
            if result is False:
                elsewhere.add(name)
            else:
                found[name] = result
        for readers, terms, names in groups:
            if readers and elsewhere.issuperset(readers):
                continue
            for name, code, value in terms:
                found[name] = value(view, _NO_LIMITS if code is None else self._limits(code, thresholds))
            for name in names:
                if name not in fact.known:
                    found[name] = view.get(name)
        known, lacking = dict(fact.known), dict(fact.lacking)
        for name, result in found.items():
            if isinstance(result, Gap):
                lacking[name] = tuple([field for fields in result.lacking.values() for field in fields])
                gaps_of[fact.key, name] = result
            elif result is not None:
                known[name] = result
        return Fact(fact.kind, fact.key, fact.at, known, lacking)

    def _limits(self, code: str, thresholds: Sequence[float]) -> Mapping[str, float]:
        if thresholds is self._lowered.thresholds:
            return self._usual_limits[code]
        return {name: thresholds[place] for name, place in self._places_of[code]}

    def _thresholds(self, overrides: Overrides) -> Sequence[float]:
        if problems := check_overrides(self._book.rules, overrides):
            raise ValueError("; ".join(f"{p.code} {p.threshold}: {p.reason}" for p in problems))
        values = list(self._lowered.thresholds)
        for code, wanted in overrides.items():
            for name, value in wanted.items():
                values[self._lowered.threshold_index[code, name]] = value
        return values

    def _fired(self, rule: Rule, fact: Fact, changed: _Changes) -> Fired:
        limits = MappingProxyType(self._limits(rule.code, changed.thresholds))
        return Fired(rule, fact, limits, changed.severities.get(rule.code, rule.severity))


@dataclass(slots=True)
class _Changes:
    """What adjustments make of the rules on one fact."""

    thresholds: Sequence[float]
    severities: dict[str, Severity] = field(default_factory=dict)
    off: frozenset[str] = frozenset()
    places: set[int] = field(default_factory=set)
    """Places of the adjustments that count here."""
    asked: frozenset[int] = frozenset()
    """Thresholds that the request set, which no adjustment changes."""


class _Run(NamedTuple):
    """The facts as the engine saw them, and what each portion made of them: plans, and matches of rule and fact."""

    seen: Sequence[Fact]
    changes: Sequence[_Changes]
    gaps_of: Mapping[tuple[str, str], Gap]
    portions: Sequence[tuple[list[Plan], set[tuple[str, int]]]]


class _Adjuster:
    """One adjustment, with the function that computes its ``where``.

    Where that cannot be told, the stricter of the two rules holds.
    """

    def __init__(self, place: int, adjustment: Adjustment, index: Mapping[tuple[str, str], int]) -> None:
        self.adjustment, self._place, self._index = adjustment, place, index
        self._where = None if adjustment.scope is None else compiled(adjustment.scope)

    def apply(self, changed: _Changes, view: View, severity: Severity) -> None:
        """Change thresholds, severity or presence of the rule on a subject, if the adjustment counts there."""
        entry = self.adjustment.entry
        counts = True if self._where is None else self._where(view, {})
        if counts is False or counts is None:
            return
        sure = counts is True
        before = changed.severities.get(entry.code, severity)
        if entry.severity is not None and (sure or SEVERITIES.index(entry.severity) > SEVERITIES.index(before)):
            changed.severities[entry.code] = entry.severity
            changed.places.add(self._place)
        thresholds = list(changed.thresholds)
        for name, value in entry.thresholds.items():
            place = self._index[entry.code, name]
            if place not in changed.asked and (sure or self.adjustment.tightens[name]):
                thresholds[place] = value
                changed.places.add(self._place)
        changed.thresholds = thresholds
        if entry.disable and sure:
            changed.off |= {entry.code}
            changed.places.add(self._place)


def _lacking(names: Iterable[str], fact: Fact, gaps_of: Mapping[tuple[str, str], Gap]) -> dict[str, tuple[str, ...]]:
    """Return the missing properties, those of a term in its place."""
    gaps = [(name, gaps_of.get((fact.key, name))) for name in names]
    return joined(
        {name: tuple(fact.lacking[name])} if gap is None or not gap.lacking else gap.lacking for name, gap in gaps
    )


class _Alone:
    """The view of a fact that sees nothing but itself."""

    def __init__(self, fact: Fact) -> None:
        self._fact = fact

    def get(self, name: str) -> Result:
        """Return the value of a property of the fact."""
        fields = self._fact.lacking.get(name)
        return self._fact.known.get(name) if fields is None else Gap({name: fields})

    def subjects(self, over: str) -> Sequence[View]:  # noqa: ARG002
        """Return no other subject."""
        return ()


class _Portion:
    """Rules compiled as one set in the core, and the plans for the facts."""

    def __init__(self, lowered: LoweredPortion, vocabulary: Vocabulary, terms: Mapping[str, frozenset[str]]) -> None:
        self._kinds, self._vocabulary, self._terms = lowered.kinds, vocabulary, terms
        self._plans: dict[tuple[str, tuple[str, ...], tuple[str, ...], frozenset[str]], Plan] = {}
        self._set = _compiled(lowered.definition)

    def judge(
        self, facts: Sequence[Fact], changes: Sequence[_Changes], texts: dict[str, int]
    ) -> tuple[list[Plan], set[tuple[str, int]]]:
        """Return the plan of each fact, and the matches: rule code and index of the fact."""
        plans = [self._plan(fact, changed.off) for fact, changed in zip(facts, changes, strict=True)]
        given = [
            (plan.template, key, plan.fill(fact, changes[key].thresholds, texts))
            for key, (fact, plan) in enumerate(zip(facts, plans, strict=True))
            if plan.decided
        ]
        matches = self._set.run(given) if given else set()
        for code, key in matches:
            if code not in plans[key].decided:
                raise EngineFaultError(f"{code} fired on {facts[key].key}, where it can't be decided")
        return plans, matches

    def _plan(self, fact: Fact, off: frozenset[str]) -> Plan:
        shape = (fact.kind, tuple(fact.known), tuple(fact.lacking), off)
        plan = self._plans.get(shape)
        if plan is None:
            plan = make_plan(
                fact,
                self._kinds.get(fact.kind),
                self._vocabulary,
                self._terms.get(fact.kind, frozenset()),
                off,
            )
            if len(self._plans) >= _MOST_PLANS:
                self._plans.clear()
            self._plans[shape] = plan
        return plan


class _CompiledSet:
    """One rule set in the core, with its pool of session names."""

    def __init__(self, name: str, definition: str) -> None:
        try:
            self._handle: int = core.create_ruleset(name, definition)
        except (core.error, MemoryError) as error:
            raise EngineFaultError(f"the rule set can't be compiled: {error}") from error
        # Not at exit, when threads may still be judging; the system frees the memory anyway.
        weakref.finalize(self, core.delete_ruleset, self._handle).atexit = False
        self._free: SimpleQueue[str] = SimpleQueue()
        for number in range(SESSIONS):
            self._free.put(str(number))
        self._lost = 0
        self._lock = threading.Lock()

    def run(self, facts: Sequence[tuple[str, int, tuple[int, ...]]]) -> set[tuple[str, int]]:
        """Return code and key of each match; facts are given as template, key and numbers."""
        sid = self._free.get()
        alive = False
        try:
            state = self._assert(MARKER_TEMPLATE, sid, _MARKER_KEY, ())
            first = self._start(state)
            # The marker has fired a rule in this session, so deleting it is safe from here on.
            alive = True
            if self._finish(state, sid, first) != {(CATCH_ALL, _MARKER_KEY)}:
                raise EngineFaultError("the engine matched more than the marker of the session")
            for template, key, numbers in facts:
                state = self._assert(template, sid, key, numbers)
            matches = self._finish(state, sid, self._start(state))
        except (core.error, MemoryError) as error:
            raise EngineFaultError(f"the engine failed: {error}") from error
        finally:
            self._close(sid, alive)
        seen = {key for code, key in matches if code == CATCH_ALL}
        if seen != {key for _, key, _ in facts}:
            raise EngineFaultError(f"of {len(facts)} facts the engine saw {len(seen)}")
        return {(code, key) for code, key in matches if code != CATCH_ALL}

    def _assert(self, template: str, sid: str, key: int, numbers: tuple[int, ...]) -> int:
        for attempt in range(_KEY_TRIES):
            text = template % (sid, key + attempt * _KEY_STRIDE, *numbers)
            result, state = core.assert_fact(self._handle, text)
            if result == 0:
                return int(state)
            if result != _OBSERVED:
                raise EngineFaultError(f"the engine did not take a fact (result {result})")
        raise EngineFaultError("the engine mistook a fact for an earlier one")

    def _start(self, state: int) -> str:
        """Return the first pending match of a session."""
        started = core.start_action_for_state(self._handle, state)
        # Fetching the next match crashes the process unless a match is in progress.
        if started is None:
            raise EngineFaultError("the engine matched none of the facts asserted")
        return str(started[1])

    def _finish(self, state: int, sid: str, text: str | None) -> set[tuple[str, int]]:
        """Return all pending matches of a session, beginning with the one in progress."""
        matches: set[tuple[str, int]] = set()
        while text is not None:
            matches.add(_read(text, sid))
            text = core.complete_and_start_action(self._handle, state)
        return matches

    def _close(self, sid: str, alive: bool) -> None:
        try:
            if alive:
                core.delete_state(self._handle, sid)
        except (core.error, MemoryError) as error:
            alive = False
            raise EngineFaultError(f"a session can't be closed: {error}") from error
        finally:
            self._free.put(sid if alive else self._new_name())

    def _new_name(self) -> str:
        # The name of a session that cannot be deleted is lost. After about 900 such losses the core rejects every new
        # session, and every call fails until the process restarts.
        with self._lock:
            self._lost += 1
            return str(SESSIONS - 1 + self._lost)


def _read(text: str, sid: str) -> tuple[str, int]:
    found = _MATCH.match(text)
    if found is None or found[2] != sid:
        raise EngineFaultError("the engine returned another session or an unknown form")
    return found[1], int(found[3]) % _KEY_STRIDE


_sets: weakref.WeakValueDictionary[str, _CompiledSet] = weakref.WeakValueDictionary()
_sets_lock: Final = threading.Lock()


def _compiled(definition: Mapping[str, Any]) -> _CompiledSet:
    text = json.dumps(definition)
    digest = hashlib.sha256(text.encode()).hexdigest()
    with _sets_lock:
        found = _sets.get(digest)
        if found is None:
            found = _sets[digest] = _CompiledSet(f"book-{digest[:16]}", text)
        return found
