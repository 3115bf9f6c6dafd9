"""Lowering of rules to the form that the engine compiles: one condition per rule, on flat facts of integers.

Each distinct comparison of a kind has a slot (``v0``, ``v1``, ...). A fact carries the slots of the rules that can be
decided on it. If all comparisons of a rule must hold and it alone reads one of their slots, then that slot marks the
rule as decidable, and its comparison is written first. Any other rule has a flag (``f0``, ``f1``, ...) as its mark,
which costs the engine as much as a slot. The lowered rule is ``kind and flag and condition``. Groups stay groups, but a
group of one member is replaced by that member, and a group inside a group of the same sort is merged into it.

The engine's C parser misreads exponents, supports one numeric locale, mixes types silently and does not escape text, so
it gets integers only. A comparison of numbers becomes a **margin**: left minus right in millionths. The condition
compares that integer with zero, so rules compiled once serve every threshold that a request may set. A comparison of
texts or flags becomes a **truth**: 1 or 0.

Large rulebooks are divided into portions. Beyond the limits below the engine hangs, crashes or drops findings; each
limit is well below the size at which failures were observed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias, get_args

from rules.rulebook.book import Rule
from rules.rulebook.condition import Comparison, Condition, PropertyRef, ThresholdRef, comparisons

__all__ = [
    "CATCH_ALL",
    "MARKER_KIND",
    "MAX_NUMBERS",
    "MAX_RULES_PER_KIND",
    "READINGS",
    "Lowered",
    "LoweredKind",
    "LoweredPortion",
    "LoweredRule",
    "lower",
    "margin",
    "numbers_of",
]


_PER_UNIT: Final = 1e6
_FAR: Final = 1e9
_FAR_COUNT: Final = 10**15


def margin(left: float, right: float) -> int:
    """Return left minus right in whole millionths, with the exact sign.

    Equal numbers give 0; a difference below one millionth gives 1 or -1; one beyond 10⁹ is clipped, well within the
    engine's 64 bits.

    >>> margin(12.5, 20.0), margin(0.1 + 0.2, 0.3), margin(-1e300, 1e300)
    (-7500000, 1, -1000000000000000)
    """
    difference = left - right
    if -_FAR < difference < _FAR:
        # Compare the numbers themselves: an integer beyond 2**53 minus a float may come out as 0.0.
        return int(difference * _PER_UNIT) or (left > right) - (left < right)
    return _FAR_COUNT if difference > 0 else -_FAR_COUNT


Reading: TypeAlias = Literal["over", "limit", "number", "is", "like", "in"]
"""Content of a slot. ``over``, ``limit`` and ``number`` are margins: over another property, a threshold or a literal.
``is``, ``like`` and ``in`` are truths: equal to a literal, equal to another property, in a list."""

READINGS: Final[tuple[Reading, ...]] = get_args(Reading)


@dataclass(frozen=True, slots=True)
class Slot:
    """One comparison of a kind, held as one number on a fact.

    ``right`` is a property's name, the index of a threshold, a literal or a tuple of literals.
    """

    reading: Reading
    left: str
    right: Any


def numbers_of(
    groups: Sequence[Sequence[tuple[str, Any]]], known: Mapping[str, Any], thresholds: Sequence[float]
) -> tuple[int, ...]:
    """Return the numbers of slots, given as pairs of left and right operand and grouped in the order of ``READINGS``.

    ``known`` are the properties of a fact, ``thresholds`` all those of the book.
    """
    over, limit, number, written, like, among = groups
    # One comprehension per group, since these loops cost most of the time spent outside the engine.
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
    """The engine's comparison of a slot: its number ``operator`` ``value``; empty for equality."""

    slot: Slot
    operator: str
    value: int

    def on(self, name: str) -> dict[str, Any]:
        """Return the engine's condition on the slot called ``name``."""
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


