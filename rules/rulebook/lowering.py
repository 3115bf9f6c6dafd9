"""Lowering of rules to the form that the engine compiles: one condition per rule, on flat facts of integers.

A rule fires where its requirement does not hold. Its comparisons go to the engine as they are: a slot of the fact holds
each property and each threshold that is compared, and the engine compares slot with slot or slot with constant. What
the engine cannot do safely is a **term**, computed beforehand and then compared like a property: arithmetic, functions,
and questions to several components or joints. A flag (``f0``, ``f1``, ...) marks the rules that can be decided on a
fact; the lowered rule is ``kind and flag and condition``.

The engine's C parser misreads exponents, supports one numeric locale, mixes types silently and does not escape text, so
it gets integers only. A number becomes the integer with the same order among doubles (:func:`ordered`), so that every
comparison is exact; a text becomes the number of its entry in a table; a flag becomes 1 or 0.

Large rulebooks are divided into portions. Beyond the limits below the engine hangs, crashes or drops findings; each
limit is well below the size at which failures were observed.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Literal, NamedTuple, TypeAlias

from rules.rulebook.book import Rule
from rules.rulebook.expression import (
    Arithmetic,
    Call,
    Comparison,
    Constant,
    Evaluator,
    Expression,
    Join,
    Listing,
    Macro,
    Name,
    Negation,
    asks,
    children,
    compiled,
    text_of,
    uses_threshold,
)
from rules.rulebook.fact import Value
from rules.rulebook.vocabulary import PropertyType, Vocabulary

__all__ = [
    "CATCH_ALL",
    "MARKER_KIND",
    "MAX_COMPARISONS",
    "MAX_NUMBERS",
    "MAX_RULES_PER_KIND",
    "Group",
    "Lowered",
    "LoweredKind",
    "LoweredPortion",
    "LoweredRule",
    "Slot",
    "Term",
    "comparisons_in",
    "lower",
    "ordered",
]

_SIGN_BIT: Final = 1 << 63


def ordered(values: Sequence[float]) -> tuple[int, ...]:
    """Return an integer for each finite number, in the order of the numbers; equal numbers give equal integers.

    The bits of a double, read as an integer, rise with a positive number and fall with a negative one.

    >>> ordered([-1.5, -0.0, 0.0, 5e-324, 1.0]) == tuple(sorted(ordered([-1.5, -0.0, 0.0, 5e-324, 1.0])))
    True
    >>> ordered([0.0, -0.0])
    (0, 0)
    """
    count = len(values)
    bits = struct.unpack(f"<{count}q", struct.pack(f"<{count}d", *values))
    return tuple([one if one >= 0 else -(one + _SIGN_BIT) for one in bits])


class Slot(NamedTuple):
    """One number of a fact in the engine.

    ``source`` says what ``key`` is: the name of a property or term of this type, or the index of a threshold.
    """

    source: PropertyType | Literal["threshold"]
    key: str | int


class Term(NamedTuple):
    """What is computed for a rule before the engine compares it.

    ``name`` is its text, which no property has for a name. ``code`` is the rule whose thresholds it uses, None for a
    term without thresholds.
    """

    name: str
    code: str | None
    value: Evaluator


class Group(NamedTuple):
    """Terms, and properties that are not on the fact itself, that rules of the same ``where`` read.

    ``scopes`` are the terms of ``where`` of these rules, none if a rule without one reads them too: where none of them
    holds, nothing reads the group.
    """

    scopes: frozenset[str]
    terms: tuple[Term, ...]
    names: tuple[str, ...]


MAX_RULES_PER_KIND: Final = 60
"""Rules that can match one fact, since the engine holds at most 64 pending matches. With few kinds of subject a portion
also remains well below the engine's limit of 512 rules.
"""

MAX_NUMBERS: Final = 200
"""Numbers on a fact after lowering; the engine's limit is about 251."""

MAX_COMPARISONS: Final = 10
"""Comparisons per rule in the engine. With kind and flag that makes twelve; the engine crashes at sixteen."""

_OPEN_MATCHES: Final = 64
# Session, key, kind, and the identity that the engine adds.
_OWN_NUMBERS: Final = 4

CATCH_ALL: Final = "seen"
"""Name of the catch-all rule, which counts every fact. Rule codes are in capital letters, so none equals it."""

MARKER_KIND: Final = "marker"
"""Kind of the fact that opens a session; no rule is of this kind."""


