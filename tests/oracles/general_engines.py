"""The rulebooks judged by two independent general-purpose engines.

Both evaluate one expression on one subject of which every value is known. The rules for each subject, and the undecided
ones, are determined here independently.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeAlias

import rule_engine
from cel_expr_python import cel

from rules.rulebook.book import Rule, Rulebook
from rules.rulebook.expression import COLLECTIONS, Call, Expression, Gap, Join, Macro, Name, View, children, inner_names
from rules.rulebook.expression import names_in as read_in
from rules.rulebook.fact import Fact
from tests.oracles.plain_evaluator import Answer
from tests.oracles.rule_translation import CEL, RULE_ENGINE, NotWritableError, key_of, translated
from tests.support.rulebooks import SmallView

__all__ = ["ENGINES", "GeneralEngine", "cel_engine", "rule_engine_engine"]

Holds: TypeAlias = Callable[[View], bool]
Compile: TypeAlias = Callable[[Rule, Expression], Holds]
Verdict: TypeAlias = bool | Gap | None
"""Whether the requirement holds; the gap of an undecided rule; None for a subject that the rule does not concern."""


class _Judge:
    """One rule, compiled."""

    def __init__(self, rule: Rule, compiled: Compile) -> None:
        self.rule = rule
        self._scope = [(one, None if _is_asked(one) else compiled(rule, one)) for one in _members(rule.scope)]
        self._requirement = compiled(rule, rule.requirement)
        shown = re.findall(r"\{([^}]*)\}", rule.message + (rule.remedy or ""))
        ends = [one for one in (rule.observed, rule.limit) if one is not None]
        self._reads = [name for name in (*read_in(rule.requirement), *shown, *ends) if name not in rule.thresholds]

    def verdict(self, view: View) -> Verdict:
        gaps: dict[str, tuple[str, ...]] = {}
        for one, holds in self._scope:
            if isinstance(one, Call) and isinstance(one.argument, Name) and holds is None:
                found = view.get(one.argument.name)
                if found is None or (one.function == "stated" and isinstance(found, Gap)):
                    return None
                continue
            missing = self._missing(read_in(one), view)
            if missing is None or (not missing and holds is not None and not holds(view)):
                return None
            gaps |= missing
        missing = self._missing(self._reads, view)
        if missing is None:
            return None
        gaps |= missing
        return Gap(gaps) if gaps else self._requirement(view)

    def _missing(self, names: Sequence[str], view: View) -> dict[str, tuple[str, ...]] | None:
        found = {name: view.get(name) for name in names}
        if None in found.values():
            return None
        return {name: fields for one in found.values() if isinstance(one, Gap) for name, fields in one.lacking.items()}

    def knows_all(self, view: View) -> bool:
        """Whether every value is known that the rule could ask for, also of the other subjects."""
        parts = [one for one in (self.rule.scope, self.rule.requirement) if one is not None]
        own = [view.get(name) for name in (*self.rule.reads, *(name for one in parts for name in read_in(one)))]
        inner = [
            other.get(name)
            for one in parts
            for kind, name in inner_names(one)
            for over, held in COLLECTIONS.items()
            if held == kind
            for other in view.subjects(over)
        ]
        return not any(one is None or isinstance(one, Gap) for one in (*own, *inner))


def _members(one: Expression | None) -> Sequence[Expression]:
    if one is None:
        return ()
    if isinstance(one, Join) and one.sign == "&&":
        return [found for member in one.members for found in _members(member)]
    return [one]


def _is_asked(one: Expression) -> bool:
    return isinstance(one, Call) and one.function in ("has", "stated")


class GeneralEngine:
    """A rulebook compiled for one of them; answers as the plain evaluator does.

    ``left_out`` holds the codes of the rules that the engine's language cannot write.
    """

    def __init__(self, book: Rulebook, compiled: Compile) -> None:
        self._judges: list[_Judge] = []
        self.left_out: set[str] = set()
        for rule in book.rules:
            try:
                self._judges.append(_Judge(rule, compiled))
            except NotWritableError:
                self.left_out.add(rule.code)

    def evaluate(self, facts: Sequence[Fact], view_of: Callable[[Fact], View] | None = None) -> Answer:
        """Judge the facts with the thresholds of the book."""
        fired: list[tuple[str, str]] = []
        undecided: list[tuple[str, str, dict[str, tuple[str, ...]]]] = []
        decided: set[str] = set()
        for judge in self._judges:
            code = judge.rule.code
            for fact in facts:
                if fact.kind != judge.rule.applies_to:
                    continue
                verdict = judge.verdict((view_of or SmallView)(fact))
                if isinstance(verdict, Gap):
                    undecided.append((code, fact.key, dict(verdict.lacking)))
                elif verdict is not None:
                    decided.add(code)
                    if not verdict:
                        fired.append((code, fact.key))
        return fired, undecided, sorted(decided.difference(code for code, _, _ in undecided))

    def known_verdicts(
        self, facts: Sequence[Fact], view_of: Callable[[Fact], View]
    ) -> Mapping[tuple[str, str], bool | None]:
        """Return the verdict of each rule on each subject of which it knows every value."""
        found: dict[tuple[str, str], bool | None] = {}
        for judge in self._judges:
            for fact in facts:
                if fact.kind == judge.rule.applies_to and judge.knows_all(view := view_of(fact)):
                    verdict = judge.verdict(view)
                    assert not isinstance(verdict, Gap)
                    found[judge.rule.code, fact.key] = verdict
        return found


_CEL_TYPES: Final[Mapping[str, Any]] = {"number": cel.Type.DOUBLE, "text": cel.Type.STRING, "flag": cel.Type.BOOL}


def cel_engine(book: Rulebook) -> GeneralEngine:
    """The Common Expression Language: compiled with declared types, run by a core in C++."""

    def compiled(rule: Rule, one: Expression) -> Holds:
        words = book.vocabulary.of(rule.applies_to)
        names = list(read_in(one))
        variables = {name: _CEL_TYPES[words[name].type] for name in names}
        inner = {over: [n for k, n in inner_names(one) if k == kind] for over, kind in _asked(one).items()}
        variables |= {over: cel.Type.List(cel.Type.Map(cel.Type.STRING, cel.Type.DYN)) for over in inner}
        limits = {name: threshold.value for name, threshold in rule.thresholds.items()}
        expression = cel.NewEnv(variables=variables).compile(translated(one, limits, CEL))

        def holds(view: View) -> bool:
            data: dict[str, Any] = {name: _for_cel(view.get(name)) for name in names}
            for over, read in inner.items():
                data[over] = [{name: _for_cel(other.get(name)) for name in read} for other in view.subjects(over)]
            value = expression.eval(data={name: one for name, one in data.items() if one is not None}).value()
            # an error is returned as a value like any other
            if not isinstance(value, bool):
                raise TypeError(f"{rule.code}: {value}")
            return value

        return holds

    return GeneralEngine(book, compiled)


def _for_cel(value: object) -> object:
    """Numbers as numbers with a point, and nothing for what is not known."""
    if isinstance(value, bool | str):
        return value
    return float(value) if isinstance(value, int | float) else None


def _asked(one: Expression) -> dict[str, str]:
    found = {over: kind for part in children(one) for over, kind in _asked(part).items()}
    return found | ({one.over: COLLECTIONS[one.over]} if isinstance(one, Macro) else {})


def rule_engine_engine(book: Rulebook) -> GeneralEngine:
    """The package rule-engine: a parsed expression, walked in Python; its numbers are decimals."""
    context = rule_engine.Context(resolver=rule_engine.resolve_item)

    def compiled(rule: Rule, one: Expression) -> Holds:
        limits = {name: threshold.value for name, threshold in rule.thresholds.items()}
        matches = rule_engine.Rule(translated(one, limits, RULE_ENGINE), context=context).matches
        names = {name: key_of(name, RULE_ENGINE) for name in read_in(one)}
        return lambda view: bool(matches({key: view.get(name) for name, key in names.items()}))

    return GeneralEngine(book, compiled)


ENGINES: Final[Mapping[str, Callable[[Rulebook], GeneralEngine]]] = {
    "cel-expr-python": cel_engine,
    "rule-engine": rule_engine_engine,
}
"""By the name of the package."""
