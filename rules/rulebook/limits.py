"""What the engine can't carry, refused before it is asked to; see also :mod:`rules.rulebook.portions`."""

from __future__ import annotations

from typing import Final

from rules.rulebook.condition import comparisons
from rules.rulebook.model import Rule
from rules.rulebook.problem import Problem

__all__ = ["MAX_COMPARISONS", "MAX_RULES", "lint_limits"]

MAX_RULES: Final = 1_000
"""Rules in all: far more than a shop has, and a check by them still takes milliseconds."""

MAX_COMPARISONS: Final = 10
"""Comparisons a rule, counted alike under ``all`` and ``any``; with kind and flag that makes twelve.

The engine dies at sixteen.
"""


def lint_limits(rules: tuple[Rule, ...]) -> list[Problem]:
    """Every limit a set of rules breaks, at the rule where it is crossed."""
    problems: list[Problem] = []
    if len(rules) > MAX_RULES:
        first = rules[MAX_RULES]
        reason = f"{len(rules)} rules in all; at most {MAX_RULES}"
        problems.append(Problem(first.file, first.line, first.code, reason))
    for rule in rules:
        if (count := len(comparisons(rule.condition))) > MAX_COMPARISONS:
            reason = f"{count} comparisons in one rule; at most {MAX_COMPARISONS}"
            problems.append(Problem(rule.file, rule.line, rule.code, reason))
    return problems