@dataclass(frozen=True, slots=True)
class LoweredRule:
    """One lowered rule.

    ``reads`` are the properties and terms that must be known before it can be decided, ``scope`` the term of ``where``
    (None where the shape of a fact alone decides), ``slots`` the indices of the slots that its condition compares.
    """

    rule: Rule
    flag: str
    reads: tuple[str, ...]
    scope: str | None
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
        return (*(rule.flag for rule in self.rules), *(f"v{index}" for index in range(len(self.slots))))


@dataclass(frozen=True, slots=True)
class LoweredPortion:
    """Rules compiled together: the definition for the engine, and the lowered rules of each kind."""

    definition: Mapping[str, Any]
    kinds: Mapping[str, LoweredKind]


@dataclass(frozen=True, slots=True)
class Lowered:
    """A whole rulebook, in one portion unless it is very large.

    ``thresholds`` are the values written in the books; ``threshold_index`` maps code and name to the index of a value.
    ``texts`` numbers the texts that conditions name. ``scopes`` lists by kind what is computed of each fact for
    ``where``, and ``groups`` what else is found out about it.
    """

    portions: tuple[LoweredPortion, ...]
    thresholds: tuple[float, ...]
    threshold_index: Mapping[tuple[str, str], int]
    texts: Mapping[str, int]
    scopes: Mapping[str, tuple[Term, ...]]
    groups: Mapping[str, tuple[Group, ...]]


class _Probe(NamedTuple):
    """A comparison for the engine: a slot with another slot, or with a constant."""

    sign: str
    left: Slot
    right: Slot | int


class _Group(NamedTuple):
    join: Literal["$and", "$or"]
    members: tuple[_Tree, ...]


_Tree: TypeAlias = _Probe | _Group

_NOT: Final = {"==": "!=", "!=": "==", "<": ">=", "<=": ">", ">": "<=", ">=": "<", "in": "not in"}
_TURNED: Final = {"==": "==", "!=": "!=", "<": ">", "<=": ">=", ">": "<", ">=": "<="}
_IN_ENGINE: Final = {"!=": "$neq", "<": "$lt", "<=": "$lte", ">": "$gt", ">=": "$gte"}


def term_of(one: Expression, code: str) -> Term:
    """Return an expression of the rule ``code`` as a term.

    Rules share terms by name, so the code precedes a text that other rules may mean otherwise.
    """
    text = text_of(one)
    name = f"{code}: {text}" if uses_threshold(one) or _names_a_list(one) else text
    return Term(name, code if uses_threshold(one) else None, compiled(one))


def _names_a_list(one: Expression) -> bool:
    """Whether an expression reads a list by the name that its rule gave it."""
    return (isinstance(one, Listing) and one.name is not None) or any(map(_names_a_list, children(one)))


