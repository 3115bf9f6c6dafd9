"""Random rulebooks, facts and overrides with difficult values, over the small vocabulary or another."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from typing import Any

from rules.rulebook.condition import OPERATORS
from rules.rulebook.fact import KINDS, Fact, Value
from rules.rulebook.vocabulary import Property, Vocabulary
from tests.support.rulebooks import rule_entry, small_vocabulary

NUMBERS: tuple[float, ...] = (
    0.0, -0.0, 1, 1.0, 4, 10, 25.0, math.nextafter(25.0, math.inf), math.nextafter(25.0, -math.inf),
    0.3, 0.1 + 0.2, 1e-7, -1e-7, 4e-13, 5e-324, -5e-324, 1e-05, 1e16, 1e300, -1e300, float(2**53), 2**53 + 1,
)  # fmt: skip
"""Adjacent floats, numbers printed with an exponent, and both ends of the range of doubles."""

TEXTS = (
    "plain",
    "flatted",
    "inclined",
    "",
    "0",
    "1",
    "true",
    'say "µ"',
    "back\\slash",
    "line\nbreak",
    "%d",
    "{x}",
)

_MOST = 10


def random_rules(rng: random.Random, most: int = 12) -> list[dict[str, Any]]:
    """Return up to ``most`` valid rules as written."""
    return [random_rule(rng, f"TEST-{number:03d}") for number in range(1, rng.randint(1, most) + 1)]


def random_rule(
    rng: random.Random, code: str, vocabulary: Vocabulary | None = None, most: int = _MOST
) -> dict[str, Any]:
    """Return a valid rule of up to ``most`` comparisons as written, about any kind in the vocabulary."""
    words = vocabulary or small_vocabulary()
    kind = rng.choice([kind for kind in KINDS if words.of(kind)])
    writer = _ConditionWriter(rng, words.of(kind), most)
    condition = writer.group(rng.randint(0, 3))
    always = {name for name, entry in words.of(kind).items() if entry.always}
    needs = sorted(writer.used - always)
    if rng.random() < 0.2:
        needs = sorted({*needs, rng.choice(sorted(words.of(kind)))})
    rng.shuffle(needs)
    return rule_entry(
        code,
        applies_to=kind,
        severity=rng.choice(("error", "warning", "advice")),
        needs=needs,
        when=condition,
        message="text",
        thresholds=writer.thresholds,
    )


def random_facts(rng: random.Random, most: int = 8) -> list[Fact]:
    """Return up to ``most`` facts, each property known, missing or absent."""
    facts: list[Fact] = []
    for number in range(rng.randint(0, most)):
        kind = rng.choice(KINDS)
        known: dict[str, Value] = {}
        lacking: dict[str, tuple[str, ...]] = {}
        absent_at_all = rng.random() < 0.3
        for name, entry in small_vocabulary().of(kind).items():
            state = rng.random()
            if entry.always or state < 0.75:
                known[name] = _random_value(rng, entry)
            elif state < 0.9 or not absent_at_all:
                lacking[name] = (f"/{kind}/{number}/{name}", "/elsewhere")
        facts.append(Fact(kind, f"{kind}:{number}", (f"/{kind}/{number}",), known, lacking))
    return facts


def random_overrides(rng: random.Random, rules: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """Return other values for some thresholds."""
    return {
        rule["code"]: {name: rng.choice(NUMBERS) for name in rule["thresholds"] if rng.random() < 0.7}
        for rule in rules
        if rng.random() < 0.4
    }


def _random_value(rng: random.Random, entry: Property) -> Value:
    if entry.type == "number":
        return rng.choice(NUMBERS)
    return rng.choice(TEXTS) if entry.type == "text" else rng.random() < 0.5


class _ConditionWriter:
    def __init__(self, rng: random.Random, properties: Mapping[str, Property], most: int) -> None:
        self.rng, self.properties = rng, properties
        self.used: set[str] = set()
        self.thresholds: dict[str, dict[str, Any]] = {}
        self._left = rng.randint(1, most)

    def group(self, depth: int) -> dict[str, Any]:
        members: list[dict[str, Any]] = []
        for _ in range(self.rng.randint(1, 4)):
            if depth and self._left > 1 and self.rng.random() < 0.4:
                members.append(self.group(depth - 1))
            elif self._left:
                members.append(self._comparison())
        # Reserve one comparison, since a group without any left still needs a member.
        return {self.rng.choice(("all", "any")): members or [self._comparison()]}

    def _comparison(self) -> dict[str, Any]:
        self._left -= 1
        name = self.rng.choice(sorted(self.properties))
        entry = self.properties[name]
        self.used.add(name)
        if self.rng.random() < 0.2:
            return {name: _random_value(self.rng, entry)}
        operator = self.rng.choice(OPERATORS[entry.type])
        if operator == "in":
            return {name: {"in": [_random_value(self.rng, entry) for _ in range(self.rng.randint(1, 4))]}}
        return {name: {operator: self._operand(name, entry)}}

    def _operand(self, left: str, entry: Property) -> Value:
        choice = self.rng.random()
        like = [n for n, p in self.properties.items() if p.type == entry.type and p.unit == entry.unit and n != left]
        if choice < 0.4 and like:
            other = self.rng.choice(like)
            self.used.add(other)
            return other
        if choice < 0.7 and entry.type == "number":
            name = f"limit_{len(self.thresholds)}"
            bounds = {"minimum": -1e308, "maximum": 1e308, "meaning": "a limit"}
            self.thresholds[name] = {"value": self.rng.choice(NUMBERS), "unit": entry.unit, **bounds}
            return name
        return _random_value(self.rng, entry)
