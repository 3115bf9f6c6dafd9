"""The plan for facts of one shape: which rules are decided, which are not, and the text for the engine.

The shape is the kind with the names of what is known and what is lacking; facts of one shape share a plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.rulebook.fact import Fact, FactError
from rules.rulebook.lowering import MARKER_KIND, LoweredKind, LoweredRule
from rules.rulebook.model import Rule
from rules.rulebook.slots import READINGS, numbers_of
from rules.rulebook.vocabulary import PropertyType, Vocabulary

__all__ = ["MARKER_TEMPLATE", "Plan", "make_plan"]

MARKER_TEMPLATE: Final = '{"sid":"%s","key":%d,"kind":"' + MARKER_KIND + '"}'
"""The engine's text of the fact that opens a session: session and key are filled in."""

# The largest finite double: anything beyond is no measurement, and not-a-number fails both comparisons.
_LARGEST: Final = 1.7976931348623157e308
_NUMBER: Final = (float, int)


@dataclass(frozen=True, slots=True)
class Plan:
    """How facts of one shape are judged.

    Parameters
    ----------
    template
        The engine's text with places for session, key and the numbers of the slots. Flags of decided rules stand
        in it; those of others, and slots that no decided rule reads, are left out: a rule whose flag or slot is not
        there does not match.
    groups
        The slots that fill the places after session and key, as pairs of left and right, grouped by what
        they read in the order of :data:`~rules.rulebook.slots.READINGS`.
    numbers, texts, flags
        The properties that decided rules use, by the type they must have.
    decided
        Codes of the rules the engine decides.
    undecided
        Rules that concern the subject but lack properties: those properties, in the order of ``needs``.
    """

    template: str
    groups: tuple[tuple[tuple[str, Any], ...], ...]
    numbers: tuple[str, ...]
    texts: tuple[str, ...]
    flags: tuple[str, ...]
    decided: frozenset[str]
    undecided: tuple[tuple[Rule, tuple[str, ...]], ...]

    def fill(self, fact: Fact, thresholds: Sequence[float]) -> tuple[int, ...]:
        """The numbers for the template; raises :class:`FactError` for a value of the wrong type."""
        known: Mapping[str, Any] = fact.known
        for name in self.numbers:
            value = known[name]
            # almost every number is a plain float
            sound = type(value) is float or (isinstance(value, _NUMBER) and not isinstance(value, bool))
            if not (sound and -_LARGEST <= value <= _LARGEST):
                raise _wrong(fact, name, "a finite number")
        for name in self.texts:
            if not isinstance(known[name], str):
                raise _wrong(fact, name, "text")
        for name in self.flags:
            if not isinstance(known[name], bool):
                raise _wrong(fact, name, "a flag")
        return numbers_of(self.groups, known, thresholds)


def _wrong(fact: Fact, name: str, wanted: str) -> FactError:
    return FactError(f"{fact.key}: {name} must be {wanted}, not {fact.known[name]!r}")


def make_plan(fact: Fact, lowered: LoweredKind | None, vocabulary: Vocabulary) -> Plan:
    """Plan for facts with the shape of this one.

    Raises :class:`FactError` when the shape contradicts itself or the vocabulary.
    """
    _refuse_contradictions(fact, vocabulary)
    chosen: list[LoweredRule] = []
    undecided: list[tuple[Rule, tuple[str, ...]]] = []
    for candidate in lowered.rules if lowered else ():
        needs = candidate.rule.needs
        if any(name not in fact.known and name not in fact.lacking for name in needs):
            continue
        if lacking := tuple(name for name in needs if name in fact.lacking):
            undecided.append((candidate.rule, lacking))
        else:
            chosen.append(candidate)
    slots = lowered.slots if lowered else ()
    used = {slot for candidate in chosen for slot in candidate.slots}
    grouped = [[slot for slot in sorted(used) if slots[slot].reading == reading] for reading in READINGS]
    fields = [f'"{candidate.flag}":1' for candidate in chosen if candidate.flag is not None]
    fields += [f'"v{slot}":%d' for group in grouped for slot in group]
    types = _types(fact.kind, (candidate.rule for candidate in chosen), vocabulary)
    return Plan(
        template=f'{{"sid":"%s","key":%d,"kind":"{fact.kind}",{",".join(fields)}}}',
        groups=tuple(tuple((slots[slot].left, slots[slot].right) for slot in group) for group in grouped),
        numbers=tuple(name for name, kind in types.items() if kind == "number"),
        texts=tuple(name for name, kind in types.items() if kind == "text"),
        flags=tuple(name for name, kind in types.items() if kind == "flag"),
        decided=frozenset(candidate.rule.code for candidate in chosen),
        undecided=tuple(undecided),
    )


def _types(kind: str, rules: Iterable[Rule], vocabulary: Vocabulary) -> Mapping[str, PropertyType]:
    properties = vocabulary.of(kind)
    names = [name for name, known in properties.items() if known.always]
    names += [name for rule in rules for name in rule.needs]
    return {name: properties[name].type for name in names}


def _refuse_contradictions(fact: Fact, vocabulary: Vocabulary) -> None:
    if fact.kind not in vocabulary.kinds:
        raise FactError(f"{fact.key}: there are no facts of the kind {fact.kind!r}")
    properties = vocabulary.of(fact.kind)
    for name in (*fact.known, *fact.lacking):
        if name not in properties:
            raise FactError(f"{fact.key}: the vocabulary has no property {name!r} on a {fact.kind}")
    if both := fact.known.keys() & fact.lacking.keys():
        raise FactError(f"{fact.key}: both known and lacking: {', '.join(sorted(both))}")
    for name, known in properties.items():
        if known.always and name not in fact.known:
            raise FactError(f"{fact.key}: lacks {name}, which every {fact.kind} has")
