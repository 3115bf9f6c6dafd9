"""What the engine can carry is checked before it is asked to."""

from __future__ import annotations

from typing import Any

import pytest

from rules.engine import Engine
from rules.rulebook.limits import MAX_COMPARISONS, MAX_PROPERTIES, MAX_RULES, MAX_RULES_PER_KIND, lint_limits
from rules.rulebook.problem import RulebookError
from tests.support.rulebooks import book_of, joint, rule_entry


def numbered(count: int, **changes: Any) -> list[dict[str, Any]]:
    return [rule_entry(f"TEST-{number:03d}", **changes) for number in range(1, count + 1)]


def comparison(number: int) -> dict[str, Any]:
    return {"grip_length_mm": {"less_than": number}}


def test_as_many_comparisons_as_allowed_pass_and_one_more_is_refused() -> None:
    """Counted alike under all and any, wherever they are nested."""
    inner = {"any": [comparison(number) for number in range(MAX_COMPARISONS - 1)]}
    whole = {"all": [comparison(-1), inner]}
    assert not lint_limits(book_of([rule_entry(when=whole)]).rules)
    inner["any"].append(comparison(99))
    (problem,) = lint_limits(book_of([rule_entry(when=whole)]).rules)
    assert (problem.code, problem.line) == ("GRIP-010", 1)
    assert problem.reason == f"{MAX_COMPARISONS + 1} comparisons in one rule; at most {MAX_COMPARISONS}"


def test_the_first_rule_too_many_on_a_kind_is_named() -> None:
    """Sixty rules on one kind pass, the sixty-first does not."""
    assert not lint_limits(book_of(numbered(MAX_RULES_PER_KIND)).rules)
    (problem,) = lint_limits(book_of(numbered(MAX_RULES_PER_KIND + 1)).rules)
    assert (problem.code, problem.line) == ("TEST-061", 61)
    assert problem.reason.startswith("61 rules on a joint; at most 60")


def test_the_first_rule_too_many_in_all_is_named() -> None:
    """Over all kinds together."""
    (problem,) = lint_limits(book_of(numbered(MAX_RULES + 1)).rules)
    assert (problem.code, problem.reason) == ("TEST-401", "401 rules in all; at most 400 can be compiled")


def test_numbers_on_a_fact_are_counted_after_sharing() -> None:
    """Equal comparisons share one number; unlike ones add up, with four of the engine's own."""
    shared = numbered(50, when={"all": [comparison(number) for number in range(10)]})
    assert not lint_limits(book_of(shared).rules)
    # Nineteen rules make 194 numbers, twenty 204.
    unlike = [
        rule_entry(f"TEST-{n:03d}", when={"all": [comparison(n * 100 + k) for k in range(10)]}) for n in range(20)
    ]
    most = book_of(unlike[:19])
    assert not lint_limits(most.rules)
    assert len(Engine(most).judge([joint(grip_length_mm=-1.0)]).fired) == 19
    (problem,) = lint_limits(book_of(unlike).rules)
    assert problem.reason == f"204 numbers on a joint fact; at most {MAX_PROPERTIES}"


@pytest.mark.parametrize(("alternatives", "passes"), [(3, True), (4, True), (5, False)])
def test_alternatives_beside_many_rules_are_bounded(alternatives: int, passes: bool) -> None:
    """Sixty rules leave room for three alternatives more; beyond that the engine would drop matches."""
    wide = rule_entry("WIDE-001", when={"any": [comparison(100 + number) for number in range(alternatives)]})
    problems = lint_limits(book_of([*numbered(MAX_RULES_PER_KIND - 1), wide]).rules)
    assert (not problems) is passes
    if problems:
        assert problems[0].code == "WIDE-001"
        assert "make 65 open matches; at most 64" in problems[0].reason


def test_at_the_limit_of_open_matches_every_rule_still_fires() -> None:
    """The bound is the engine's: sixty rules and four alternatives, all of them true, and none is lost."""
    wide = [
        rule_entry(f"WIDE-{number:03d}", when={"any": [comparison(100 + k) for k in range(4)]})
        for number in range(MAX_RULES_PER_KIND)
    ]
    book = book_of(wide)
    assert not lint_limits(book.rules)
    judgement = Engine(book).judge([joint(grip_length_mm=1.0), joint("b/c", grip_length_mm=2.0)])
    assert len(judgement.fired) == 2 * MAX_RULES_PER_KIND


def test_the_engine_refuses_what_the_linter_refuses() -> None:
    """A book put together without the loader does not slip past."""
    with pytest.raises(RulebookError, match="at most 60"):
        Engine(book_of(numbered(MAX_RULES_PER_KIND + 1)))
