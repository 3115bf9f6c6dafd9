"""Values that may be missing: a number or text, or the request fields that would supply it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar, final, overload

__all__ = [
    "Missing",
    "OrMissing",
    "all_known",
    "missing_of",
    "or_missing",
    "value_or",
    "when_all_known",
    "when_both_known",
    "when_known",
]

T = TypeVar("T")
R = TypeVar("R")
A = TypeVar("A")
B = TypeVar("B")
C = TypeVar("C")
D = TypeVar("D")
E = TypeVar("E")
F = TypeVar("F")
G = TypeVar("G")


@final
@dataclass(frozen=True, slots=True)
class Missing:
    """Result in place of a value that could not be derived."""

    fields: tuple[str, ...]
    """JSON Pointers of the request fields that would supply it."""


OrMissing: TypeAlias = T | Missing
"""A value, or the missing fields for it."""


def or_missing(value: T | None, at: str, field: str | None = None) -> T | Missing:
    """Return a stated value, or a `Missing` with its field: the pointer, or a field below it."""
    if value is not None:
        return value
    return Missing((at if field is None else f"{at}/{field}",))


def value_or(value: T | Missing, fallback: R) -> T | R:
    """Return the value if it is known, else the fallback."""
    return fallback if isinstance(value, Missing) else value


def missing_of(*values: object) -> Missing | None:
    """Return one `Missing` for all values that are missing, or None if all are known."""
    fields = [field for value in values if isinstance(value, Missing) for field in value.fields]
    return Missing(tuple(dict.fromkeys(fields))) if fields else None


def all_known(values: Iterable[T | Missing]) -> list[T] | Missing:
    """Return the values as a list if all are known, else one `Missing` for all that are missing."""
    every = list(values)
    return missing_of(*every) or [value for value in every if not isinstance(value, Missing)]


def when_known(function: Callable[[A], R], a: A | Missing, /) -> R | Missing:
    """Apply a function to a value if it is known; otherwise return the `Missing`.

    A type checker compares value and parameter, here and in the functions for more values.
    """
    # runs for every value of a check; quicker than isinstance, and the class is final
    return a if type(a) is Missing else function(a)


def when_both_known(function: Callable[[A, B], R], a: A | Missing, b: B | Missing, /) -> R | Missing:
    """Apply a function to two values if both are known; otherwise return one `Missing` for both.

    >>> when_both_known(lambda length, across: length / across, 90.0, 12.0)
    7.5
    """
    if type(a) is Missing or type(b) is Missing:
        return missing_of(a, b) or Missing(())
    return function(a, b)


@overload
def when_all_known(
    function: Callable[[A, B, C], R], a: A | Missing, b: B | Missing, c: C | Missing, /
) -> R | Missing: ...
@overload
def when_all_known(
    function: Callable[[A, B, C, D], R], a: A | Missing, b: B | Missing, c: C | Missing, d: D | Missing, /
) -> R | Missing: ...
@overload
def when_all_known(
    function: Callable[[A, B, C, D, E], R],
    a: A | Missing,
    b: B | Missing,
    c: C | Missing,
    d: D | Missing,
    e: E | Missing,
    /,
) -> R | Missing: ...
@overload
def when_all_known(
    function: Callable[[A, B, C, D, E, F], R],
    a: A | Missing,
    b: B | Missing,
    c: C | Missing,
    d: D | Missing,
    e: E | Missing,
    f: F | Missing,
    /,
) -> R | Missing: ...
@overload
def when_all_known(
    function: Callable[[A, B, C, D, E, F, G], R],
    a: A | Missing,
    b: B | Missing,
    c: C | Missing,
    d: D | Missing,
    e: E | Missing,
    f: F | Missing,
    g: G | Missing,
    /,
) -> R | Missing: ...
def when_all_known(function: Callable[..., R], *values: object) -> R | Missing:
    """Apply a function to three to seven values if all are known; otherwise return one `Missing` for all.

    Pass a named function: mypy does not check the parameters of a lambda passed to an overload.
    """
    for value in values:
        if type(value) is Missing:
            return missing_of(*values) or value
    return function(*values)
