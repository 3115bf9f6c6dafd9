"""The engine agrees with two general-purpose engines on the same rulebooks."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

import pytest

from rules.rulebook.fact import Fact
from rules.schema.parsing import BadRequestError, parse_request
from tests.oracles.general_engines import ENGINES
from tests.oracles.plain_evaluator import evaluate
from tests.oracles.rule_translation import CEL, RULE_ENGINE, translated
from tests.support.libraries import library_lines
from tests.support.random_stacks import random_stack
from tests.support.rulebooks import book_of, joint, rule_entry
from tests.support.stacks import analysis_of, assessor


def _facts(requests: Iterable[dict[str, Any]]) -> Iterator[tuple[Fact, ...]]:
    for request in requests:
        try:
            yield tuple(analysis_of(parse_request(request)).facts)
        except BadRequestError:
            continue


def _agree(name: str, generated: int, library: int) -> Counter[str]:
    """Hold an engine against durable-rules on generated stacks and on those of a library; count what fired."""
    judge, other = assessor().engine.judge, ENGINES[name](assessor().book)
    stacks = [random_stack(random.Random(seed)) for seed in range(30_000, 30_000 + generated)]
    stacks += map(json.loads, library_lines(library, seed=3))
    fired: Counter[str] = Counter()
    for facts in _facts(stacks):
        judgement = judge(facts)
        ours = (
            [(item.rule.code, item.fact.key) for item in judgement.fired],
            [(item.rule.code, item.fact.key, dict(item.lacking)) for item in judgement.undecided],
            list(judgement.decided),
        )
        assert ours == other.evaluate(facts)
        fired.update(code for code, _ in ours[0])
    return fired


@pytest.mark.parametrize("name", ENGINES)
def test_finds_what_a_general_engine_finds(name: str) -> None:
    """Findings, gaps and decided rules are the same on some hundred stacks, and there are findings of many kinds."""
    assert len(_agree(name, generated=250, library=50)) > 30


@pytest.mark.long
@pytest.mark.parametrize("name", ENGINES)
def test_finds_what_a_general_engine_finds_at_length(name: str) -> None:
    """The same on thousands."""
    assert len(_agree(name, generated=8_000, library=2_000)) > 50


@pytest.mark.parametrize("name", ENGINES)
@pytest.mark.parametrize(
    ("when", "needs", "fires"),
    [
        ({"all": [{"grip_length_mm": {"less_than": "minimum_grip_mm"}}]}, ("grip_length_mm", "minimum_grip_mm"), True),
        ({"all": [{"grip_length_mm": {"at_least": "minimum_grip_mm"}}]}, ("grip_length_mm", "minimum_grip_mm"), False),
        ({"any": [{"grip_length_mm": 0.3}, {"clamped": {"differs_from": True}}]}, ("grip_length_mm", "clamped"), False),
        ({"all": [{"grip_length_mm": {"in": [1, 0.30000000000000004]}}]}, ("grip_length_mm",), True),
        ({"all": [{"socket_form": {"in": ['say "µ"', "b"]}}, {"clamped": True}]}, ("socket_form", "clamped"), True),
    ],
)
def test_every_operator_survives_the_translation(name: str, when: Any, needs: tuple[str, ...], fires: bool) -> None:
    """First principles: also those that the rulebooks of the day do not use, on numbers that are neighbours."""
    book = book_of([rule_entry(when=when, needs=list(needs))])
    fact = joint(grip_length_mm=0.1 + 0.2, minimum_grip_mm=0.5, clamped=True, socket_form='say "µ"')
    expected = ([("GRIP-010", fact.key)] if fires else [], [], ["GRIP-010"])
    assert ENGINES[name](book).evaluate([fact]) == expected
    assert evaluate(book, [fact]) == expected


def test_a_rule_reads_in_both_languages_as_written() -> None:
    """A threshold becomes its number, groups keep their brackets, each language joins in its own way."""
    threshold = {"value": 20, "unit": "mm", "minimum": 1, "maximum": 99, "meaning": "least"}
    entry = rule_entry(
        when={"any": [{"clamped": False}, {"all": [{"grip_length_mm": {"less_than": "least"}}, {"sealed": True}]}]},
        needs=["clamped", "grip_length_mm", "sealed"],
        thresholds={"least": threshold},
    )
    (rule,) = book_of([entry]).rules
    assert translated(rule, CEL) == "(clamped == false) || ((grip_length_mm < 20.0) && (sealed == true))"
    assert translated(rule, RULE_ENGINE) == "(clamped == false) or ((grip_length_mm < 20.0) and (sealed == true))"
