"""Translation of the expressions of a rule into the language of a general-purpose engine.

Thresholds become numbers, since such an engine has no access to the policy of a request. The translation is for
subjects of which every value is known, so ``has`` and ``stated`` are true.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rules.rulebook.expression import (
    Arithmetic,
    Call,
    Comparison,
    Constant,
    Expression,
    Join,
    Listing,
    Macro,
    Name,
    Negation,
)
from rules.rulebook.fact import Value

__all__ = ["CEL", "RULE_ENGINE", "Dialect", "NotWritableError", "key_of", "translated"]


class NotWritableError(Exception):
    """The language cannot write this, or would compute it with other numbers."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a language writes what the two write differently."""

    both: str
    either: str
    negation: str
    joins_names: bool
    """Whether a name with points is one name."""
    computes: bool
    """Whether it computes in doubles and asks the members of a list."""


CEL: Final = Dialect("&&", "||", "!", joins_names=True, computes=True)
"""The Common Expression Language."""

RULE_ENGINE: Final = Dialect("and", "or", "not ", joins_names=False, computes=False)
"""The language of the package rule-engine; its numbers are decimals."""


def key_of(name: str, dialect: Dialect) -> str:
    """Return the name of a property in a language."""
    return name if dialect.joins_names else name.replace(".", "__")


def translated(one: Expression, limits: Mapping[str, float], dialect: Dialect) -> str:
    """Return an expression, every part of it in brackets.

    Raises :class:`NotWritableError` for what the language does not have.
    """
    return _Writer(limits, dialect, "").of(one)


class _Writer:
    def __init__(self, limits: Mapping[str, float], dialect: Dialect, variable: str) -> None:
        self._limits, self._dialect, self._variable = limits, dialect, variable

    def of(self, one: Expression) -> str:
        dialect = self._dialect
        match one:
            case Constant(value):
                return _literal(value)
            case Listing(values):
                return f"[{', '.join(map(_literal, values))}]"
            case Name(name, is_threshold):
                if is_threshold:
                    return _literal(self._limits[name])
                first, _, rest = name.partition(".")
                return f'{first}["{rest}"]' if first == self._variable else key_of(name, dialect)
            case Negation(inner):
                return f"{dialect.negation}({self.of(inner)})"
            case Join(sign, members):
                join = dialect.both if sign == "&&" else dialect.either
                return f" {join} ".join(f"({self.of(member)})" for member in members)
            case Call("has" | "stated", _):
                return "true"
            case Comparison(sign, left, right):
                return f"{self._side(left)} {sign} {self._side(right)}"
        if not dialect.computes:
            raise NotWritableError
        return self._computed(one)

    def _computed(self, one: Expression) -> str:
        match one:
            case Arithmetic(sign, left, right):
                return f"{self._side(left)} {sign} {self._side(right)}"
            case Call("abs", argument):
                inner = self.of(argument)
                return f"({inner}) < 0.0 ? -({inner}) : ({inner})"
            case Macro(over, method, variable, body):
                held = _Writer(self._limits, self._dialect, variable).of(body)
                if method == "count":
                    return f"double({over}.filter({variable}, {held}).size())"
                return f"{over}.{method}({variable}, {held})"
        raise NotWritableError

    def _side(self, one: Expression) -> str:
        made = self.of(one)
        return made if isinstance(one, Constant | Name | Listing) else f"({made})"


def _literal(value: Value) -> str:
    """A float keeps its point, since the Common Expression Language tells whole numbers from others."""
    if isinstance(value, bool | str):
        return json.dumps(value)
    return repr(float(value))
