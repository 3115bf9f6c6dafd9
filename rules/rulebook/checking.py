"""Checks of expressions: every name, type and unit; and their plain words."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final, Literal, NamedTuple, Protocol, TypeAlias

from rules.quantities.models import parse_length
from rules.rulebook.expression import (
    COLLECTIONS,
    Arithmetic,
    Call,
    Comparison,
    Constant,
    Expression,
    ExpressionError,
    Join,
    Listing,
    Macro,
    Name,
    Negation,
    nearest,
    parse,
    text_of,
)
from rules.rulebook.fact import Value, written
from rules.rulebook.vocabulary import Property, PropertyType, Vocabulary

__all__ = ["Read", "Scope", "in_words", "read"]


Dimensions: TypeAlias = tuple[tuple[str, int], ...]

_PLAIN: Final = frozenset({"ratio", "count", "none", "x D"})


def _dimensions(unit: str) -> Dimensions:
    """Return the powers of the unit's symbols.

    >>> _dimensions("N m"), _dimensions("m/min"), _dimensions("ratio")
    ((('N', 1), ('m', 1)), (('m', 1), ('min', -1)), ())
    """
    if unit in _PLAIN:
        return ()
    above, _, below = unit.partition("/")
    return tuple(sorted([*((one, 1) for one in above.split()), *((one, -1) for one in below.split())]))


def _product(one: Dimensions, other: Dimensions, power: int) -> Dimensions:
    total = dict(one)
    for symbol, exponent in other:
        total[symbol] = total.get(symbol, 0) + power * exponent
    return tuple(sorted((symbol, exponent) for symbol, exponent in total.items() if exponent))


def _unit_text(dimensions: Dimensions) -> str:
    above = [s if n == 1 else f"{s}{n}" for s, n in dimensions if n > 0]
    below = [s if n == -1 else f"{s}{-n}" for s, n in dimensions if n < 0]
    return " ".join(above or (["1"] if below else ["no unit"])) + (f"/{' '.join(below)}" if below else "")


@dataclass(frozen=True, slots=True)
class _Typed:
    """An expression with its type. ``unit`` is None for a bare number, which takes the unit of what it meets."""

    one: Expression
    type: PropertyType | Literal["list"]
    unit: Dimensions | None = ()
    property: Property | None = None


class _HasUnit(Protocol):
    @property
    def unit(self) -> str | None: ...


@dataclass(frozen=True, slots=True)
class Scope:
    """What the names of an expression may mean: properties of a kind, thresholds and lists of the rule."""

    kind: str
    vocabulary: Vocabulary
    thresholds: Mapping[str, _HasUnit] = field(default_factory=dict)
    lists: Mapping[str, tuple[Value, ...]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    """Units that thresholds without one take from what they are compared with."""


class Read(NamedTuple):
    """A checked expression, its type, and its unit as text (None for what has no unit of its own)."""

    expression: Expression
    type: str
    unit: str | None


def read(text: str, scope: Scope) -> Read:
    """Return the expression of a text, with every name, type and unit checked.

    Raises :class:`ExpressionError` with what is wrong and the nearest right name.
    """
    typed = _Checker(scope, {}).check(parse(text))
    unit = _unit_text(typed.unit) if typed.type == "number" and typed.unit else None
    return Read(typed.one, typed.type, unit)


class _Checker:
    def __init__(self, scope: Scope, variables: Mapping[str, str]) -> None:
        self._scope, self._variables = scope, variables

    def check(self, one: Expression) -> _Typed:
        if isinstance(one, Constant):
            kind: PropertyType = (
                "flag" if isinstance(one.value, bool) else "text" if isinstance(one.value, str) else "number"
            )
            return _Typed(one, kind, None)
        if isinstance(one, Name):
            return self._name(one)
        if isinstance(one, Listing):
            return _Typed(one, "list", None)
        if isinstance(one, Negation):
            return _Typed(Negation(self._flag(one.inner, "!")), "flag")
        if isinstance(one, Join):
            return _Typed(Join(one.sign, tuple([self._flag(member, one.sign) for member in one.members])), "flag")
        if isinstance(one, Comparison):
            return self._comparison(one)
        if isinstance(one, Arithmetic):
            return self._arithmetic(one)
        return self._macro(one) if isinstance(one, Macro) else self._call(one)

    def _flag(self, one: Expression, sign: str) -> Expression:
        typed = self.check(one)
        if typed.type != "flag":
            raise ExpressionError(f"{sign} takes a condition; {text_of(one)} is a {typed.type}")
        return typed.one

    def property(self, name: str) -> Property | None:
        """Return the property of a name, or that of one of the subjects a macro runs over."""
        first, _, rest = name.partition(".")
        if first in self._variables:
            return self._scope.vocabulary.of(self._variables[first]).get(rest)
        return self._scope.vocabulary.of(self._scope.kind).get(name)

    def _name(self, one: Name) -> _Typed:
        found = self.property(one.name)
        if found is not None:
            return _Typed(one, found.type, _dimensions(found.unit) if found.type == "number" else (), found)
        threshold = self._scope.thresholds.get(one.name)
        if threshold is not None:
            unit = threshold.unit or self._scope.units.get(one.name)
            return _Typed(Name(one.name, True), "number", None if unit is None else _dimensions(unit))
        if one.name in self._scope.lists:
            return _Typed(Listing(self._scope.lists[one.name], one.name), "list", None)
        raise ExpressionError(self._unknown(one.name))

    def _unknown(self, name: str) -> str:
        scope = self._scope
        first, _, rest = name.partition(".")
        if first in self._variables:
            kind, prefix, wanted = self._variables[first], f"{first}.", rest
        else:
            kind, prefix, wanted = scope.kind, "", name
        words = scope.vocabulary.of(kind)
        if any(wanted in (one.values or ()) for one in words.values()):
            return f"{name} is not a name; write the text in quotes: {json.dumps(name)}"
        elsewhere = [
            other for other in scope.vocabulary.kinds if other != kind and wanted in scope.vocabulary.of(other)
        ]
        if elsewhere:
            through = [one for one in words if one.partition(".")[2] == wanted]
            nearest = [one for one in through if one.startswith(("upper.", "lower."))] or through[:1]
            hint = f"; write {' or '.join(prefix + one for one in nearest)}" if nearest else ""
            return f"{name} belongs to {' or '.join(map(_a, elsewhere))}, not to {_a(kind)}{hint}"
        known = [*words, *scope.thresholds, *scope.lists]
        close = get_close_matches(wanted, known, n=1, cutoff=0.7)
        if close:
            return f"{_a(kind)} has no {name}; did you mean {prefix}{close[0]}?"
        ends = [one for one in words if one.rpartition(".")[2] == wanted.rpartition(".")[2]]
        hint = f"; there is {', '.join(ends[:3])}" if ends else ""
        return f"{name} is neither a property of {_a(kind)} nor a threshold or list of this rule{hint}"

    def _comparison(self, one: Comparison) -> _Typed:
        left, right = self.check(one.left), self.check(one.right)
        if one.sign == "in":
            return self._membership(left, right)
        for side in (left, right):
            if side.type == "list":
                raise ExpressionError(
                    f"{text_of(side.one)} is a list; write {text_of(left.one)} in {text_of(side.one)}"
                )
        if left.type != right.type:
            raise ExpressionError(
                f"{text_of(left.one)} is a {left.type} and {text_of(right.one)} a {right.type}; they cannot be compared"
            )
        if left.type != "number" and one.sign not in ("==", "!="):
            raise ExpressionError(f"{text_of(left.one)} is a {left.type}; it can only be compared by == and !=")
        for side, other in ((left, right), (right, left)):
            if isinstance(other.one, Constant):
                _one_of(side, other.one.value)
        if left.type == "number":
            self._same_unit(left, right, one.sign)
        if isinstance(left.one, Constant) and isinstance(right.one, Constant):
            raise ExpressionError(f"{text_of(one)} compares two constants")
        if left.one == right.one:
            raise ExpressionError(f"{text_of(left.one)} is compared with itself")
        return _Typed(Comparison(one.sign, left.one, right.one), "flag")

    def _membership(self, left: _Typed, right: _Typed) -> _Typed:
        if not isinstance(right.one, Listing):
            raise ExpressionError(f"in takes a list, such as {text_of(left.one)} in [...]")
        if left.type == "flag":
            raise ExpressionError(f"{text_of(left.one)} is a flag; in takes a number or a text")
        for value in right.one.values:
            kind = "flag" if isinstance(value, bool) else "text" if isinstance(value, str) else "number"
            if kind != left.type:
                raise ExpressionError(f"{text_of(left.one)} is a {left.type}; {text_of(Constant(value))} is a {kind}")
            _one_of(left, value)
        return _Typed(Comparison("in", left.one, right.one), "flag")

    def _same_unit(self, left: _Typed, right: _Typed, sign: str) -> Dimensions | None:
        """Return the unit of two numbers that meet; a threshold without a unit takes that of the other."""
        for one, other in ((left, right), (right, left)):
            if one.unit is None:
                if isinstance(one.one, Name) and other.unit is not None:
                    self._scope.units[one.one.name] = _unit_text(other.unit) if other.unit else "ratio"
                return other.unit
        if left.unit == right.unit:
            return left.unit
        units = _unit_text(left.unit or ()), _unit_text(right.unit or ())
        hint = ""
        if set(units) == {"mm", "um"}:
            hint = f"; write mm({text_of((left if units[0] == 'um' else right).one)})"
        raise ExpressionError(
            f"{text_of(left.one)} is in {units[0]} and {text_of(right.one)} in {units[1]}; {sign} needs one unit{hint}"
        )

    def _arithmetic(self, one: Arithmetic) -> _Typed:
        left, right = self.check(one.left), self.check(one.right)
        for side in (left, right):
            if side.type != "number":
                raise ExpressionError(f"{one.sign} joins numbers; {text_of(side.one)} is a {side.type}")
        made = Arithmetic(one.sign, left.one, right.one)
        if one.sign in "+-":
            return _Typed(made, "number", self._same_unit(left, right, one.sign))
        if left.unit is None and right.unit is None:
            return _Typed(made, "number", None)
        return _Typed(made, "number", _product(left.unit or (), right.unit or (), 1 if one.sign == "*" else -1))

    def _call(self, one: Call) -> _Typed:
        if one.function in ("has", "stated"):
            name = one.argument.name if isinstance(one.argument, Name) else ""
            if self.property(name) is None:
                raise ExpressionError(
                    f"{one.function}(...) asks for a property, and {name} is a threshold or a list"
                    if name in self._scope.thresholds or name in self._scope.lists
                    else self._unknown(name)
                )
            return _Typed(one, "flag")
        argument = self.check(one.argument)
        if one.function == "abs":
            if argument.type != "number":
                raise ExpressionError(f"abs(...) takes a number; {text_of(argument.one)} is a {argument.type}")
            return _Typed(Call("abs", argument.one), "number", argument.unit)
        return _length(one.function, argument)

    def _macro(self, one: Macro) -> _Typed:
        if self._variables:
            raise ExpressionError("all, exists and filter do not stand inside one another")
        if self.property(one.variable) is not None or one.variable in self._scope.thresholds:
            raise ExpressionError(f"{one.variable} is a name already; take another for one of the {one.over}")
        body = _Checker(self._scope, {one.variable: COLLECTIONS[one.over]})._flag(
            one.body, "filter" if one.method == "count" else one.method
        )
        made = Macro(one.over, one.method, one.variable, body)
        return _Typed(made, "number", ()) if one.method == "count" else _Typed(made, "flag")


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def _one_of(typed: _Typed, value: Value) -> None:
    """Refuse a text that a property with a closed list of values never has."""
    known = typed.property
    if known is None or known.values is None or value in known.values:
        return
    hint = nearest(str(value), known.values) or f"; there are: {', '.join(known.values)}"
    raise ExpressionError(f"{text_of(typed.one)} is never {text_of(Constant(value))}{hint}")


_UM_PER_MM: Final = 1000.0


def _length(unit: str, argument: _Typed) -> _Typed:
    """Return a length in the unit of the function: a text with its unit, or a length in mm or µm."""
    if isinstance(argument.one, Constant) and isinstance(argument.one.value, str):
        try:
            length = parse_length(argument.one.value)
        except ValueError as error:
            raise ExpressionError(str(error)) from None
        return _Typed(Constant(length if unit == "mm" else length * _UM_PER_MM), "number", ((unit, 1),))
    if argument.type != "number" or argument.unit not in ((("mm", 1),), (("um", 1),)):
        raise ExpressionError(f"{unit}(...) takes a length; {text_of(argument.one)} is none")
    if argument.unit == ((unit, 1),):
        return argument
    sign = "*" if unit == "um" else "/"
    return _Typed(Arithmetic(sign, argument.one, Constant(_UM_PER_MM)), "number", ((unit, 1),))


# --- words -----------------------------------------------------------------------------------------------------------

_SIGNS_IN_WORDS: Final = {
    "==": "is",
    "!=": "is not",
    "<": "is less than",
    "<=": "is at most",
    ">": "is more than",
    ">=": "is at least",
    "+": "plus",
    "-": "less",
    "*": "times",
    "/": "over",
}


def in_words(one: Expression, scope: Scope, limits: Mapping[str, float] | None = None) -> str:
    """Return a checked condition in plain words, each name by its meaning, each threshold with its value.

    Parameters
    ----------
    one
        The expression.
    scope
        What its names mean.
    limits
        Thresholds in force; their names alone if absent.
    """
    return _Words(scope, limits or {}, {}).of(one, 0)


class _Words:
    def __init__(self, scope: Scope, limits: Mapping[str, float], variables: Mapping[str, str]) -> None:
        self._scope, self._limits, self._checker = scope, limits, _Checker(scope, variables)
        self._variables = variables

    def of(self, one: Expression, level: int) -> str:
        if isinstance(one, Constant):
            return one.value.replace("_", " ") if isinstance(one.value, str) else written(one.value)
        if isinstance(one, Name):
            return self._name(one)
        if isinstance(one, Listing):
            return f"one of {', '.join(self.of(Constant(value), 0) for value in one.values)}"
        if isinstance(one, Negation):
            return f"not ({self.of(one.inner, 0)})"
        if isinstance(one, Join):
            joined = (" and " if one.sign == "&&" else ", or ").join(self.of(member, 2) for member in one.members)
            return f"({joined})" if level >= 2 and one.sign == "||" else joined
        if isinstance(one, Comparison):
            sign = "is" if one.sign == "in" else _SIGNS_IN_WORDS[one.sign]
            if isinstance(one.right, Constant) and isinstance(one.right.value, bool):
                return self.of(one.left if one.right.value == (one.sign == "==") else Negation(one.left), level)
            left, right = self.of(one.left, 3), self.of(one.right, 3)
            return f"{self._in_unit(one.left, left, one.right)} {sign} {self._in_unit(one.right, right, one.left)}"
        if isinstance(one, Arithmetic):
            return f"{self.of(one.left, 4)} {_SIGNS_IN_WORDS[one.sign]} {self.of(one.right, 4)}"
        if isinstance(one, Macro):
            return self._macro(one)
        if one.function == "abs":
            return f"the magnitude of {self.of(one.argument, 4)}"
        known = self._checker.property(one.argument.name) if isinstance(one.argument, Name) else None
        words = self.of(one.argument, 0)
        if one.function == "stated":
            return f"stated: {words}"
        return f"this is {known.only}" if known is not None and known.only is not None else f"there is: {words}"

    def _in_unit(self, one: Expression, words: str, other: Expression) -> str:
        """Return a number with the unit of what it is compared with."""
        is_limit = isinstance(one, Name) and one.is_threshold and one.name in self._limits
        is_number = isinstance(one, Constant) and isinstance(one.value, float)
        unit = self._checker.check(other).unit if is_limit or is_number else None
        if not unit:
            return words
        value, bracket, rest = words.partition(" (")
        return f"{value} {_unit_text(unit)}{bracket}{rest}"

    def _name(self, one: Name) -> str:
        if one.is_threshold:
            value = self._limits.get(one.name)
            words = one.name.replace("_", " ")
            return words if value is None else f"{written(value)} ({words})"
        known = self._checker.property(one.name)
        return one.name if known is None else known.meaning

    def _macro(self, one: Macro) -> str:
        kind = COLLECTIONS[one.over]
        inner = _Words(self._scope, self._limits, {one.variable: kind}).of(one.body, 0)
        if one.method == "count":
            return f"the number of {one.over} of which: {inner}"
        return f"of {'every' if one.method == 'all' else 'some'} {kind}: {inner}"