class _Condition:
    """Lowers the requirement of one rule; collects the terms, and numbers the texts."""

    def __init__(
        self, rule: Rule, vocabulary: Vocabulary, index: Mapping[tuple[str, str], int], texts: dict[str, int]
    ) -> None:
        self._rule, self._types = rule, vocabulary.of(rule.applies_to)
        self._index, self._texts = index, texts
        self.terms: dict[str, Term] = {}
        required = rule.requirement
        # what asks for missing values has three outcomes, and the engine knows two
        self.tree = (
            _Probe("==", self._operand(required, "flag"), 0) if asks(required) else self._lower(required, holds=False)
        )

    @cached_property
    def scope(self) -> Term | None:
        """The term of what ``where`` asks beyond has() and stated(); None if there is no more."""
        rule = self._rule
        if not rule.scope_rest:
            return None
        rest = rule.scope_rest[0] if len(rule.scope_rest) == 1 else Join("&&", rule.scope_rest)
        code = rule.code if uses_threshold(rest) else None
        return Term(f"{rule.code}: where {text_of(rest)}", code, compiled(rest))

    def _lower(self, one: Expression, *, holds: bool) -> _Tree:
        """Return the engine's condition for "it holds" or "it does not hold"."""
        if isinstance(one, Negation):
            return self._lower(one.inner, holds=not holds)
        if isinstance(one, Join):
            members = [self._lower(member, holds=holds) for member in one.members]
            return _group("$and" if (one.sign == "&&") == holds else "$or", members)
        if isinstance(one, Comparison):
            return self._comparison(one, holds=holds)
        return _Probe("==", self._operand(one, "flag"), int(holds))

    def _comparison(self, one: Comparison, *, holds: bool) -> _Tree:
        sign = one.sign if holds else _NOT[one.sign]
        left, right = one.left, one.right
        if isinstance(right, Listing):
            slot = self._operand(left, self._type(left))
            among = sign == "in"
            probes = [_Probe("==" if among else "!=", slot, self._constant(value)) for value in right.values]
            return _group("$or" if among else "$and", probes)
        if isinstance(left, Constant):
            left, right, sign = right, left, _TURNED[sign]
        kind = self._type(left)
        slot = self._operand(left, kind)
        if isinstance(right, Constant):
            return _Probe(sign, slot, self._constant(right.value))
        other = self._operand(right, kind)
        if sign == "==":  # the engine compares two slots for equality as text
            return _group("$and", [_Probe("<=", slot, other), _Probe(">=", slot, other)])
        return _Probe(sign, slot, other)

    def _type(self, one: Expression) -> PropertyType:
        if isinstance(one, Name):
            return "number" if one.is_threshold else self._types[one.name].type
        is_number = isinstance(one, Arithmetic) or (isinstance(one, Macro) and one.method == "count")
        return "number" if is_number or (isinstance(one, Call) and one.function == "abs") else "flag"

    def _constant(self, value: Value) -> int:
        if isinstance(value, bool):
            return int(value)
        if isinstance(value, str):
            return self._texts.setdefault(value, len(self._texts) + 1)
        return ordered([value])[0]

    def _operand(self, one: Expression, kind: PropertyType) -> Slot:
        if isinstance(one, Name):
            return (
                Slot("threshold", self._index[self._rule.code, one.name]) if one.is_threshold else Slot(kind, one.name)
            )
        term = term_of(one, self._rule.code)
        self.terms[term.name] = term
        return Slot(kind, term.name)


def _group(join: Literal["$and", "$or"], members: Iterable[_Tree]) -> _Tree:
    flat: list[_Tree] = []
    for member in members:
        flat.extend(member.members if isinstance(member, _Group) and member.join == join else [member])
    return flat[0] if len(flat) == 1 else _Group(join, tuple(flat))


def _probes(tree: _Tree) -> Iterator[_Probe]:
    if isinstance(tree, _Probe):
        yield tree
    else:
        for member in tree.members:
            yield from _probes(member)


def _slots_of(tree: _Tree) -> tuple[Slot, ...]:
    found = (slot for probe in _probes(tree) for slot in (probe.left, probe.right) if isinstance(slot, Slot))
    return tuple(dict.fromkeys(found))


def _alternatives(tree: _Tree) -> int:
    """Return how many pending matches beyond the first a condition can cause."""
    if isinstance(tree, _Probe):
        return 0
    return sum(map(_alternatives, tree.members)) + (len(tree.members) - 1 if tree.join == "$or" else 0)


def _written(tree: _Tree, number: Mapping[Slot, int]) -> dict[str, Any]:
    """Return a condition as the engine reads it."""
    if isinstance(tree, _Group):
        return {tree.join: [_written(member, number) for member in tree.members]}
    right = {"$m": f"v{number[tree.right]}"} if isinstance(tree.right, Slot) else tree.right
    plain = {f"v{number[tree.left]}": right}
    return plain if tree.sign == "==" else {_IN_ENGINE[tree.sign]: plain}


class _Room:
    """Counts of the rules on one kind of fact in a portion."""

    def __init__(self) -> None:
        self._rules = 0
        self._slots: set[Slot] = set()
        self._alternatives = 0

    def has_room(self, tree: _Tree) -> bool:
        count = self._rules + 1
        numbers = _OWN_NUMBERS + count + len(self._slots | set(_slots_of(tree)))
        # While the alternatives of one rule are matched, a match of every other rule and of the catch-all is pending.
        waiting = count + 1 + max(self._alternatives, _alternatives(tree))
        return count <= MAX_RULES_PER_KIND and numbers <= MAX_NUMBERS and waiting <= _OPEN_MATCHES

    def add(self, tree: _Tree) -> None:
        self._rules += 1
        self._slots |= set(_slots_of(tree))
        self._alternatives = max(self._alternatives, _alternatives(tree))