MAX_RULES_PER_KIND: Final = 60
"""Rules that can match one fact, since the engine holds at most 64 pending matches. With few kinds of subject a portion
also remains well below the engine's limit of 512 rules.
"""

MAX_NUMBERS: Final = 200
"""Numbers on a fact after lowering; the engine's limit is about 251."""

_OPEN_MATCHES: Final = 64
# Session, key, kind, and the identity that the engine adds.
_OWN_NUMBERS: Final = 4

SlotOf = Callable[[Comparison, Rule], Slot]
"""Name of the slot that a comparison of a rule reads."""


def portions(rules: Iterable[Rule], slot_of: SlotOf) -> list[list[Rule]]:
    """Divide rules into portions in their order; most books need only one.

    Each rule must pass :func:`~rules.rulebook.loader.lint_limits`, so that each rule fits into a portion.
    """
    found: list[list[Rule]] = [[]]
    places: dict[str, tuple[int, _Kind]] = {}
    for rule in rules:
        slots = {slot_of(comparison, rule) for comparison in comparisons(rule.condition)}
        place, kind = places.get(rule.applies_to, (0, _Kind()))
        if not kind.has_room(rule, slots):
            place, kind = place + 1, _Kind()
        kind.add(rule, slots)
        places[rule.applies_to] = place, kind
        if place == len(found):
            found.append([])
        found[place].append(rule)
    return found


class _Kind:
    """Counts of the rules on one kind of fact in a portion."""

    def __init__(self) -> None:
        self._rules = 0
        self._slots: set[Slot] = set()
        self._alternatives = 0

    def has_room(self, rule: Rule, slots: set[Slot]) -> bool:
        count = self._rules + 1
        # Allow for one flag per rule in addition to the slots.
        numbers = _OWN_NUMBERS + count + len(self._slots | slots)
        # While the alternatives of one rule are matched, a match of every other rule and of the catch-all is pending.
        waiting = count + 1 + max(self._alternatives, _alternatives(rule.condition))
        return count <= MAX_RULES_PER_KIND and numbers <= MAX_NUMBERS and waiting <= _OPEN_MATCHES

    def add(self, rule: Rule, slots: set[Slot]) -> None:
        self._rules += 1
        self._slots |= slots
        self._alternatives = max(self._alternatives, _alternatives(rule.condition))


def _alternatives(condition: Condition) -> int:
    """Return how many pending matches beyond the first a condition can cause."""
    if isinstance(condition, Comparison):
        return 0
    inner = sum(_alternatives(member) for member in condition.members)
    return inner + (len(condition.members) - 1 if condition.join == "any" else 0)


CATCH_ALL: Final = "seen"
"""Name of the catch-all rule, which counts every fact. Rule codes are in capital letters, so none equals it."""

MARKER_KIND: Final = "marker"
"""Kind of the fact that opens a session; no rule is of this kind."""


