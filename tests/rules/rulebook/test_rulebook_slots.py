"""What the engine gets: integers in the order of the numbers, and one condition for each rule."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rulebook.lowering import LoweredKind, Slot, lower, ordered
from tests.support.rulebooks import book_of, rule_entry, small_book, small_vocabulary

_FINITE = st.floats(allow_nan=False, allow_infinity=False)


@settings(deadline=None, derandomize=True, max_examples=2_000)
@given(_FINITE, st.one_of(_FINITE, st.integers(-(2**53), 2**53)))
def test_the_integers_stand_in_the_order_of_the_numbers(left: float, right: float) -> None:
    """First principles: for any two numbers, and for a number and its very neighbours."""
    neighbours = [math.nextafter(left, math.inf), math.nextafter(left, -math.inf), left]
    for other in (right, *(n for n in neighbours if math.isfinite(n))):
        one, two = ordered([left, other])
        assert ((one > two), (one < two)) == ((left > other), (left < other))
        assert -(2**63) < one < 2**63


@pytest.mark.parametrize(
    ("value", "integer"),
    [
        (0.0, 0),
        (-0.0, 0),
        (5e-324, 1),
        (-5e-324, -1),
        (1.0, 0x3FF0_0000_0000_0000),
        (1, 0x3FF0_0000_0000_0000),
        (-1.0, -0x3FF0_0000_0000_0000),
        (math.nextafter(1.0, 2.0), 0x3FF0_0000_0000_0001),
        (-2.5, -0x4004_0000_0000_0000),
        (1.7976931348623157e308, 0x7FEF_FFFF_FFFF_FFFF),
    ],
)
def test_a_number_becomes_the_bits_of_its_magnitude(value: float, integer: int) -> None:
    """IEEE 754, binary64: sign, 11 bits of exponent with bias 1023, 52 bits of fraction; 2.5 is 1.25 times two."""
    assert ordered([value]) == (integer,)


def lowered_kind(*entries: dict[str, Any]) -> LoweredKind:
    return lower(book_of(entries).rules, small_vocabulary()).portions[0].kinds["joint"]


def condition(require: str, **changes: Any) -> Any:
    """Return the engine's condition beyond kind and flag."""
    (rule,) = lowered_kind(rule_entry(require=require, **changes)).rules
    first, second, *rest = rule.condition["$and"]
    assert (first, second) == ({"kind": "joint"}, {"f0": 1})
    return rest


ONE, FIVE = ordered([1.0, 5.0])


@pytest.mark.parametrize(
    ("require", "fires"),
    [
        ("grip_length_mm < 5", [{"$gte": {"v0": FIVE}}]),
        ("grip_length_mm <= 5", [{"$gt": {"v0": FIVE}}]),
        ("grip_length_mm > 5", [{"$lte": {"v0": FIVE}}]),
        ("grip_length_mm >= 5", [{"$lt": {"v0": FIVE}}]),
        ("grip_length_mm == 5", [{"$neq": {"v0": FIVE}}]),
        ("grip_length_mm != 5", [{"v0": FIVE}]),
        ("5 < grip_length_mm", [{"$lte": {"v0": FIVE}}]),
        ("5 >= grip_length_mm", [{"$gt": {"v0": FIVE}}]),
        ("!(grip_length_mm < 5)", [{"$lt": {"v0": FIVE}}]),
        ("grip_length_mm < shank_mm", [{"$gte": {"v0": {"$m": "v1"}}}]),
        ("grip_length_mm == shank_mm", [{"$neq": {"v0": {"$m": "v1"}}}]),
        # the engine compares two slots for equality as text
        ("grip_length_mm != shank_mm", [{"$lte": {"v0": {"$m": "v1"}}}, {"$gte": {"v0": {"$m": "v1"}}}]),
        ("clamped", [{"v0": 0}]),
        ("!clamped", [{"v0": 1}]),
        ("clamped == true", [{"$neq": {"v0": 1}}]),
        ("grip_length_mm in [1, 5]", [{"$neq": {"v0": ONE}}, {"$neq": {"v0": FIVE}}]),
        ("!(grip_length_mm in [1, 5])", [{"$or": [{"v0": ONE}, {"v0": FIVE}]}]),
        ("clamped && sealed", [{"$or": [{"v0": 0}, {"v1": 0}]}]),
        ("clamped || sealed", [{"v0": 0}, {"v1": 0}]),
        ("!(clamped && !sealed)", [{"v0": 1}, {"v1": 0}]),
        # a group of its own sort is spliced in, the rest stays
        (
            "(clamped && sealed) && (sealed || clamped)",
            [{"$or": [{"v0": 0}, {"v1": 0}, {"$and": [{"v1": 0}, {"v0": 0}]}]}],
        ),
        # what is computed beforehand is a flag or a number like any other
        ("grip_length_mm + shank_mm < 5", [{"$gte": {"v0": FIVE}}]),
        ("joints.all(one, one.clamped)", [{"v0": 0}]),
        ("has(clamped) || sealed", [{"v0": 0}]),
    ],
)  # fmt: skip
def test_a_rule_fires_where_its_requirement_does_not_hold(require: str, fires: list[Any]) -> None:
    """Every sign turns into its opposite on the way to the engine; written out by hand."""
    assert condition(require) == fires


def test_texts_are_numbered_and_equal_ones_have_one_number() -> None:
    """In the order in which the rules name them."""
    assert condition('shank_form == "a" || socket_form == "b" || socket_form == "a"') == [
        {"$neq": {"v0": 1}},
        {"$neq": {"v1": 2}},
        {"$neq": {"v1": 1}},
    ]


def test_rules_share_the_slots_of_properties_and_terms_but_not_of_thresholds() -> None:
    """A term with a threshold is its rule's own, too."""
    require = "grip_length_mm > most && shank_mm + 1 > 2 && shank_mm + most > 3"
    kind = lowered_kind(*(rule_entry(code, require=require, thresholds={"most": 5}) for code in ("AA-001", "AA-002")))
    assert kind.slots == (
        Slot("number", "grip_length_mm"),
        Slot("threshold", 0),
        Slot("number", "shank_mm + 1"),
        Slot("number", "AA-001: shank_mm + most"),
        Slot("threshold", 1),
        Slot("number", "AA-002: shank_mm + most"),
    )
    assert kind.names == ("f0", "f1", "v0", "v1", "v2", "v3", "v4", "v5")
    assert [rule.slots for rule in kind.rules] == [(0, 1, 2, 3), (0, 4, 2, 5)]


def test_the_scope_is_a_term_of_its_own() -> None:
    """What asks for existence and knowledge decides by the shape of a fact; the rest is computed."""
    (rule,) = lowered_kind(rule_entry(where="has(clamped) && sealed && stated(shank_mm) && shank_mm > 1")).rules
    assert rule.scope == "GRIP-010: where sealed && shank_mm > 1"
    assert (rule.rule.exists, rule.rule.stated) == (("clamped",), ("shank_mm",))
    (rule,) = lowered_kind(rule_entry(where="has(clamped)")).rules
    assert rule.scope is None


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
