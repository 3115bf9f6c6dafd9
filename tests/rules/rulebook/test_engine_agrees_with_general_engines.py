"""The engine agrees with two general-purpose engines on the same rulebooks."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest

from rules.rulebook.engine import Engine
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact
from rules.schema.parsing import BadRequestError, parse_request
from rules.stack.view import views_of
from tests.oracles.general_engines import ENGINES
from tests.oracles.plain_evaluator import answer_of, evaluate, without
from tests.oracles.rule_translation import CEL, RULE_ENGINE, translated
from tests.support.libraries import library_lines
from tests.support.random_rules import random_facts, random_rules, random_stated
from tests.support.random_stacks import random_stack
from tests.support.rulebooks import book_of, joint, rule_entry, small_views
from tests.support.stacks import analysis_of, assessor


def _facts(requests: Iterable[dict[str, Any]]) -> Iterator[tuple[tuple[Fact, ...], Callable[[Fact], View]]]:
    for request in requests:
        try:
            analysis = analysis_of(parse_request(request))
        except BadRequestError:
            continue
        yield tuple(analysis.facts), views_of(analysis.chain, analysis.facts)


COMPUTING = {
    "PLA-030", "PLA-050", "PLA-060", "PLA-080", "PLA-110", "PLA-120", "PLA-240", "PLA-250", "PLA-290", "PLA-310",
    "PLA-320", "PLA-330", "PLA-380", "PLA-390",
}  # fmt: skip
"""Rules that compute in their requirement, which one of the languages cannot write."""


def _agree(name: str, generated: int, library: int) -> Counter[str]:
    """Hold an engine against durable-rules on generated stacks and on those of a library; count what fired."""
    judge, other = assessor().engine.judge, ENGINES[name](assessor().book)
    assert other.left_out == (COMPUTING if name == "rule-engine" else set())
    stacks = [random_stack(random.Random(seed)) for seed in range(30_000, 30_000 + generated)]
    stacks += map(json.loads, library_lines(library, seed=3))
    fired: Counter[str] = Counter()
    for facts, views in _facts(stacks):
        ours = without(answer_of(judge(facts, view_of=views)), other.left_out)
        assert ours == other.evaluate(facts, views)
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


def _random_verdicts(name: str, seeds: range) -> Counter[str]:
    """Compare random rules over the whole language on subjects of which everything is known; count the verdicts."""
    counted: Counter[str] = Counter()
    for seed in seeds:
        rng = random.Random(seed)
        book = book_of(random_rules(rng))
        other, engine = ENGINES[name](book), Engine(book)
        counted["rules left out"] += len(other.left_out)
        for _ in range(3):
            facts, stated = random_facts(rng, missing=0.6), random_stated(rng, missing=0.75)
            views = small_views(facts, stated)
            judgement = engine.judge(facts, view_of=views)
            fired = {(one.rule.code, one.fact.key) for one in judgement.fired}
            # a quotient by zero or what is too large is undecided though every value is known
            undecided = {(one.rule.code, one.fact.key): list(one.lacking.values()) for one in judgement.undecided}
            for pair, holds in other.known_verdicts(facts, views).items():
                if pair in undecided:
                    assert all(fields == () for fields in undecided[pair])
                    counted["without a value"] += 1
                else:
                    assert (pair in fired) == (holds is False), (seed, pair, book.rule(pair[0]).require)
                    counted["not concerned" if holds is None else "holds" if holds else "fires"] += 1
    return counted


@pytest.mark.parametrize(("name", "share_left_out"), [("cel-expr-python", 0.0), ("rule-engine", 0.6)])
def test_finds_what_a_general_engine_finds_by_random_rules(name: str, share_left_out: float) -> None:
    """Arithmetic, functions and macros included, where the other language has them."""
    counted = _random_verdicts(name, range(60))
    assert counted["rules left out"] <= share_left_out * 6.5 * 60
    assert min(counted[one] for one in ("fires", "holds", "not concerned")) > 60


@pytest.mark.long
@pytest.mark.parametrize(("name", "divides"), [("cel-expr-python", True), ("rule-engine", False)])
def test_finds_what_a_general_engine_finds_by_random_rules_at_length(name: str, divides: bool) -> None:
    """The same over two thousand random books; only what divides can leave a rule without a value."""
    counted = _random_verdicts(name, range(1_000, 3_000))
    assert min(counted[one] for one in ("fires", "holds", "not concerned")) > 0
    assert (counted["without a value"] > 0) == divides


@pytest.mark.parametrize("name", ENGINES)
@pytest.mark.parametrize(
    ("require", "fires"),
    [
        ("grip_length_mm >= minimum_grip_mm", True),
        ("grip_length_mm < minimum_grip_mm", False),
        ("grip_length_mm != 0.3 && clamped", False),
        ("!(grip_length_mm in [1, 0.30000000000000004])", True),
        ("""!(socket_form in ["say \\"µ\\"", 'b']) || !clamped""", True),
        ("clamped == false || !(grip_length_mm > 0.1 && minimum_grip_mm <= 0.5)", True),
    ],
)
def test_every_sign_survives_the_translation(name: str, require: str, fires: bool) -> None:
    """First principles: also those that the rulebooks of the day do not use, on numbers that are neighbours."""
    book = book_of([rule_entry(require=require)])
    fact = joint(grip_length_mm=0.1 + 0.2, minimum_grip_mm=0.5, clamped=True, socket_form='say "µ"')
    expected = ([("GRIP-010", fact.key)] if fires else [], [], ["GRIP-010"])
    assert ENGINES[name](book).evaluate([fact]) == expected
    assert evaluate(book, [fact]) == expected


def test_a_rule_reads_in_both_languages_as_written() -> None:
    """A threshold becomes its number, groups get brackets, each language joins in its own way."""
    require = "!clamped || grip_length_mm < least && sealed == true"
    (rule,) = book_of([rule_entry(require=require, thresholds={"least": "20 mm"})]).rules
    cel, other = (translated(rule.requirement, {"least": 20}, dialect) for dialect in (CEL, RULE_ENGINE))
    assert cel == "(!(clamped)) || ((grip_length_mm < 20.0) && (sealed == true))"
    assert other == "(not (clamped)) or ((grip_length_mm < 20.0) and (sealed == true))"
