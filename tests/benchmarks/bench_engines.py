"""The rules engine compared with plain Python and two general-purpose engines on the same rulebooks and facts.

Run: python -m tests.benchmarks.bench_engines
Mean processor time of judging one stack, over some hundred stacks of a library and as many random ones, and of loading
the rulebooks. All engines must give the same findings; one of them cannot write rules that compute.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from typing import Final, TypeAlias

from rules.assessor import Assessor
from rules.rulebook.book import Rulebook
from rules.rulebook.engine import Engine
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact
from rules.schema.parsing import BadRequestError, parse_request
from rules.stack.view import views_of
from service.operations.process import settle
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows
from tests.oracles.general_engines import ENGINES
from tests.oracles.plain_evaluator import answer_of, evaluate, without
from tests.support.libraries import library_lines
from tests.support.random_stacks import random_stack
from tests.support.stacks import analysis_of

__all__ = ["rows"]

_Stack: TypeAlias = tuple[tuple[Fact, ...], Callable[[Fact], View]]
_Judge: TypeAlias = Callable[[tuple[Fact, ...], Callable[[Fact], View]], object]

STACKS: Final = 150
"""Of each sort."""


def rows() -> Iterator[Row]:
    """Measure."""
    book = Assessor.load().book
    everything = list(_facts())
    engine = Engine(book)
    judges: dict[str, _Judge] = {"plain Python": lambda facts, views: evaluate(book, facts, None, views)}
    judges["durable-rules"] = _judging(engine)
    others = {name: make(book) for name, make in ENGINES.items()}
    judges |= {name: other.evaluate for name, other in others.items()}
    for facts, views in everything:
        ours = answer_of(engine.judge(facts, None, views))
        told = [evaluate(book, facts, None, views) == ours]
        told += [other.evaluate(facts, views) == without(ours, other.left_out) for other in others.values()]
        if not all(told):
            raise RuntimeError("the engines do not find the same")
    settle()
    turns = {f"judge with {name}": _all(judge, everything) for name, judge in judges.items()}
    times = {name: value / len(everything) for name, value in milliseconds(turns, rounds=8, repeats=1).items()}
    yield Row("stacks", len(everything), "")
    yield Row("facts", sum(len(facts) for facts, _ in everything), "")
    yield from timed_rows(times, "judge with plain Python")
    makers: dict[str, Callable[[], object]] = {name: _making(make, book) for name, make in ENGINES.items()}
    # as long as an engine on the book is alive, another shares its compiled set
    del engine, judges, others, turns
    makers = {"durable-rules": lambda: Engine(book), **makers}
    ready = {f"make ready {name}": make for name, make in makers.items()}
    yield from timed_rows(milliseconds(ready, rounds=3, repeats=1), "make ready durable-rules")


def _facts() -> Iterator[_Stack]:
    stacks = [json.loads(line) for line in library_lines(STACKS)]
    stacks += [random_stack(random.Random(seed)) for seed in range(STACKS)]
    for stack in stacks:
        try:
            analysis = analysis_of(parse_request(stack))
        except BadRequestError:
            # what the model refuses never reaches the rules
            continue
        yield tuple(analysis.facts), views_of(analysis.chain, analysis.facts)


def _all(judge: _Judge, everything: list[_Stack]) -> Callable[[], object]:
    return lambda: [judge(facts, views) for facts, views in everything]


def _judging(engine: Engine) -> _Judge:
    return lambda facts, views: engine.judge(facts, None, views)


def _making(make: Callable[[Rulebook], object], book: Rulebook) -> Callable[[], object]:
    return lambda: make(book)


if __name__ == "__main__":
    show(rows())
