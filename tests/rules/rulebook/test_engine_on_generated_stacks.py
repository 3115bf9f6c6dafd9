"""The engine agrees with plain Python on the built-in rulebooks and the facts of generated stacks."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from rules.assessor import Assessor
from rules.schema.parsing import BadRequestError, parse_request
from rules.stack.view import views_of
from tests.oracles.plain_evaluator import answer_of, evaluate
from tests.support.random_stacks import random_stack
from tests.support.stacks import analysis_of

ASSESSOR = Assessor.load()


def _agree(seeds: range) -> tuple[Counter[str], int]:
    fired: Counter[str] = Counter()
    judged = 0
    for seed in seeds:
        try:
            request = parse_request(random_stack(random.Random(seed)))
        except BadRequestError:
            continue
        analysis = analysis_of(request)
        facts = analysis.facts
        before, views = repr(facts), views_of(analysis.chain, facts)
        answer = answer_of(ASSESSOR.engine.judge(facts, view_of=views))
        assert answer == evaluate(ASSESSOR.book, facts, view_of=views)
        assert repr(facts) == before
        fired.update(code for code, _ in answer[0])
        judged += 1
    return fired, judged


def test_agrees_with_plain_python_on_generated_stacks() -> None:
    """Findings, gaps and decided rules are the same; the stacks reach most of the rules."""
    fired, judged = _agree(range(500))
    assert judged > 333
    assert len(fired) > 40


@pytest.mark.long
def test_agrees_with_plain_python_on_ten_thousand_stacks() -> None:
    """The full-size form: well over five thousand stacks that the model accepts."""
    fired, judged = _agree(range(10_000, 20_000))
    assert judged > 5_000
    assert len(fired) > 50


def test_every_generated_stack_gets_a_report() -> None:
    """However senseless, a stack that the model accepts is answered."""
    for seed in range(100):
        try:
            request = parse_request(random_stack(random.Random(seed)))
        except BadRequestError:
            continue
        report = ASSESSOR.assess(request)
        assert report.verdict in ("pass", "review", "fail")
        assert report == ASSESSOR.assess(request)
