"""Rules over the parts of a tool library: one number with different data, twins, values far from their class.

A check sees one stack; an audit sees every part of a library. Rules ``for: part`` judge each distinct part once, by
what it states and by how it compares with the others.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from statistics import median
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from rules.answer.findings import finding, undecided
from rules.assessor import Assessor
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact, Properties
from rules.schema.components import ComponentReference, StackEntry, StackPart
from rules.schema.report import Severity
from rules.stack.view import part_view

__all__ = ["MOST_PARTS", "MOST_STACKS", "NOT_USABLE", "SAME_ID", "LibraryParts", "PartFinding"]

MOST_PARTS: Final = 50_000
"""Distinct parts that are compared; further ones are counted only."""

MOST_STACKS: Final = 200_000
"""Stack ids that are compared; further ones are counted only."""

SAME_ID: Final = "AUD-010"
"""Code of a stack id that is used more than once; it compares stacks, so it is no rule of a book."""

NOT_USABLE: Final = "AUD-020"
"""Code of a part with invalid data: the one cause of what the stacks that wait for it have as REF-050."""

_MOST_PLACES: Final = 5
_FACTS_AT_ONCE: Final = 5_000

_ENTRY: Final[TypeAdapter[StackEntry]] = TypeAdapter(StackEntry)

_PART: Final[TypeAdapter[StackPart]] = TypeAdapter(StackPart)

_NOT_DATA: Final = frozenset({"id", "description", "part_number", "labels"})

_COMPARED: Final = ("mass_kg", "overall_length_mm", "gauge_length_mm", "max_speed_rpm", "unbalance_g_mm")
"""Numbers of a part that are compared within its class."""

_NORMAL: Final = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation: 1/Φ⁻¹(3/4)."""

_LEAST_SPREAD: Final = 0.02
"""Least spread as a share of the median, so that equal values with one rounding are no outliers."""


@dataclass(slots=True)
class _Variant:
    """One set of data under a part number."""

    raw: bytes
    """The part as JSON; the models of all parts at once would take too much memory."""
    of_class: str
    numbers: tuple[tuple[str, float], ...]
    places: list[str]

    @property
    def data(self) -> dict[str, Any]:
        """What the library states, without the names of the entry."""
        return {name: value for name, value in json.loads(self.raw).items() if name not in _NOT_DATA}


@dataclass(slots=True)
class _Number:
    """Every variant of one part number, or of one id where no number is stated."""

    name: str
    is_number: bool
    variants: dict[str, _Variant] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PartFinding:
    """What a rule found on one part of a library, or could not decide."""

    code: str
    severity: Severity
    title: str
    part: str
    message: str
    remedy: str
    places: tuple[str, ...]
    """The first places where the part stands, as library and line."""
    decided: bool
    """False for a rule that could not be decided."""


class LibraryParts:
    """The distinct parts of a library.

    Two parts are the same if part number and data are equal; ids, descriptions and field order are not data.
    """

    def __init__(self) -> None:
        self._numbers: dict[tuple[bool, str], _Number] = {}
        self._distinct = 0
        self.left_out = 0
        """Distinct parts beyond the first :data:`MOST_PARTS`, counted each time they are met."""
        self._stacks: dict[str, str] = {}
        self._same_ids: dict[str, list[str]] = {}
        self.stacks_left_out = 0
        """Stacks beyond the first :data:`MOST_STACKS` with an id."""

    def __len__(self) -> int:
        return self._distinct

    def add_request(self, place: str, request: object) -> None:
        """Add every part of a request, a batch line or a definition line; what is no part is passed over."""
        if not isinstance(request, dict):
            return
        stack = request.get("stack", request)
        listed = stack.get("components") if isinstance(stack, dict) else None
        if isinstance(listed, list):
            self._add_stack(place, stack.get("id"))
        for one in listed if isinstance(listed, list) else ():
            self.add(place, one)
        defined = request.get("components")
        for one in defined.values() if isinstance(defined, dict) else ():
            self.add(place, one)

    def _add_stack(self, place: str, name: object) -> None:
        if not isinstance(name, str):
            return
        first = self._stacks.get(name)
        if first is not None:
            self._same_ids.setdefault(name, [first]).append(place)
        elif len(self._stacks) < MOST_STACKS:
            self._stacks[name] = place
        else:
            self.stacks_left_out += 1

    def same_ids(self) -> Iterator[PartFinding]:
        """Yield a finding for each stack id that is used more than once."""
        for name, places in sorted(self._same_ids.items()):
            told = ", ".join(places[:_MOST_PLACES]) + (", …" if len(places) > _MOST_PLACES else "")
            yield PartFinding(
                code=SAME_ID,
                severity="warning",
                title="Stack id used more than once",
                part=name,
                message=f"{len(places)} stacks have the id {name}: {told}.",
                remedy="Give each stack an id of its own, or remove the copy.",
                places=tuple(places[:_MOST_PLACES]),
                decided=True,
            )

    def add(self, place: str, raw: object) -> None:
        """Add one component as the library writes it."""
        if not isinstance(raw, dict) or raw.get("kind") == "reference":
            return
        data = {name: value for name, value in raw.items() if name not in _NOT_DATA}
        digest = hashlib.sha256(json.dumps(data, sort_keys=True, default=str).encode()).hexdigest()
        number, name = raw.get("part_number"), raw.get("id")
        if not isinstance(number, str) and not isinstance(name, str):
            return
        key = (isinstance(number, str), str(number if isinstance(number, str) else name))
        known = self._numbers.get(key)
        variant = None if known is None else known.variants.get(digest)
        if variant is not None:
            if len(variant.places) < _MOST_PLACES and place not in variant.places:
                variant.places.append(place)
            return
        if self._distinct >= MOST_PARTS:
            self.left_out += 1
            return
        try:
            part = _ENTRY.validate_python(raw)
        except ValidationError:
            return  # a bad line, which the audit reports
        if isinstance(part, ComponentReference):
            return
        self._distinct += 1
        known = self._numbers.setdefault(key, _Number(key[1], key[0]))
        known.variants[digest] = _Variant(json.dumps(raw).encode(), _class_of(part), tuple(_numbers(part)), [place])

    def findings(self, assessor: Assessor) -> Iterator[PartFinding]:
        """Judge every distinct part by the rules ``for: part``; yield what fired or could not be decided.

        Stack ids that are used more than once come first.
        """
        yield from self.same_ids()
        rules = [rule for rule in assessor.book.rules if rule.applies_to == "part"]
        if not rules:
            return
        facts = self._facts()
        while some := list(islice(facts, _FACTS_AT_ONCE)):
            yield from _judged(some, assessor)

    def _facts(self) -> Iterator[tuple[Fact, _Variant]]:
        twins = self._twins()
        classes = self._classes()
        for known in self._numbers.values():
            for number, (digest, variant) in enumerate(known.variants.items()):
                fact = Properties("part", f"part:{known.is_number}:{known.name}:{digest[:16]}", (), part=known.name)
                if known.is_number:
                    fact.add("variant_count", float(len(known.variants)))
                    if number:
                        fact.add("variant_number", float(number + 1))
                        fact.add("differing_fields", _differing(next(iter(known.variants.values())), variant))
                    same = [name for name in twins[digest] if name != known.name]
                    fact.add("twin_count", float(len(same)))
                    if same:
                        fact.add("twins", ", ".join(same[:_MOST_PLACES]))
                _put_outlier(fact, variant, classes[variant.of_class])
                yield fact.build(), variant

    def _twins(self) -> dict[str, list[str]]:
        """Return the part numbers of each set of data."""
        found: dict[str, list[str]] = {}
        for known in self._numbers.values():
            for digest in known.variants:
                names = found.setdefault(digest, [])
                if known.is_number:
                    names.append(known.name)
        return found

    def _classes(self) -> dict[str, dict[str, list[float]]]:
        """Return the numbers of each class of parts, by field."""
        found: dict[str, dict[str, list[float]]] = {}
        for known in self._numbers.values():
            for variant in known.variants.values():
                numbers = found.setdefault(variant.of_class, {})
                for name, value in variant.numbers:
                    numbers.setdefault(name, []).append(value)
        return found


