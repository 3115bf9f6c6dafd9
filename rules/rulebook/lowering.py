"""From rules to what the engine compiles: one condition a rule on small flat facts.

Per kind, each distinct comparison has a slot (``v0``, ``v1``, ...), and a fact has the slots of the rules that are
decidable on it.
A rule whose comparisons must all hold is told by a slot that it alone reads: where that is there, the rule is
decidable, and the comparison on it stands first. Any other rule has a flag (``f0``, ``f1``, ...) that says so, which
costs the engine as much as a slot.
A rule becomes ``kind and flag and condition``; groups stay groups, those of one member dissolve and a
group inside a group of the same sort is spliced in.

Slots: the small whole numbers that stand for the comparisons of a fact inside the engine.

The engine's parser in C misreads exponents, knows one numeric locale and mixes types silently; text in a
fact reaches it unescaped.
So it is handed whole numbers only.
A comparison of numbers becomes a **margin**, left minus right counted in millionths, and the condition
compares that count with zero: it holds for every threshold a request may set, although the rules are
compiled once.
A comparison of texts or flags becomes a **truth**, 1 or 0.

Rules divided so that the engine can carry each portion.

Beyond these numbers it hangs, crashes or, worst, answers with fewer findings; the margins are ours.
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


MAX_RULES_PER_KIND: Final = 60
"""Rules that can match one fact: the engine keeps at most 64 open matches.

With few kinds of subject this also keeps a portion far from the 512 rules at which the engine's tables end.
"""

MAX_NUMBERS: Final = 200
"""Numbers on a fact after lowering: the engine's fact ends at about 251."""

_OPEN_MATCHES: Final = 64
# Session, key, kind and the identity the engine adds itself.
_OWN_NUMBERS: Final = 4

SlotOf = Callable[[Comparison, Rule], Slot]
"""The slot on a fact that a comparison of a rule reads."""


def portions(rules: Iterable[Rule], slot_of: SlotOf) -> list[list[Rule]]:
    """Divide rules into as few portions as their order gives; one for all that most books hold.

    Each rule must pass :func:`~rules.rulebook.loader.lint_limits`, then it fits into a portion of its own at least.
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
    """The rules on one kind of fact in a portion, as far as they count."""

    def __init__(self) -> None:
        self._rules = 0
        self._slots: set[Slot] = set()
        self._alternatives = 0

    def has_room(self, rule: Rule, slots: set[Slot]) -> bool:
        count = self._rules + 1
        # Every rule may need a flag beside its slots.
        numbers = _OWN_NUMBERS + count + len(self._slots | slots)
        # While one rule's alternatives are followed, every other rule's match waits beside the catch-all's.
        waiting = count + 1 + max(self._alternatives, _alternatives(rule.condition))
        return count <= MAX_RULES_PER_KIND and numbers <= MAX_NUMBERS and waiting <= _OPEN_MATCHES

    def add(self, rule: Rule, slots: set[Slot]) -> None:
        self._rules += 1
        self._slots |= slots
        self._alternatives = max(self._alternatives, _alternatives(rule.condition))


def _alternatives(condition: Condition) -> int:
    """How many more open matches a condition can make than one."""
    if isinstance(condition, Comparison):
        return 0
    inner = sum(_alternatives(member) for member in condition.members)
    return inner + (len(condition.members) - 1 if condition.join == "any" else 0)


CATCH_ALL: Final = "seen"
"""The engine's name for the rule that counts every fact; codes are capital letters, so no rule has it."""

MARKER_KIND: Final = "marker"
"""The kind of the fact that opens a session and that no rule is about."""


@dataclass(frozen=True, slots=True)
class LoweredRule:
    """One rule: its flag's name if it has one, the indices of its slots, and the engine's condition on its facts."""

    rule: Rule
    flag: str | None
    slots: tuple[int, ...]
    condition: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LoweredKind:
    """The rules on one kind of fact, with all the slots they read; slot ``i`` is called ``v<i>``."""

    kind: str
    rules: tuple[LoweredRule, ...]
    slots: tuple[Slot, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Flags, then slots: every property the engine sees on a fact beside session, key and kind."""
        flags = (rule.flag for rule in self.rules if rule.flag is not None)
        return (*flags, *(f"v{index}" for index in range(len(self.slots))))


@dataclass(frozen=True, slots=True)
class LoweredPortion:
    """Rules that the engine carries together: its definition, and how facts of each kind are put for it."""

    definition: Mapping[str, Any]
    kinds: Mapping[str, LoweredKind]


@dataclass(frozen=True, slots=True)
class Lowered:
    """A whole rulebook, in one portion unless it is very large.

    ``thresholds`` are the values written in the books, ``threshold_index`` finds one by code and name.
    """

    portions: tuple[LoweredPortion, ...]
    thresholds: tuple[float, ...]
    threshold_index: Mapping[tuple[str, str], int]


def lower(rules: Sequence[Rule]) -> Lowered:
    """Lower rules that passed the linter."""
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
    """Put the condition together; own are the slots that no other rule reads."""
    members = tree.get("$and", [tree])
    if own and not any("$or" in member for member in members):
        telling = [member for member in members if _name(member) == own[0]]
        rest = [member for member in members if _name(member) != own[0]]
        return LoweredRule(rule, None, read, {"$and": [{"kind": kind}, *telling, *rest]})
    return LoweredRule(rule, flag, read, {"$and": [{"kind": kind}, {flag: 1}, *members]})


def _name(comparison: Mapping[str, Any]) -> str:
    """The slot that one comparison of the engine reads: under its operator, or plain for equality."""
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
