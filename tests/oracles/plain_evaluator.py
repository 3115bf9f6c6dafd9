"""The rulebooks evaluated in plain Python, which must agree with the engine on every stack.

It evaluates the rules as written, without slots, margins or sessions, and is short enough to review by eye. It could
replace the engine.
"""

from __future__ import annotations

import operator
from collections.abc import Mapping, Sequence
from typing import Any

from rules.rulebook.book import Rule, Rulebook
from rules.rulebook.fact import Fact
from rules.rulebook.vocabulary import Property

_COMPARE = {
    "less_than": operator.lt,
    "at_most": operator.le,
    "greater_than": operator.gt,
    "at_least": operator.ge,
    "equals": operator.eq,
    "differs_from": operator.ne,
    "in": lambda left, literals: left in literals,
}

Answer = tuple[list[tuple[str, str]], list[tuple[str, str, dict[str, tuple[str, ...]]]], list[str]]
"""Fired (code, key), undecided (code, key, lacking) and the codes decided wherever they apply."""


def evaluate(
    book: Rulebook, facts: Sequence[Fact], overrides: Mapping[str, Mapping[str, float]] | None = None
) -> Answer:
    """Judge the facts by the book."""
    fired, undecided, decided = [], [], set()
    for rule in book.rules:
        limits = {name: threshold.value for name, threshold in rule.thresholds.items()}
        limits |= (overrides or {}).get(rule.code, {})
        for fact in facts:
            if fact.kind != rule.applies_to or any(n not in fact.known | fact.lacking for n in rule.needs):
                continue
            if lacking := {name: fact.lacking[name] for name in rule.needs if name in fact.lacking}:
                undecided.append((rule.code, fact.key, lacking))
                continue
            decided.add(rule.code)
            if _holds(rule.when, rule, fact, limits, book.vocabulary.of(fact.kind)):
                fired.append((rule.code, fact.key))
    return fired, undecided, sorted(decided - {code for code, _, _ in undecided})


def _holds(when: Any, rule: Rule, fact: Fact, limits: Mapping[str, float], kinds: Mapping[str, Property]) -> bool:
    ((key, inner),) = when.items()
    if key in ("all", "any"):
        held = [_holds(member, rule, fact, limits, kinds) for member in inner]
        return all(held) if key == "all" else any(held)
    if not isinstance(inner, dict):
        return bool(fact.known[key] == inner)
    ((name, operand),) = inner.items()
    if isinstance(operand, str) and operand in kinds and kinds[operand].type == kinds[key].type:
        operand = fact.known[operand]
    elif isinstance(operand, str) and kinds[key].type == "number":
        operand = limits[operand]
    return bool(_COMPARE[name](fact.known[key], operand))
