"""The conditions of a rule: the grammar of ``when`` and its syntax tree.

``{all: [...]}`` and ``{any: [...]}`` group conditions, to any depth.
A comparison is an object with one key, a property of the rule's kind:

- ``{property: literal}``: the property equals the literal;
- ``{property: {operator: operand}}``: the operators are in :data:`OPERATORS`.

The meaning of a text operand is never ambiguous:

- after an operator, the name of a property of the same type is a **reference** to it; for a number property, so is the
  name of a threshold of the rule; for a text property, any other text is a literal;
- the short form and the list of ``in`` hold literals only;
- a literal that is also the name of a property or a threshold is rejected.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, Protocol, TypeAlias, get_args

from rules.rulebook.fact import Value
from rules.rulebook.source import Step
from rules.rulebook.vocabulary import Property, PropertyType

__all__ = [
    "OPERATORS",
    "Comparison",
    "Condition",
    "Group",
    "Operand",
    "Operator",
    "PropertyRef",
    "ThresholdRef",
    "comparisons",
    "parse_condition",
    "plain_unit",
]

Operator: TypeAlias = Literal["less_than", "at_most", "greater_than", "at_least", "equals", "differs_from", "in"]

OPERATORS: Final[Mapping[PropertyType, tuple[Operator, ...]]] = {
    "number": get_args(Operator),
    "text": ("equals", "differs_from", "in"),
    "flag": ("equals", "differs_from"),
}
"""The operators of each type of property."""


@dataclass(frozen=True, slots=True)
class PropertyRef:
    """Another property of the same fact."""

    name: str


@dataclass(frozen=True, slots=True)
class ThresholdRef:
    """A threshold of the same rule."""

    name: str


Operand: TypeAlias = Value | tuple[Value, ...] | PropertyRef | ThresholdRef


@dataclass(frozen=True, slots=True)
class Comparison:
    """One property against one operand."""

    left: str
    type: PropertyType
    operator: Operator
    right: Operand


@dataclass(frozen=True, slots=True)
class Group:
    """Conditions of which all must hold, or any one."""

    join: Literal["all", "any"]
    members: tuple[Condition, ...]


Condition: TypeAlias = Comparison | Group


class _HasUnit(Protocol):
    @property
    def unit(self) -> str: ...


def comparisons(condition: Condition) -> tuple[Comparison, ...]:
    """Return every comparison of a condition, in the order written."""
    if isinstance(condition, Comparison):
        return (condition,)
    return tuple(found for member in condition.members for found in comparisons(member))


def plain_unit(unit: str) -> str:
    """Return the unit for comparisons; ``x D`` (multiples of the diameter) is a ratio."""
    return "ratio" if unit == "x D" else unit


Report: TypeAlias = Callable[[tuple[Step, ...], str], None]


def parse_condition(
    raw: object, properties: Mapping[str, Property], thresholds: Mapping[str, _HasUnit], report: Report
) -> Condition | None:
    """Parse ``when``; report each defect with its path below ``when``, and return None if there is any."""
    try:
        if isinstance(raw, dict) and len(raw) == 1 and not raw.keys() & {"all", "any"}:
            raise _RefusedError((), "must begin with all: [...] or any: [...]")
        return _Parser(properties, thresholds, report).condition(raw, ())
    except _RefusedError as refused:
        if refused.reason:
            report(refused.path, refused.reason)
        return None


class _RefusedError(Exception):
    """A part that cannot be parsed; carries no reason where the defects inside it have been reported already."""

    def __init__(self, path: tuple[Step, ...], reason: str = "") -> None:
        super().__init__(reason)
        self.path, self.reason = path, reason


class _Parser:
    def __init__(self, properties: Mapping[str, Property], thresholds: Mapping[str, _HasUnit], report: Report) -> None:
        self._properties, self._thresholds, self._report = properties, thresholds, report

    def condition(self, raw: object, path: tuple[Step, ...]) -> Condition:
        if not isinstance(raw, dict):
            raise _RefusedError(path, f"a condition is an object with one key, not {_shown(raw)}")
        if len(raw) != 1:
            keys = ", ".join(map(str, raw)) or "none"
            raise _RefusedError(path, f"a condition has exactly one key, this one has {len(raw)}: {keys}")
        key, value = next(iter(raw.items()))
        if key in ("all", "any"):
            return self._group(key, value, (*path, key))
        return self._comparison(key, value, (*path, key))

    def _group(self, join: Literal["all", "any"], raw: object, path: tuple[Step, ...]) -> Group:
        if not isinstance(raw, list) or not raw:
            raise _RefusedError(path, f"{join} takes a list of at least one condition")
        members: list[Condition] = []
        # Parse every member, so that all defects are reported at once.
        for index, member in enumerate(raw):
            try:
                members.append(self.condition(member, (*path, index)))
            except _RefusedError as refused:
                if refused.reason:
                    self._report(refused.path, refused.reason)
        if len(members) != len(raw):
            raise _RefusedError(path)
        return Group(join, tuple(members))

    def _comparison(self, name: str, raw: object, path: tuple[Step, ...]) -> Comparison:
        if (known := self._properties.get(name)) is None:
            raise _RefusedError(path, f"{name!r} is neither a property of this kind nor a group (all, any)")
        if not isinstance(raw, dict):
            return Comparison(name, known.type, "equals", self._literal(raw, known.type, path))
        if len(raw) != 1:
            raise _RefusedError(path, f"{name} takes exactly one operator, this one has {len(raw)}")
        operator, operand = next(iter(raw.items()))
        path = (*path, operator)
        if operator not in OPERATORS[known.type]:
            usable = ", ".join(OPERATORS[known.type])
            raise _RefusedError(path, f"unknown operator {operator!r} on the {known.type} {name}: {usable}")
        if operator == "in":
            return Comparison(name, known.type, operator, self._several(operand, known.type, path))
        return Comparison(name, known.type, operator, self._operand(name, known, operand, path))

    def _several(self, raw: object, kind: PropertyType, path: tuple[Step, ...]) -> tuple[Value, ...]:
        if not isinstance(raw, list) or not raw:
            raise _RefusedError(path, "in takes a list of at least one literal")
        return tuple(self._literal(item, kind, (*path, index)) for index, item in enumerate(raw))

    def _operand(self, left: str, known: Property, raw: object, path: tuple[Step, ...]) -> Operand:
        if isinstance(raw, str):
            other, threshold = self._properties.get(raw), self._thresholds.get(raw)
            if other is not None and other.type == known.type:
                if raw == left:
                    raise _RefusedError(path, f"{left} is compared with itself")
                _same_unit(left, known, raw, other, path)
                return PropertyRef(raw)
            if threshold is not None and known.type == "number":
                _same_unit(left, known, raw, threshold, path)
                return ThresholdRef(raw)
        return self._literal(raw, known.type, path)

    def _literal(self, raw: object, kind: PropertyType, path: tuple[Step, ...]) -> Value:
        if isinstance(raw, str) and (raw in self._properties or raw in self._thresholds):
            raise _RefusedError(
                path,
                f"the literal {raw!r} is also a name; a reference needs an operator and a property of that type",
            )
        flag = isinstance(raw, bool)
        if isinstance(raw, str) and kind == "text":
            return raw
        if isinstance(raw, bool) and kind == "flag":
            return raw
        if isinstance(raw, int | float) and not flag and kind == "number" and math.isfinite(raw):
            return raw
        if isinstance(raw, dict | list):
            raise _RefusedError(path, f"an operand is a literal or a name, not {_shown(raw)}")
        if isinstance(raw, str) and kind == "number":
            raise _RefusedError(
                path, f"{raw!r} is not a number, a number property of this kind or a threshold of this rule"
            )
        hint = "; YAML reads bare yes, no, on and off as flags: put them in quotes" if flag else ""
        raise _RefusedError(path, f"{raw!r} is not a {kind}{hint}")


def _same_unit(left: str, known: Property, right: str, other: _HasUnit, path: tuple[Step, ...]) -> None:
    if plain_unit(known.unit) != plain_unit(other.unit):
        raise _RefusedError(path, f"{left} in {known.unit} is compared with {right} in {other.unit}")


def _shown(raw: object) -> str:
    if isinstance(raw, dict):
        return "an object"
    return "a list" if isinstance(raw, list) else repr(raw)