def _judged(variants: Sequence[tuple[Fact, _Variant]], assessor: Assessor) -> Iterator[PartFinding]:
    """Yield what the rules find on some parts, and what they could not decide."""
    words = assessor.book.vocabulary.of("part")
    by_key = {fact.key: variant for fact, variant in variants}

    def view_of(fact: Fact) -> View:
        return part_view(fact, _PART.validate_json(by_key[fact.key].raw))

    judgement = assessor.engine.judge([fact for fact, _ in variants], None, view_of)
    for fired in judgement.fired:
        one = finding(fired, words)
        places = tuple(by_key[fired.fact.key].places)
        name = str(fired.fact.known["part"])
        yield PartFinding(one.code, one.severity, one.title, name, one.message, one.remedy, places, True)
    for gap in judgement.undecided:
        left = undecided(gap, words)
        lacks = ", ".join(missing.quantity.replace("_", " ") for missing in left.lacks)
        name = str(gap.fact.known["part"])
        message, remedy = f"Not decided: {name} does not state {lacks}.", f"State {lacks}."
        places = tuple(by_key[gap.fact.key].places)
        yield PartFinding(left.code, left.severity, left.title, name, message, remedy, places, False)


def _differing(first: _Variant, other: _Variant) -> str:
    one, two = first.data, other.data
    return ", ".join(name for name in sorted({*one, *two}) if one.get(name) != two.get(name))


def _class_of(part: StackPart) -> str:
    """Return the class in which a part is compared: its kind, its couplings and their sizes."""
    words: list[str] = [part.kind]
    for side in (getattr(part, "machine_side", None), getattr(part, "workpiece_side", None)):
        if side is not None:
            size = getattr(side, "size", None) or getattr(side, "diameter_mm", None) or ""
            words.append(f"{side.coupling} {size}".strip())
    return ", ".join(words)


def _numbers(part: StackPart) -> Iterator[tuple[str, float]]:
    for name in _COMPARED:
        value = getattr(part, name, None)
        if isinstance(value, float | int):
            yield name, float(value)


def _put_outlier(fact: Properties, variant: _Variant, numbers: Mapping[str, Sequence[float]]) -> None:
    """Add the number of a part that is farthest from the median of its class, in robust standard deviations."""
    worst: tuple[float, str, float, float, int] | None = None
    for name, value in variant.numbers:
        among = numbers[name]
        middle = median(among)
        spread = max(_NORMAL * median([abs(one - middle) for one in among]), _LEAST_SPREAD * abs(middle))
        if spread > 0.0 and (worst is None or abs(value - middle) / spread > worst[0]):
            worst = (abs(value - middle) / spread, name, value, middle, len(among))
    if worst is None:
        return
    fact.add("class_deviations", worst[0])
    fact.add("outlying_field", worst[1])
    fact.add("outlying_value", worst[2])
    fact.add("class_median", worst[3])
    fact.add("class_members", float(worst[4]))
    fact.add("class_name", variant.of_class)
