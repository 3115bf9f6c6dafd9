"""A rulebook too large for the engine is divided, and every rule is judged."""

from __future__ import annotations

from typing import Any

import pytest

from rules.rulebook.engine import Engine
from rules.rulebook.linting import MAX_RULES, lint_limits
from rules.rulebook.lowering import MAX_NUMBERS, MAX_RULES_PER_KIND, lower
from tests.support.rulebooks import book_of, joint, rule_entry, small_vocabulary


def both(numbers: range) -> str:
    """Return what fires where any of these comparisons fails, so that it lowers to alternatives."""
    return " && ".join(f"grip_length_mm >= {number}" for number in numbers)


def either(numbers: range) -> str:
    """Return what fires only where all of these comparisons fail."""
    return " || ".join(f"grip_length_mm >= {number}" for number in numbers)


def numbered(count: int, **changes: Any) -> list[dict[str, Any]]:
    return [rule_entry(code(number), **changes) for number in range(count)]


def code(number: int) -> str:
    return f"T{'ABCD'[number // 500]}-{number % 500:03d}"


def sizes(entries: list[dict[str, Any]]) -> list[int]:
    """Rules on a joint in each portion; all of them are judged, and fire on a joint that none lets pass."""
    book = book_of(entries)
    assert not lint_limits(book.rules, book.vocabulary)
    lowered = lower(book.rules, small_vocabulary())
    codes = [rule.rule.code for portion in lowered.portions for rule in portion.kinds["joint"].rules]
    assert codes == [rule.code for rule in book.rules]
    facts = [joint(grip_length_mm=-1.0), joint("b/c", grip_length_mm=-2.0), joint("c/d", grip_length_mm=1e6)]
    judgement = Engine(book).judge(facts)
    assert [one.rule.code for one in judgement.fired] == [code for code in codes for _ in range(2)]
    assert judgement.decided == tuple(codes)
    for portion in lowered.portions:
        assert len(portion.kinds["joint"].names) + 4 <= MAX_NUMBERS
    return [len(portion.kinds["joint"].rules) for portion in lowered.portions]


@pytest.mark.parametrize(
    ("count", "portions"),
    [(1, [1]), (MAX_RULES_PER_KIND, [60]), (MAX_RULES_PER_KIND + 1, [60, 1]), (MAX_RULES, [60] * 16 + [40])],
)
def test_as_many_rules_as_can_match_one_fact_stay_together(count: int, portions: list[int]) -> None:
    """The engine keeps at most 64 open matches of a fact."""
    assert sizes(numbered(count)) == portions


def test_numbers_on_a_fact_are_counted_after_sharing() -> None:
    """A property is one number for all rules; thresholds add up, with a flag each and four of the engine's own."""
    assert sizes(numbered(50, require=either(range(10)))) == [50]
    limits = {f"most_{k}": k for k in range(10)}
    each = " || ".join(f"grip_length_mm >= {name}" for name in limits)
    unlike = [rule_entry(code(n), require=each, thresholds=limits) for n in range(40)]
    # Seventeen rules make 4 + 17 + 1 + 170 numbers; thresholds are each rule's own.
    assert sizes(unlike) == [17, 17, 6]


@pytest.mark.parametrize(("alternatives", "portions"), [(3, [60]), (4, [60]), (5, [59, 1])])
def test_alternatives_beside_many_rules_are_bounded(alternatives: int, portions: list[int]) -> None:
    """Sixty rules leave room for three open matches more; beyond that the engine would drop some."""
    wide = rule_entry("WIDE-001", require=both(range(100, 100 + alternatives)))
    assert sizes([*numbered(MAX_RULES_PER_KIND - 1), wide]) == portions


def test_at_the_limit_of_open_matches_every_rule_still_fires() -> None:
    """The bound is the engine's: sixty rules and four alternatives, all of them true, and none is lost."""
    assert sizes(numbered(MAX_RULES_PER_KIND, require=both(range(100, 104)))) == [60]


def test_kinds_are_divided_each_by_itself() -> None:
    """A kind with few rules stays in the first portion, and a fact of it is judged there alone."""
    last = rule_entry("ZZ-001", "stack", require="total_mass_kg <= 10")
    book = book_of([*numbered(MAX_RULES_PER_KIND + 5), last])
    first, second = lower(book.rules, small_vocabulary()).portions
    assert (len(first.kinds["joint"].rules), len(first.kinds["stack"].rules)) == (60, 1)
    assert list(second.kinds) == ["joint"]


def test_a_threshold_of_a_later_portion_can_be_set() -> None:
    """Thresholds are counted over the whole book."""
    least = {"least": {"value": 10, "unit": "mm", "minimum": 0, "maximum": 99, "meaning": "m"}}
    entries = [
        *numbered(MAX_RULES_PER_KIND + 1),
        rule_entry("ZZ-001", require="grip_length_mm >= least", thresholds=least),
    ]
    engine = Engine(book_of(entries))
    fact = joint(grip_length_mm=50.0)
    assert "ZZ-001" not in {one.rule.code for one in engine.judge([fact]).fired}
    (fired,) = [one for one in engine.judge([fact], {"ZZ-001": {"least": 60}}).fired if one.rule.code == "ZZ-001"]
    assert fired.thresholds == {"least": 60}
