"""Translation of the ``when`` of a rule into the language of a general-purpose engine.

Thresholds become numbers, since such an engine has no access to the policy of a request.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Final

from rules.rulebook.book import Rule
from rules.rulebook.condition import Comparison, Condition, Group, PropertyRef, ThresholdRef
from rules.rulebook.fact import Value

__all__ = ["CEL", "RULE_ENGINE", "Dialect", "translated"]

_SIGNS: Final = {
    "less_than": "<",
    "at_most": "<=",
    "greater_than": ">",
    "at_least": ">=",
    "equals": "==",
    "differs_from": "!=",
    "in": "in",
}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a language joins conditions; both write comparisons, lists and texts alike."""

    both: str
    either: str


CEL: Final = Dialect("&&", "||")
"""The Common Expression Language."""

RULE_ENGINE: Final = Dialect("and", "or")
"""The language of the package rule-engine."""


def translated(rule: Rule, dialect: Dialect) -> str:
    """The condition of a rule as one expression; names are those of the properties."""
    return _condition(rule.condition, rule, dialect)


def _condition(condition: Condition, rule: Rule, dialect: Dialect) -> str:
    if isinstance(condition, Group):
        join = dialect.both if condition.join == "all" else dialect.either
        return f" {join} ".join(f"({_condition(member, rule, dialect)})" for member in condition.members)
    return f"{condition.left} {_SIGNS[condition.operator]} {_operand(condition, rule)}"


def _operand(comparison: Comparison, rule: Rule) -> str:
    right = comparison.right
    if isinstance(right, PropertyRef):
        return right.name
    if isinstance(right, ThresholdRef):
        return _literal(rule.thresholds[right.name].value)
    if isinstance(right, tuple):
        return f"[{', '.join(map(_literal, right))}]"
    return _literal(right)


def _literal(value: Value) -> str:
    """A float keeps its point, since the Common Expression Language tells whole numbers from others."""
    if isinstance(value, bool | str):
        return json.dumps(value)
    return repr(float(value))
