"""What the engine can carry, refused before it is asked to.

Beyond these numbers it hangs, crashes or, worst, answers with fewer findings; the margins are ours.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.rulebook.condition import comparisons
from rules.rulebook.lowering import LoweredKind, lower
from rules.rulebook.model import Rule
from rules.rulebook.problem import Problem

__all__ = ["MAX_COMPARISONS", "MAX_PROPERTIES", "MAX_RULES", "MAX_RULES_PER_KIND", "lint_limits"]

MAX_RULES: Final = 400
"""Rules in all: the engine's tables end at 512."""

MAX_RULES_PER_KIND: Final = 60
"""Rules that can match one fact: the engine keeps at most 64 open matches."""

MAX_COMPARISONS: Final = 10
"""Comparisons a rule, counted alike under ``all`` and ``any``; with kind and flag that makes twelve."""

MAX_PROPERTIES: Final = 200
"""Numbers on a fact after lowering: the engine's fact ends at about 251."""

_OPEN_MATCHES: Final = 64
# Session, key, kind and the identity the engine adds itself.
_OWN_PROPERTIES: Final = 4


def lint_limits(rules: tuple[Rule, ...]) -> list[Problem]:
    """Every limit a set of rules breaks, at the rule where it is crossed."""
    problems: list[Problem] = []

    def refuse(rule: Rule, reason: str) -> None:
        problems.append(Problem(rule.file, rule.line, rule.code, reason))

    if len(rules) > MAX_RULES:
        refuse(rules[MAX_RULES], f"{len(rules)} rules in all; at most {MAX_RULES} can be compiled")
    for rule in rules:
        if (count := len(comparisons(rule.condition))) > MAX_COMPARISONS:
            refuse(rule, f"{count} comparisons in one rule; at most {MAX_COMPARISONS}")
    if not problems:
        for kind in lower(rules).kinds.values():
            _lint_kind(kind, refuse)
    return problems


def _lint_kind(kind: LoweredKind, refuse: Callable[[Rule, str], None]) -> None:
    count = len(kind.rules)
    if count > MAX_RULES_PER_KIND:
        refuse(
            kind.rules[MAX_RULES_PER_KIND].rule,
            f"{count} rules on a {kind.kind}; at most {MAX_RULES_PER_KIND}",
        )
        return
    properties = _OWN_PROPERTIES + len(kind.names)
    if properties > MAX_PROPERTIES:
        refuse(kind.rules[-1].rule, f"{properties} numbers on a {kind.kind} fact; at most {MAX_PROPERTIES}")
    for lowered in kind.rules:
        # While one rule's alternatives are followed, every other rule's match waits beside the catch-all's.
        waiting = count + 1 + _alternatives(lowered.condition)
        if waiting > _OPEN_MATCHES:
            refuse(
                lowered.rule,
                f"its alternatives beside {count} rules on a {kind.kind} make {waiting} open matches; "
                f"at most {_OPEN_MATCHES}",
            )


def _alternatives(condition: Mapping[str, Any]) -> int:
    total = 0
    for join in ("$and", "$or"):
        members = condition.get(join, ())
        total += sum(_alternatives(member) for member in members)
        if join == "$or":
            total += max(len(members) - 1, 0)
    return total
