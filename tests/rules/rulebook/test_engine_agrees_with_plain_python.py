"""The engine agrees with the same rulebooks evaluated in plain Python, over the whole language."""

from __future__ import annotations

import random
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.rulebook.engine import Engine
from rules.rulebook.linting import lint_limits
from rules.rulebook.lowering import lower
from tests.oracles.plain_evaluator import answer_of, evaluate
from tests.support.random_rules import (
    random_facts,
    random_overrides,
    random_rule,
    random_rules,
    random_stated,
)
from tests.support.rulebooks import book_of, small_views, small_vocabulary
from tests.support.sizes import spread

_RANDOM = st.randoms(use_true_random=False)
_SETTINGS = settings(deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def check(rng: random.Random, stacks: int) -> int:
    return agreeing(rng, random_rules(rng), stacks)


def agreeing(rng: random.Random, rules: list[dict[str, Any]], stacks: int) -> int:
    book = book_of(rules)
    assert not lint_limits(book.rules, book.vocabulary)
    engine = Engine(book)
    fired = 0
    for _ in range(stacks):
        facts, overrides = random_facts(rng), random_overrides(rng, rules)
        views = small_views(facts, random_stated(rng))
        answer = answer_of(engine.judge(facts, overrides, views))
        assert answer == evaluate(book, facts, overrides, views)
        fired += len(answer[0])
    return fired


@settings(_SETTINGS, max_examples=50)
@given(_RANDOM)
def test_the_engine_finds_what_plain_python_finds(rng: random.Random) -> None:
    """First principles: three random stacks on each random book, order and gaps included."""
    check(rng, stacks=3)


@pytest.mark.parametrize("seed", spread(range(5), 2))
def test_a_book_that_is_divided_finds_what_plain_python_finds(seed: int) -> None:
    """First principles: four hundred random rules, more than the engine carries together."""
    rng = random.Random(seed)
    rules = [random_rule(rng, f"TEST-{number:03d}") for number in range(400)]
    assert len(lower(book_of(rules).rules, small_vocabulary()).portions) > 1
    assert agreeing(rng, rules, stacks=5) > 100


@pytest.mark.long
@settings(_SETTINGS, max_examples=5_000)
@given(_RANDOM)
def test_the_engine_finds_what_plain_python_finds_at_length(rng: random.Random) -> None:
    """The same over five thousand random books, two stacks on each."""
    check(rng, stacks=2)


def test_the_comparison_has_something_to_compare() -> None:
    """The random stacks make rules fire, so that the agreement is not one about nothing."""
    assert sum(check(random.Random(seed), stacks=20) for seed in range(20)) > 300


@cache
def _thousand() -> list[dict[str, Any]]:
    return [random_rule(random.Random(seed), "TEST-001") for seed in range(1_000)]


CONSTRUCTS = (
    " && ", " || ", "!", "<", "<=", ">", ">=", "==", "!=", " in [", " in list_", " + ", " - ", " * ", " / ", "abs(",
    "mm(", "um(", 'mm("', "has(", "stated(", ".all(", ".exists(", ".size()", "limit_", "machine.", "labels.", "true",
)  # fmt: skip


@pytest.mark.parametrize("construct", CONSTRUCTS)
def test_the_random_rules_use_the_whole_language(construct: str) -> None:
    """Every sign, function and macro is in many of a thousand rules, and in some of their scopes."""
    rules = _thousand()
    assert sum(construct in rule["require"] for rule in rules) >= 10
    assert sum(construct in rule.get("where", "") for rule in rules) >= 3


@pytest.mark.long
def test_forty_thousand_stacks_on_two_hundred_books_agree() -> None:
    """Many stacks on one book: sessions and plans are used again and again."""
    assert sum(check(random.Random(seed), stacks=200) for seed in range(1_000, 1_200)) > 25_000