def comparisons_in(rule: Rule, vocabulary: Vocabulary) -> int:
    """Return how many comparisons the engine makes for a rule; a list counts one for each of its values."""
    index = {(rule.code, name): place for place, name in enumerate(rule.thresholds)}
    return len(list(_probes(_Condition(rule, vocabulary, index, {}).tree)))


def lower(rules: Sequence[Rule], vocabulary: Vocabulary) -> Lowered:
    """Return the lowered form of rules that passed the linter."""
    index: dict[tuple[str, str], int] = {}
    values: list[float] = []
    for rule in rules:
        for name, threshold in rule.thresholds.items():
            index[rule.code, name] = len(values)
            values.append(threshold.value)
    texts: dict[str, int] = {}
    conditions = [(rule, _Condition(rule, vocabulary, index, texts)) for rule in rules]
    scopes: dict[str, list[Term]] = {}
    terms: dict[str, Term] = {}
    readers: dict[str, dict[str, set[str | None]]] = {}
    for rule, condition in conditions:
        scope = condition.scope
        if scope is not None:
            scopes.setdefault(rule.applies_to, []).append(scope)
        terms |= condition.terms
        words, own = vocabulary.of(rule.applies_to), readers.setdefault(rule.applies_to, {})
        for name in (*condition.terms, *[name for name in rule.reads if words[name].from_request]):
            own.setdefault(name, set()).add(None if scope is None else scope.name)
    return Lowered(
        tuple(_lower_portion(portion) for portion in _portions(conditions)),
        tuple(values),
        index,
        texts,
        {kind: tuple(found) for kind, found in scopes.items()},
        {kind: tuple(_groups(found, terms)) for kind, found in readers.items()},
    )


def _groups(readers: Mapping[str, set[str | None]], terms: Mapping[str, Term]) -> Iterator[Group]:
    """Yield what rules read, given the ``where`` of those that read each name, None for a rule without one."""
    grouped: dict[frozenset[str], list[str]] = {}
    for name, found in readers.items():
        scopes = frozenset() if None in found else frozenset(scope for scope in found if scope is not None)
        grouped.setdefault(scopes, []).append(name)
    for scopes, names in grouped.items():
        computed = tuple(terms[name] for name in names if name in terms)
        yield Group(scopes, computed, tuple(name for name in names if name not in terms))


_Conditions: TypeAlias = list[tuple[Rule, _Condition]]


def _portions(conditions: _Conditions) -> list[_Conditions]:
    """Divide rules into portions in their order; most books need only one.

    Each rule must pass :func:`~rules.rulebook.loader.lint_limits`, so that each rule fits into a portion.
    """
    found: list[_Conditions] = [[]]
    places: dict[str, tuple[int, _Room]] = {}
    for rule, condition in conditions:
        place, room = places.get(rule.applies_to, (0, _Room()))
        if not room.has_room(condition.tree):
            place, room = place + 1, _Room()
        room.add(condition.tree)
        places[rule.applies_to] = place, room
        if place == len(found):
            found.append([])
        found[place].append((rule, condition))
    return found


def _lower_portion(conditions: _Conditions) -> LoweredPortion:
    grouped: dict[str, _Conditions] = {}
    for rule, condition in conditions:
        grouped.setdefault(rule.applies_to, []).append((rule, condition))
    kinds = {kind: _lower_kind(kind, group) for kind, group in grouped.items()}
    definition: dict[str, Any] = {
        lowered.rule.code: {"all": [{"m": lowered.condition}], "pri": 0}
        for kind in kinds.values()
        for lowered in kind.rules
    }
    definition[CATCH_ALL] = {"all": [{"m": {"$ex": {"kind": 1}}}], "pri": 1}
    return LoweredPortion(definition, kinds)


def _lower_kind(kind: str, conditions: _Conditions) -> LoweredKind:
    number: dict[Slot, int] = {}
    lowered: list[LoweredRule] = []
    for place, (rule, condition) in enumerate(conditions):
        slots = _slots_of(condition.tree)
        for slot in slots:
            number.setdefault(slot, len(number))
        tree = _written(condition.tree, number)
        scope = condition.scope
        lowered.append(
            LoweredRule(
                rule,
                f"f{place}",
                (*rule.needs, *condition.terms),
                None if scope is None else scope.name,
                tuple(number[slot] for slot in slots),
                {"$and": [{"kind": kind}, {f"f{place}": 1}, *tree.get("$and", [tree])]},
            )
        )
    return LoweredKind(kind, tuple(lowered), tuple(number))
