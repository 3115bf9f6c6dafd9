"""Size limits are checked before the engine gets a rulebook."""

from __future__ import annotations

import pytest

from rules.rulebook.engine import Engine
from rules.rulebook.linting import MAX_RULES, lint_limits
from rules.rulebook.lowering import MAX_COMPARISONS
from rules.rulebook.source import RulebookError
from tests.support.rulebooks import book_of, rule_entry, small_vocabulary


def compared(count: int) -> str:
    return " && ".join(f"grip_length_mm != {number}" for number in range(count))


def limits_of(require: str, **changes: object) -> list[str]:
    book = book_of([rule_entry(require=require, **changes)])
    return [problem.reason for problem in lint_limits(book.rules, small_vocabulary())]


_REFUSED = f"{MAX_COMPARISONS + 1} comparisons in require, each value of a list counted; at most {MAX_COMPARISONS}"


@pytest.mark.parametrize(
    ("allowed", "refused"),
    [
        (compared(MAX_COMPARISONS), compared(MAX_COMPARISONS + 1)),
        (f"clamped || {compared(MAX_COMPARISONS - 1)}", f"clamped || !({compared(MAX_COMPARISONS)})"),
        (
            f"grip_length_mm in {list(range(MAX_COMPARISONS))}",
            f"!(grip_length_mm in {list(range(MAX_COMPARISONS + 1))})",
        ),
        # one property for another by == takes two
        (f"grip_length_mm == shank_mm || {compared(9)}", f"grip_length_mm != shank_mm && {compared(9)}"),
    ],
)
def test_as_many_comparisons_as_allowed_pass_and_one_more_is_refused(allowed: str, refused: str) -> None:
    """Counted as the engine makes them: every value of a list is one, wherever it is nested."""
    assert not limits_of(allowed)
    assert limits_of(refused) == [_REFUSED]


def test_comparisons_that_the_engine_does_not_make_are_not_counted() -> None:
    """A scope and the condition of a macro are computed before; each is one flag."""
    assert not limits_of("clamped", where=compared(MAX_COMPARISONS + 1))
    inner = compared(MAX_COMPARISONS + 1).replace("grip", "one.grip")
    assert not limits_of(f"joints.all(one, {inner})")


def test_the_first_rule_too_many_in_all_is_named() -> None:
    """Over all kinds together."""
    entries = [rule_entry(f"T{'AB'[number // 999]}-{number % 999 + 1:03d}") for number in range(MAX_RULES + 1)]
    (problem,) = lint_limits(book_of(entries).rules, small_vocabulary())
    assert (problem.code, problem.line) == ("TB-002", MAX_RULES + 1)
    assert problem.reason == "1001 rules in all; at most 1000"


def test_the_engine_refuses_what_the_linter_refuses() -> None:
    """A book put together without the loader does not slip past."""
    with pytest.raises(RulebookError, match="at most 10"):
        Engine(book_of([rule_entry(require=compared(MAX_COMPARISONS + 1))]))
