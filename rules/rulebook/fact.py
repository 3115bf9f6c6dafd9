"""A fact: what is known about one subject of a request, and what could not be derived."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

__all__ = ["KINDS", "Fact", "FactError", "Kind", "Value"]

Kind: TypeAlias = Literal["stack", "component", "joint", "operation"]
"""What a rule can be about."""

KINDS: Final[tuple[Kind, ...]] = ("stack", "component", "joint", "operation")

Value: TypeAlias = str | float | bool
"""A property is a text, a number or a flag."""


class FactError(ValueError):
    """A fact contradicts itself or the vocabulary; the message names the fact and the property."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One subject with its properties, flat, each property in one of three states.

    A property in ``known`` has a value.
    A property in ``lacking`` concerns this subject but cannot be derived; its pointers say which fields
    of the request would supply it.
    A property in neither does not concern this subject at all.

    Parameters
    ----------
    kind
        ``"stack"``, ``"component"``, ``"joint"`` or ``"operation"``.
    key
        Unique in a request, for example ``"joint:c1/ext"``.
    at
        JSON Pointers into the request: where a finding on this subject points to.
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
