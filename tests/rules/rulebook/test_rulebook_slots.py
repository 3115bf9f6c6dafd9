"""Comparisons as integers, with an exact sign."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rulebook.lowering import lower, margin
from tests.support.rulebooks import book_of, rule_entry, small_book

_FINITE = st.floats(allow_nan=False, allow_infinity=False)


@settings(deadline=None, derandomize=True, max_examples=2_000)
@given(_FINITE, st.one_of(_FINITE, st.integers(-(2**60), 2**60)))
def test_the_margin_has_the_sign_of_the_comparison(left: float, right: float) -> None:
    """First principles: for any two numbers, and for a number and its very neighbours."""
    neighbours = [math.nextafter(left, math.inf), math.nextafter(left, -math.inf), left]
    for other in (right, *(n for n in neighbours if math.isfinite(n))):
        count = margin(left, other)
        assert isinstance(count, int)
        assert ((count > 0), (count < 0)) == ((left > other), (left < other))
        assert abs(count) <= 10**15


@pytest.mark.parametrize(
    ("left", "right", "count"),
    [
        (12.5, 20.0, -7_500_000),
        (0.3, 0.1 + 0.2, -1),
        (5e-324, 0.0, 1),
        (-0.0, 0.0, 0),
        (1e300, -1e300, 10**15),
        (-1e300, 1e300, -(10**15)),
        (2**53 + 1, float(2**53), 1),
    ],
)
def test_the_margin_counts_millionths(left: float, right: float, count: int) -> None:
    """The smallest difference still counts one, the greatest is cut off."""
    assert margin(left, right) == count


def test_equal_comparisons_of_a_kind_share_a_slot() -> None:
    """Operators on one margin share it; thresholds are each rule's own."""
    most = {"most": {"value": 5, "unit": "mm", "minimum": 0, "maximum": 9, "meaning": "m"}}
    whole = [
        {"grip_length_mm": {"less_than": 20}},
        {"grip_length_mm": {"differs_from": 20.0}},
        {"grip_length_mm": {"at_least": "most"}},
        {"clamped": True},
        {"clamped": {"differs_from": True}},
    ]
    needs = ["grip_length_mm", "clamped"]
    rules = [rule_entry(code, needs=needs, when={"all": whole}, thresholds=most) for code in ("AA-001", "AA-002")]
    kind = lower(book_of(rules).rules).portions[0].kinds["joint"]
    assert kind.names == ("v0", "v1", "v2", "v3")
    assert kind.rules[0].condition["$and"][1:] == [
        {"$gte": {"v1": 0}},
        {"$lt": {"v0": 0}},
        {"$neq": {"v0": 0}},
        {"v2": 1},
        {"v2": 0},
    ]


def test_a_rule_has_a_flag_unless_a_slot_of_its_own_tells_that_it_is_decidable() -> None:
    """One that shares every slot, or one that can match without some slot, would else match where it is undecided."""
    short, clamped = {"grip_length_mm": {"less_than": 20}}, {"clamped": True}
    deep = {"grip_length_mm": {"greater_than": 90}}
    rules = [
        rule_entry("AA-001", needs=["grip_length_mm", "clamped"], when={"all": [short, clamped]}),
        rule_entry("AA-002", needs=["grip_length_mm"], when={"all": [short]}),
        rule_entry("AA-003", needs=["grip_length_mm", "clamped"], when={"any": [deep, {"clamped": False}]}),
        rule_entry("AA-004", needs=["grip_length_mm"], when={"all": [short, {"grip_length_mm": {"at_least": 1}}]}),
    ]
    kind = lower(book_of(rules).rules).portions[0].kinds["joint"]
    assert [rule.flag for rule in kind.rules] == ["f0", "f1", "f2", None]
    assert kind.rules[3].condition == {"$and": [{"kind": "joint"}, {"$gte": {"v3": 0}}, {"$lt": {"v0": 0}}]}


def test_groups_stay_groups() -> None:
    """A group of one dissolves, a group in a group of its own sort is spliced in, the rest stays."""
    below, above = {"grip_length_mm": {"less_than": 5}}, {"grip_length_mm": {"greater_than": 9}}
    nested = {"any": [{"any": [below, {"all": [above]}]}, {"all": [below, above]}]}
    (rule,) = lower(book_of([rule_entry(when=nested)]).rules).portions[0].kinds["joint"].rules
    low, high = {"$lt": {"v0": 0}}, {"$gt": {"v1": 0}}
    assert rule.condition == {"$and": [{"kind": "joint"}, {"f0": 1}, {"$or": [low, high, {"$and": [low, high]}]}]}


def test_names_of_properties_and_sessions_do_not_meet_in_the_engines_hash() -> None:
    """Literature: the engine keeps FNV-1a, 32 bits, of a name (its state.c) instead of the name."""
    numbered = [f"{letter}{number}" for letter in "fv" for number in range(400)]
    own = [
        "sid",
        "key",
        "kind",
        "id",
        "$s",
        "m",
        "$and",
        "$or",
        "$lt",
        "$lte",
        "$gt",
        "$gte",
        "$neq",
        "$ex",
        "$forward",
    ]
    codes = {rule.code for rule in small_book().rules}
    names = [*numbered, *own, *codes]
    assert len({fnv1a(name) for name in names}) == len(names)
    sessions = [str(number) for number in range(1_100)]
    assert len({fnv1a(name) for name in sessions}) == len(sessions)


def fnv1a(text: str) -> int:
    digest = 0x811C9DC5
    for byte in text.encode():
        digest = (digest ^ byte) * 0x01000193 & 0xFFFFFFFF
    return digest
