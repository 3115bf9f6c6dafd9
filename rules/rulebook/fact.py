"""Facts for the rules: known and missing properties of one subject, and message templates filled from them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal, TypeAlias

from rules.quantities.missing import Missing

__all__ = ["KINDS", "Fact", "FactError", "Kind", "Properties", "Value", "placeholders", "render", "written"]


Kind: TypeAlias = Literal["stack", "component", "joint", "operation", "part"]
"""The kinds of subject of a rule; a part is one of a whole library."""

KINDS: Final[tuple[Kind, ...]] = ("stack", "component", "joint", "operation", "part")

Value: TypeAlias = str | float | bool
"""Value of a property: text, number or flag."""


class FactError(ValueError):
    """A fact that contradicts itself or the vocabulary; the message names the fact and the property."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One subject with its properties, unnested, each in one of three states.

    A property in ``known`` has a value.
    A property in ``lacking`` concerns this subject but cannot be derived; its pointers say which fields
    of the request would supply it.
    A property in neither does not concern this subject at all.

    Parameters
    ----------
    kind
        ``"stack"``, ``"component"``, ``"joint"``, ``"operation"`` or ``"part"``.
    key
        Unique within a request, for example ``"joint:collet-1/extension"``.
    at
        JSON Pointers into the request, given with each finding on this subject.
    known
        Property to value; every number in the unit of the vocabulary.
    lacking
        Property to the pointers of the request fields that would supply it.
    """

    kind: str
    key: str
    at: tuple[str, ...]
    known: Mapping[str, Value]
    lacking: Mapping[str, tuple[str, ...]]


class Properties:
    """Builder of a fact; starts with the properties that are always known."""

    __slots__ = ("_at", "_key", "_kind", "_known", "_lacking")

    def __init__(self, kind: str, key: str, at: tuple[str, ...], **always: str | float | bool) -> None:
        self._kind, self._key, self._at = kind, key, at
        self._known = always
        self._lacking: dict[str, tuple[str, ...]] = {}

    def add(self, name: str, value: str | float | bool | Missing | None) -> None:
        """Add a property: a missing one under ``lacking``, None for one that does not concern the subject."""
        if type(value) is Missing:  # runs for every property of a check, and is quicker than isinstance
            self._lacking[name] = value.fields
        elif value is not None:
            self._known[name] = value

    def build(self) -> Fact:
        """Return the fact."""
        return Fact(self._kind, self._key, self._at, self._known, self._lacking)


_PLACE: Final = re.compile(r"\{([a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)*)\}")
_DECIMALS: Final = 4
_MOST_DECIMALS: Final = 12


def placeholders(template: str) -> tuple[str, ...]:
    """Return the names of a template's placeholders, in the order written.

    Raises :class:`ValueError` for a brace that is not part of a ``{name}``.

    >>> placeholders("{joint}: {grip_length_mm} mm held")
    ('joint', 'grip_length_mm')
    """
    rest = _PLACE.sub("", template)
    if "{" in rest or "}" in rest:
        raise ValueError("an unmatched brace; a placeholder is written {name}")
    return tuple(_PLACE.findall(template))


def render(template: str, values: Mapping[str, Value]) -> str:
    """Write the values into a template.

    Raises :class:`KeyError` for a name without a value and :class:`ValueError` for a number that is
    not finite.

    >>> render("{joint}: {grip_length_mm} mm of {minimum_grip_mm} mm", {
    ...     "joint": "collet-1/extension", "grip_length_mm": 12.50004, "minimum_grip_mm": 20.0})
    'collet-1/extension: 12.5 mm of 20 mm'
    """
    # the split parts alternate between literal text and placeholder names
    parts = list(_parts(template))
    parts[1::2] = [written(values[name]) for name in parts[1::2]]
    return "".join(parts)


@cache
def _parts(template: str) -> list[str]:
    return _PLACE.split(template)


def written(value: Value) -> str:
    """Return one value as text.

    A number has at most four decimals, below one at most four significant ones, no exponent, no
    trailing zeros and an ASCII minus; a flag is ``yes`` or ``no``.

    >>> written(6.35), written(-0.00001), written(0.000123456), written(1e21), written(True)
    ('6.35', '-0.00001', '0.0001235', '1000000000000000000000', 'yes')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if not math.isfinite(value):
        raise ValueError(f"{value} can't be written into a message")
    decimals = _DECIMALS
    if 0 < abs(value) < 1:
        decimals = min(_DECIMALS - 1 - math.floor(math.log10(abs(value))), _MOST_DECIMALS)
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
