"""Slots: the small whole numbers that stand for the comparisons of a fact inside the engine.

The engine's parser in C misreads exponents, knows one numeric locale and mixes types silently; text in a
fact reaches it unescaped.
So it is handed whole numbers only.
A comparison of numbers becomes a **margin**, left minus right counted in millionths, and the condition
compares that count with zero: it holds for every threshold a request may set, although the rules are
compiled once.
A comparison of texts or flags becomes a **truth**, 1 or 0.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias, get_args

from rules.rulebook.condition import Comparison, PropertyRef, ThresholdRef

__all__ = ["READINGS", "Probe", "Reading", "Slot", "margin", "numbers_of", "probe_of"]

_PER_UNIT: Final = 1e6
_FAR: Final = 1e9
_FAR_COUNT: Final = 10**15


def margin(left: float, right: float) -> int:
    """Left minus right in whole millionths, with the sign kept exactly.

    Equal numbers give 0; a difference below one millionth still gives 1 or -1; one beyond 10⁹ is cut off
    there, far inside the engine's 64 bits.

    >>> margin(12.5, 20.0), margin(0.1 + 0.2, 0.3), margin(-1e300, 1e300)
    (-7500000, 1, -1000000000000000)
    """
    difference = left - right
    if -_FAR < difference < _FAR:
        # Asked of the numbers themselves: a whole number beyond 2**53 minus a float may come out as 0.0.
        return int(difference * _PER_UNIT) or (left > right) - (left < right)
    return _FAR_COUNT if difference > 0 else -_FAR_COUNT


Reading: TypeAlias = Literal["over", "limit", "number", "is", "like", "in"]
"""What a slot says: the margin over another property, over a threshold or over a written number; or the
truth that a text or flag is the one written, that two are alike, that a value is among those listed."""

READINGS: Final[tuple[Reading, ...]] = get_args(Reading)


@dataclass(frozen=True, slots=True)
class Slot:
    """One number on a fact; equal slots of a kind are one.

    ``right`` is a property's name, the index of a threshold, a literal or a tuple of literals.
    """

    reading: Reading
    left: str
    right: Any


def numbers_of(
    groups: Sequence[Sequence[tuple[str, Any]]], known: Mapping[str, Any], thresholds: Sequence[float]
) -> tuple[int, ...]:
    """The numbers of slots that are given as pairs of left and right, grouped in the order of ``READINGS``.

    ``known`` are the properties of a fact, ``thresholds`` all those of the book.
    """
    over, limit, number, written, like, among = groups
    # One comprehension a group: these loops are most of what a judgement costs outside the engine.
    return (
        *[margin(known[left], known[right]) for left, right in over],
        *[margin(known[left], thresholds[right]) for left, right in limit],
        *[margin(known[left], right) for left, right in number],
        *[1 if known[left] == right else 0 for left, right in written],
        *[1 if known[left] == known[right] else 0 for left, right in like],
        *[1 if known[left] in right else 0 for left, right in among],
    )


@dataclass(frozen=True, slots=True)
class Probe:
    """What the engine asks of a slot: its number ``operator`` ``value``; no operator stands for equality."""

    slot: Slot
    operator: str
    value: int

    def on(self, name: str) -> dict[str, Any]:
        """The engine's condition, the slot being called ``name``."""
        plain = {name: self.value}
        return {self.operator: plain} if self.operator else plain


_AGAINST_ZERO: Final[Mapping[str, str]] = {
    "less_than": "$lt",
    "at_most": "$lte",
    "greater_than": "$gt",
    "at_least": "$gte",
    "equals": "",
    "differs_from": "$neq",
}


def probe_of(comparison: Comparison, code: str, threshold_index: Mapping[tuple[str, str], int]) -> Probe:
    """Lower one comparison of the rule ``code``."""
    left, right = comparison.left, comparison.right
    if isinstance(right, tuple):
        return Probe(Slot("in", left, right), "", 1)
    if comparison.type == "number":
        if isinstance(right, PropertyRef):
            slot = Slot("over", left, right.name)
        elif isinstance(right, ThresholdRef):
            slot = Slot("limit", left, threshold_index[code, right.name])
        else:
            slot = Slot("number", left, right)
        return Probe(slot, _AGAINST_ZERO[comparison.operator], 0)
    wanted = 0 if comparison.operator == "differs_from" else 1
    if isinstance(right, PropertyRef):
        return Probe(Slot("like", left, right.name), "", wanted)
    if comparison.type == "flag":
        return Probe(Slot("is", left, True), "", wanted if right else 1 - wanted)
    return Probe(Slot("is", left, right), "", wanted)