@dataclass(frozen=True, slots=True)
class LoweredRule:
    """One lowered rule: the name of its flag if any, the indices of its slots, and the engine's condition."""

    rule: Rule
    flag: str | None
    slots: tuple[int, ...]
    condition: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LoweredKind:
    """Rules on one kind of fact, with all the slots they read; slot ``i`` is named ``v<i>``."""

    kind: str
    rules: tuple[LoweredRule, ...]
    slots: tuple[Slot, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Return flags, then slots: every property of a fact in the engine except session, key and kind."""
        flags = (rule.flag for rule in self.rules if rule.flag is not None)
        return (*flags, *(f"v{index}" for index in range(len(self.slots))))


@dataclass(frozen=True, slots=True)
class LoweredPortion:
    """Rules compiled together: the definition for the engine, and the lowered rules of each kind."""

    definition: Mapping[str, Any]
    kinds: Mapping[str, LoweredKind]


@dataclass(frozen=True, slots=True)
class Lowered:
    """A whole rulebook, in one portion unless it is very large.

    ``thresholds`` are the values written in the books; ``threshold_index`` maps code and name to the index of a value.
    """

    portions: tuple[LoweredPortion, ...]
    thresholds: tuple[float, ...]
    threshold_index: Mapping[tuple[str, str], int]


def lower(rules: Sequence[Rule]) -> Lowered:
    """Return the lowered form of rules that passed the linter."""
    index: dict[tuple[str, str], int] = {}
    values: list[float] = []
    for rule in rules:
        for name, threshold in rule.thresholds.items():
            index[rule.code, name] = len(values)
            values.append(threshold.value)
    divided = portions(rules, lambda comparison, rule: probe_of(comparison, rule.code, index).slot)
    return Lowered(tuple(_lower_portion(portion, index) for portion in divided), tuple(values), index)


def _lower_portion(rules: Iterable[Rule], index: Mapping[tuple[str, str], int]) -> LoweredPortion:
    grouped: dict[str, list[Rule]] = {}
    for rule in rules:
        grouped.setdefault(rule.applies_to, []).append(rule)
    kinds = {kind: _lower_kind(kind, group, index) for kind, group in grouped.items()}
    definition: dict[str, Any] = {
        lowered.rule.code: {"all": [{"m": lowered.condition}], "pri": 0}
        for kind in kinds.values()
        for lowered in kind.rules
    }
    definition[CATCH_ALL] = {"all": [{"m": {"$ex": {"kind": 1}}}], "pri": 1}
    return LoweredPortion(definition, kinds)


def _lower_kind(kind: str, rules: list[Rule], index: Mapping[tuple[str, str], int]) -> LoweredKind:
    slots: dict[Slot, int] = {}
    trees: list[dict[str, Any]] = []
    reads: list[tuple[int, ...]] = []
    for rule in rules:
        used: list[int] = []

        def comparison(written: Comparison, code: str = rule.code, used: list[int] = used) -> dict[str, Any]:
            probe = probe_of(written, code, index)
            number = slots.setdefault(probe.slot, len(slots))
            used.append(number)
            return probe.on(f"v{number}")

        trees.append(_tree(rule.condition, comparison))
        reads.append(tuple(dict.fromkeys(used)))
    readers = Counter(slot for read in reads for slot in read)
    lowered = [
        _lower_rule(kind, rule, f"f{position}", tree, read, [f"v{slot}" for slot in read if readers[slot] == 1])
        for position, (rule, tree, read) in enumerate(zip(rules, trees, reads, strict=True))
    ]
    return LoweredKind(kind, tuple(lowered), tuple(slots))


def _lower_rule(
    kind: str, rule: Rule, flag: str, tree: dict[str, Any], read: tuple[int, ...], own: list[str]
) -> LoweredRule:
    """Lower one rule; ``own`` are the slots that no other rule reads."""
    members = tree.get("$and", [tree])
    if own and not any("$or" in member for member in members):
        telling = [member for member in members if _name(member) == own[0]]
        rest = [member for member in members if _name(member) != own[0]]
        return LoweredRule(rule, None, read, {"$and": [{"kind": kind}, *telling, *rest]})
    return LoweredRule(rule, flag, read, {"$and": [{"kind": kind}, {flag: 1}, *members]})


def _name(comparison: Mapping[str, Any]) -> str:
    """Return the name of the slot in one comparison of the engine: under its operator, or directly for equality."""
    ((name, value),) = comparison.items()
    return _name(value) if isinstance(value, Mapping) else name


def _tree(condition: Condition, comparison: Callable[[Comparison], dict[str, Any]]) -> dict[str, Any]:
    if isinstance(condition, Comparison):
        return comparison(condition)
    join = "$and" if condition.join == "all" else "$or"
    members: list[dict[str, Any]] = []
    for member in condition.members:
        tree = _tree(member, comparison)
        members.extend(tree.get(join, [tree]))
    return members[0] if len(members) == 1 else {join: members}
