"""The rulebooks judged by two independent general-purpose engines.

Both evaluate one expression on one subject. The rules for each subject, and the undecided ones, are determined here
independently.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias

import rule_engine
from cel_expr_python import cel

from rules.rulebook.book import Rule, Rulebook
from rules.rulebook.fact import Fact
from rules.rulebook.vocabulary import Property
from tests.oracles.plain_evaluator import Answer
from tests.oracles.rule_translation import CEL, RULE_ENGINE, translated

__all__ = ["ENGINES", "GeneralEngine", "cel_engine", "rule_engine_engine"]

Holds: TypeAlias = Callable[[Fact], bool]
Compile: TypeAlias = Callable[[Rule, Mapping[str, Property]], Holds]


class GeneralEngine:
    """A rulebook compiled for one of them; answers as the plain evaluator does."""

    def __init__(self, book: Rulebook, compiled: Compile) -> None:
        self._rules = [
            (rule, frozenset(rule.needs), compiled(rule, book.vocabulary.of(rule.applies_to))) for rule in book.rules
        ]

    def evaluate(self, facts: Sequence[Fact]) -> Answer:
        """Judge the facts with the thresholds of the book."""
        fired: list[tuple[str, str]] = []
        undecided: list[tuple[str, str, dict[str, tuple[str, ...]]]] = []
        decided: set[str] = set()
        for rule, needs, holds in self._rules:
            for fact in facts:
                if fact.kind != rule.applies_to:
                    continue
                unknown = needs - fact.known.keys()
                if not unknown:
                    decided.add(rule.code)
                    if holds(fact):
                        fired.append((rule.code, fact.key))
                elif unknown <= fact.lacking.keys():
                    gaps = {name: fact.lacking[name] for name in rule.needs if name in unknown}
                    undecided.append((rule.code, fact.key, gaps))
        return fired, undecided, sorted(decided.difference(code for code, _, _ in undecided))


def cel_engine(book: Rulebook) -> GeneralEngine:
    """The Common Expression Language: compiled with declared types, run by a core in C++."""
    types = {"number": cel.Type.DOUBLE, "text": cel.Type.STRING, "flag": cel.Type.BOOL}
    environments = {
        kind: cel.NewEnv(variables={name: types[one.type] for name, one in properties.items()})
        for kind, properties in book.vocabulary.kinds.items()
    }

    def compiled(rule: Rule, properties: Mapping[str, Property]) -> Holds:
        expression = environments[rule.applies_to].compile(translated(rule, CEL))
        numbers = frozenset(name for name, one in properties.items() if one.type == "number")
        # only what the rule speaks of is handed over, and numbers as numbers with a point
        names = [name for name in properties if name in rule.needs or properties[name].always]

        def holds(fact: Fact) -> bool:
            known = fact.known
            data = {name: float(known[name]) if name in numbers else known[name] for name in names}
            value = expression.eval(data=data).value()
            # an error is returned as a value like any other
            if not isinstance(value, bool):
                raise TypeError(f"{rule.code} on {fact.key}: {value}")
            return value

        return holds

    return GeneralEngine(book, compiled)


def rule_engine_engine(book: Rulebook) -> GeneralEngine:
    """The package rule-engine: a parsed expression, walked in Python; its numbers are decimals."""
    context = rule_engine.Context(resolver=rule_engine.resolve_item)

    def compiled(rule: Rule, _: Mapping[str, Property]) -> Holds:
        matches = rule_engine.Rule(translated(rule, RULE_ENGINE), context=context).matches
        return lambda fact: bool(matches(fact.known))

    return GeneralEngine(book, compiled)


ENGINES: Final[Mapping[str, Callable[[Rulebook], GeneralEngine]]] = {
    "cel-expr-python": cel_engine,
    "rule-engine": rule_engine_engine,
}
"""By the name of the package."""
