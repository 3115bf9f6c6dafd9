"""A rulebook too large for the engine is divided, and every rule is judged."""

from __future__ import annotations

from typing import Any

import pytest

from rules.rulebook.engine import Engine
from rules.rulebook.loader import MAX_RULES, lint_limits
from rules.rulebook.lowering import MAX_NUMBERS, MAX_RULES_PER_KIND, lower
from tests.support.rulebooks import book_of, joint, rule_entry


def comparison(number: int) -> dict[str, Any]:
    return {"grip_length_mm": {"less_than": number}}


def numbered(count: int, **changes: Any) -> list[dict[str, Any]]:
    return [rule_entry(code(number), **changes) for number in range(count)]


def code(number: int) -> str:
    return f"T{'ABCD'[number // 500]}-{number % 500:03d}"


def sizes(entries: list[dict[str, Any]]) -> list[int]:
    """Rules on a joint in each portion; all of them are judged, and fire on a joint that none lets pass."""
    book = book_of(entries)
    assert not lint_limits(book.rules)
    lowered = lower(book.rules)
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
    """Equal comparisons share one number; unlike ones add up, with a flag each and four of the engine's own."""
    assert sizes(numbered(50, when={"all": [comparison(number) for number in range(10)]})) == [50]
    unlike = [rule_entry(code(n), when={"all": [comparison(n * 100 + k) for k in range(10)]}) for n in range(40)]
    # Seventeen rules make 4 + 17 + 170 numbers.
    assert sizes(unlike) == [17, 17, 6]


@pytest.mark.parametrize(("alternatives", "portions"), [(3, [60]), (4, [60]), (5, [59, 1])])
def test_alternatives_beside_many_rules_are_bounded(alternatives: int, portions: list[int]) -> None:
    """Sixty rules leave room for three open matches more; beyond that the engine would drop some."""
    wide = rule_entry("WIDE-001", when={"any": [comparison(100 + number) for number in range(alternatives)]})
    assert sizes([*numbered(MAX_RULES_PER_KIND - 1), wide]) == portions


def test_at_the_limit_of_open_matches_every_rule_still_fires() -> None:
    """The bound is the engine's: sixty rules and four alternatives, all of them true, and none is lost."""
    wide = {"any": [comparison(100 + k) for k in range(4)]}
    assert sizes(numbered(MAX_RULES_PER_KIND, when=wide)) == [60]


def test_kinds_are_divided_each_by_itself() -> None:
    """A kind with few rules stays in the first portion, and a fact of it is judged there alone."""
    heavy = {"all": [{"total_mass_kg": {"greater_than": 10}}]}
    about = {"applies_to": "stack", "needs": ["total_mass_kg"], "message": "{stack}: too heavy.", "unit": "kg"}
    last = rule_entry("ZZ-001", when=heavy, **about)
    book = book_of([*numbered(MAX_RULES_PER_KIND + 5), last])
    first, second = lower(book.rules).portions
    assert (len(first.kinds["joint"].rules), len(first.kinds["stack"].rules)) == (60, 1)
    assert list(second.kinds) == ["joint"]


def test_a_threshold_of_a_later_portion_can_be_set() -> None:
    """Thresholds are counted over the whole book."""
    least = {"least": {"value": 10, "unit": "mm", "minimum": 0, "maximum": 99, "meaning": "m"}}
    when = {"all": [{"grip_length_mm": {"less_than": "least"}}]}
    entries = [*numbered(MAX_RULES_PER_KIND + 1), rule_entry("ZZ-001", when=when, thresholds=least)]
    engine = Engine(book_of(entries))
    fact = joint(grip_length_mm=50.0)
    assert "ZZ-001" not in {one.rule.code for one in engine.judge([fact]).fired}
    (fired,) = [one for one in engine.judge([fact], {"ZZ-001": {"least": 60}}).fired if one.rule.code == "ZZ-001"]
    assert fired.thresholds == {"least": 60}
