"""The syntax of expressions: grammar, and the way from a text to an expression.

Apart from :mod:`rules.rulebook.expression`, since a check judges by a rulebook that has been read and needs no parser.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from lark import Lark, Token, UnexpectedInput
from lark.exceptions import VisitError
from lark.visitors import Transformer

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
)
from rules.rulebook.vocabulary import UNITS

__all__ = ["read"]

_GRAMMAR: Final = r"""
?start: either
?either: both ("||" both)*
?both: relation ("&&" relation)*
?relation: total | total COMPARE total | total IN total
?total: product (SUM product)*
?product: unary (PRODUCT unary)*
?unary: NOT unary -> negation | SUM unary -> signed | primary
?primary: NAME -> name | NUMBER -> number | STRING -> text | TRUTH -> truth | listing | call | "(" either ")"
call: NAME "(" either ("," either)* ")" SIZE?
listing: "[" either ("," either)* "]"
COMPARE: "==" | "!=" | "<=" | ">=" | "<" | ">"
IN.2: /in(?![A-Za-z0-9_.])/
TRUTH.2: /(true|false)(?![A-Za-z0-9_.])/
NOT: "!"
SUM: "+" | "-"
PRODUCT: "*" | "/"
SIZE: /\.\s*size\s*\(\s*\)/
NAME: /[A-Za-z_][A-Za-z0-9_]*(\.[A-Za-z_][A-Za-z0-9_]*)*/
NUMBER: /[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?/
STRING: /"([^"\\\n]|\\["\\])*"|'([^'\\\n]|\\['\\])*'/
%ignore /[ \t\n]+/
"""

_FUNCTIONS: Final = ("has", "stated", "mm", "um", "abs")
_METHODS: Final = ("all", "exists", "filter")

_EXPECTED: Final = {
    "NAME": "a name",
    "NUMBER": "a number",
    "STRING": "a text in quotes",
    "TRUTH": "true or false",
    "COMPARE": "a comparison (==, !=, <, <=, >, >=)",
    "IN": "in",
    "SUM": "+ or -",
    "PRODUCT": "* or /",
    "NOT": "!",
    "LPAR": "(",
    "RPAR": ")",
    "LSQB": "[",
    "RSQB": "]",
    "COMMA": "a comma",
    "VBAR": "||",
    "__ANON_0": "||",
    "__ANON_1": "&&",
    "SIZE": ".size()",
    "$END": "the end",
}

_VALUE: Final = frozenset({"NAME", "NUMBER", "STRING", "TRUTH", "NOT", "LPAR", "LSQB", "SUM"})
"""Tokens that can start a value."""


class _Reader(Transformer[Token, Any]):
    """From the tree of the parser to the expression."""

    def either(self, members: Sequence[Expression]) -> Expression:
        return Join("||", tuple(members))

    def both(self, members: Sequence[Expression]) -> Expression:
        return Join("&&", tuple(members))

    def relation(self, parts: Sequence[Any]) -> Expression:
        left, sign, right = parts
        return Comparison(str(sign), left, right)

    def total(self, parts: Sequence[Any]) -> Expression:
        return _left_to_right(parts)

    product = total

    def negation(self, parts: Sequence[Any]) -> Expression:
        return Negation(parts[1])

    def signed(self, parts: Sequence[Any]) -> Expression:
        sign, inner = parts
        if sign == "+":
            raise ExpressionError("a number has no sign + of its own; leave it out")
        if isinstance(inner, Constant) and isinstance(inner.value, float):
            return Constant(-inner.value)
        return Arithmetic("-", Constant(0.0), inner)

    def name(self, parts: Sequence[Token]) -> Expression:
        return Name(str(parts[0]))

    def number(self, parts: Sequence[Token]) -> Expression:
        value = float(parts[0])
        if not math.isfinite(value):
            raise ExpressionError(f"{parts[0]} is too large a number")
        return Constant(value)

    def text(self, parts: Sequence[Token]) -> Expression:
        inner = str(parts[0])[1:-1]
        return Constant(inner.replace("\\" + parts[0][0], parts[0][0]).replace("\\\\", "\\"))

    def truth(self, parts: Sequence[Token]) -> Expression:
        return Constant(parts[0] == "true")

    def listing(self, members: Sequence[Expression]) -> Expression:
        for member in members:
            if not isinstance(member, Constant):
                raise ExpressionError("a list holds numbers or texts in quotes")
        return Listing(tuple(member.value for member in members if isinstance(member, Constant)))

    def call(self, parts: Sequence[Any]) -> Expression:
        name, *arguments = parts
        sized = isinstance(arguments[-1], Token)
        if sized:
            arguments.pop()
        function = str(name)
        over, _, method = function.rpartition(".")
        if over:
            return _macro(over, method, arguments, sized=sized)
        if function not in _FUNCTIONS:
            raise ExpressionError(f"there is no function {function}{nearest(function, _FUNCTIONS)}")
        if len(arguments) != 1 or sized:
            raise ExpressionError(f"{function}(...) takes one argument")
        if function in ("has", "stated") and not isinstance(arguments[0], Name):
            raise ExpressionError(f"{function}(...) takes the name of a property")
        return Call(function, arguments[0])


def _left_to_right(parts: Sequence[Any]) -> Expression:
    found: Expression = parts[0]
    for sign, right in zip(parts[1::2], parts[2::2], strict=True):
        found = Arithmetic(str(sign), found, right)
    return found


def _macro(over: str, method: str, arguments: Sequence[Expression], *, sized: bool) -> Expression:
    if over not in COLLECTIONS:
        raise ExpressionError(
            f"only {' and '.join(COLLECTIONS)} can be searched, not {over}{nearest(over, COLLECTIONS)}"
        )
    if method not in _METHODS:
        raise ExpressionError(f"{over} has no {method}{nearest(method, _METHODS)}")
    if (method == "filter") != sized:
        raise ExpressionError(f"write {over}.filter(one, ...).size() to count, all(...) or exists(...) to ask")
    if len(arguments) != 2 or not isinstance(arguments[0], Name) or "." in arguments[0].name:
        raise ExpressionError(f"{over}.{method}(...) takes a name for one of them and a condition on it")
    return Macro(over, "count" if sized else method, arguments[0].name, arguments[1])


_PARSER: Final = Lark(_GRAMMAR, parser="lalr", maybe_placeholders=False)


def read(text: str) -> Expression:
    """Return the expression that a text writes; raises :class:`~rules.rulebook.expression.ExpressionError`."""
    try:
        return _Reader().transform(_PARSER.parse(text))  # type: ignore[no-any-return]
    except VisitError as error:
        if isinstance(error.orig_exc, ExpressionError):
            raise error.orig_exc from None
        raise
    except UnexpectedInput as error:
        raise ExpressionError(_trouble(error, text)) from None


def _trouble(error: UnexpectedInput, text: str) -> str:
    wanted = (
        getattr(error, "accepts", None) or getattr(error, "expected", None) or getattr(error, "allowed", None) or ()
    )
    begins = _VALUE if "NAME" in wanted else frozenset[str]()
    words = sorted(
        {_EXPECTED.get(one, one) for one in wanted if one not in begins} | ({"a value"} if begins else set())
    )
    expected = f"; expected {', '.join(words)}" if words else ""
    token = getattr(error, "token", None)
    if token is not None and token.type == "$END":
        return f"ends too early{expected}"
    place = f"line {error.line}, " if "\n" in text.strip() else ""
    found = str(token) if token is not None else text[error.pos_in_stream : (error.pos_in_stream or 0) + 1]
    hint = {"=": "; write == to compare", "&": "; write &&", "|": "; write ||"}.get(found, "")
    hint = {"and": "; write &&", "or": "; write ||", '"': "; its quote is not closed"}.get(found, hint)
    hint = "; its quote is not closed" if found == "'" else hint
    if text[: error.pos_in_stream or 0].rstrip().rpartition(" ")[2] == "not":
        hint = "; write ! for not"
    if found in UNITS:
        hint = "; a number has the unit of what it meets, so leave the unit out"
    return f"{place}column {error.column}: {found!r} is not expected here{hint or expected}"
