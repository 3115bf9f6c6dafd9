"""Rules divided so that the engine can carry each portion.

Beyond these numbers it hangs, crashes or, worst, answers with fewer findings; the margins are ours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from rules.rulebook.condition import Comparison, Condition, comparisons
from rules.rulebook.model import Rule
from rules.rulebook.slots import Slot

__all__ = ["MAX_NUMBERS", "MAX_RULES_PER_KIND", "SlotOf", "portions"]

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

    Each rule must pass :func:`~rules.rulebook.limits.lint_limits`, then it fits into a portion of its own at least.
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
