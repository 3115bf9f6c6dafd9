"""From rules to what the engine compiles: one condition a rule on small flat facts.

Per kind, each distinct comparison has a slot (``v0``, ``v1``, ...), and a fact has the slots of the rules that are
decidable on it.
A rule whose comparisons must all hold is told by a slot that it alone reads: where that is there, the rule is
decidable, and the comparison on it stands first. Any other rule has a flag (``f0``, ``f1``, ...) that says so, which
costs the engine as much as a slot.
A rule becomes ``kind and flag and condition``; groups stay groups, those of one member dissolve and a
group inside a group of the same sort is spliced in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.rulebook.condition import Comparison, Condition
from rules.rulebook.model import Rule
from rules.rulebook.portions import portions
from rules.rulebook.slots import Slot, probe_of

__all__ = ["CATCH_ALL", "MARKER_KIND", "Lowered", "LoweredKind", "LoweredPortion", "LoweredRule", "lower"]

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
