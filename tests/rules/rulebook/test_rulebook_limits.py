"""Size limits are checked before the engine gets a rulebook."""

from __future__ import annotations

from typing import Any

import pytest

from rules.rulebook.engine import Engine
from rules.rulebook.loader import MAX_COMPARISONS, MAX_RULES, lint_limits
from rules.rulebook.source import RulebookError
from tests.support.rulebooks import book_of, rule_entry


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


def test_the_first_rule_too_many_in_all_is_named() -> None:
    """Over all kinds together."""
    entries = [rule_entry(f"T{'AB'[number // 999]}-{number % 999 + 1:03d}") for number in range(MAX_RULES + 1)]
    (problem,) = lint_limits(book_of(entries).rules)
    assert (problem.code, problem.line) == ("TB-002", MAX_RULES + 1)
    assert problem.reason == "1001 rules in all; at most 1000"


def test_the_engine_refuses_what_the_linter_refuses() -> None:
    """A book put together without the loader does not slip past."""
    too_long = {"all": [comparison(number) for number in range(MAX_COMPARISONS + 1)]}
    with pytest.raises(RulebookError, match="at most 10"):
        Engine(book_of([rule_entry(when=too_long)]))
