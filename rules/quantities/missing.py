"""Values that may not be derivable: a number or text, or the request fields that would supply it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar, final

__all__ = ["Lack", "Maybe", "given", "known_or", "lift", "merge"]

T = TypeVar("T")
R = TypeVar("R")


@final
@dataclass(frozen=True, slots=True)
class Lack:
    """What stands in for a value that could not be derived."""

    fields: tuple[str, ...]
    """JSON Pointers of the request fields that would supply it."""


Maybe: TypeAlias = T | Lack
"""A value, or what is missing for it."""


def given(value: T | None, at: str, field: str | None = None) -> T | Lack:
    """Return a stated value, or a lack that names its field: the pointer, or a field below it."""
    if value is not None:
        return value
    return Lack((at if field is None else f"{at}/{field}",))


def known_or(value: T | Lack, fallback: R) -> T | R:
    """Return the value where it is known, else the fallback."""
    return fallback if isinstance(value, Lack) else value


def merge(*values: object) -> Lack | None:
    """Return one lack of everything missing among the values, or None when all are known."""
    fields = [field for value in values if isinstance(value, Lack) for field in value.fields]
    return Lack(tuple(dict.fromkeys(fields))) if fields else None


def lift(function: Callable[..., R], *values: object) -> R | Lack:
    """Apply a function to values when all are known; otherwise return what is lacking."""
    for value in values:
        if type(value) is Lack:  # asked for every value of a check: quicker than isinstance, and the class is final
            return merge(*values) or value
    return function(*values)
