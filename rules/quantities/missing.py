"""Values that may not be derivable: a number or text, or the request fields that would supply it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias, TypeVar, final

__all__ = ["Missing", "OrMissing", "missing_of", "or_missing", "value_or", "when_known"]

T = TypeVar("T")
R = TypeVar("R")


@final
@dataclass(frozen=True, slots=True)
class Missing:
    """What stands in for a value that could not be derived."""

    fields: tuple[str, ...]
    """JSON Pointers of the request fields that would supply it."""


OrMissing: TypeAlias = T | Missing
"""A value, or what is missing for it."""


def or_missing(value: T | None, at: str, field: str | None = None) -> T | Missing:
    """Return a stated value, or a lack that names its field: the pointer, or a field below it."""
    if value is not None:
        return value
    return Missing((at if field is None else f"{at}/{field}",))


def value_or(value: T | Missing, fallback: R) -> T | R:
    """Return the value where it is known, else the fallback."""
    return fallback if isinstance(value, Missing) else value


def missing_of(*values: object) -> Missing | None:
    """Return one lack of everything missing among the values, or None when all are known."""
    fields = [field for value in values if isinstance(value, Missing) for field in value.fields]
    return Missing(tuple(dict.fromkeys(fields))) if fields else None


def when_known(function: Callable[..., R], *values: object) -> R | Missing:
    """Apply a function to values when all are known; otherwise return what is lacking."""
    for value in values:
        if type(value) is Missing:  # asked for every value of a check: quicker than isinstance, and the class is final
            return missing_of(*values) or value
    return function(*values)
