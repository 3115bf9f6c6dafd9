"""Time of a check by size of stack and rulebook.

Run: python -m tests.benchmarks.bench_scaling
Stacks of two to twenty components, the most that the contract allows, in which every joint fits. Rulebooks of twenty
rules to five hundred: the built-in ones cut short, or grown by random rules about properties that
the stack has. Reports then have more findings, so the engine is also measured alone, and with rules that stay silent.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from rules.assessor import Assessor
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact
from rules.schema.parsing import parse_request
from rules.schema.request import MAX_COMPONENTS
from rules.schema.strict_json import parse_json
from rules.stack.view import views_of
from service.operations.process import settle
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows
from tests.support.grown_books import grown_book
from tests.support.grown_stacks import grown_stack
from tests.support.stacks import analysis_of

__all__ = ["rows"]

COMPONENTS: Final = (2, 3, 5, 8, 12, MAX_COMPONENTS)
RULES: Final = (20, 40, 80, 120, 160, 200, 300, 400, 500)
MOST_SILENT: Final = 500
MIDDLE: Final = 5


def rows() -> Iterator[Row]:
    """Measure."""
    assessor = Assessor.load()
    bodies = {count: json.dumps(grown_stack(count)).encode() for count in COMPONENTS}
    checks = {f"check of {count} components": _checking(assessor, body) for count, body in bodies.items()}
    settle()
    yield from timed_rows(milliseconds(checks, rounds=12, repeats=5), f"check of {MIDDLE} components")

    analysis = analysis_of(parse_request(grown_stack(MIDDLE)))
    facts, views = analysis.facts, views_of(analysis.chain, analysis.facts)
    grown = {count: Assessor(grown_book(assessor.book, count, facts)) for count in RULES}
    judged = {f"judge by {count} rules": _judging(one, facts, views) for count, one in grown.items()}
    silent = Assessor(grown_book(assessor.book, MOST_SILENT, facts, views=views))
    judged[f"judge by {MOST_SILENT} rules, the added ones silent"] = _judging(silent, facts, views)
    whole = {f"check by {count} rules": _checking(one, bodies[MIDDLE]) for count, one in grown.items()}
    settle()
    yield from timed_rows(milliseconds(judged, rounds=12, repeats=10), "judge by 80 rules")
    yield from timed_rows(milliseconds(whole, rounds=12, repeats=5), "check by 80 rules")


def _checking(assessor: Assessor, body: bytes) -> Callable[[], object]:
    return lambda: assessor.assess(parse_request(parse_json(body))).model_dump_json()


def _judging(assessor: Assessor, facts: Sequence[Fact], views: Callable[[Fact], View]) -> Callable[[], object]:
    return lambda: assessor.engine.judge(facts, view_of=views)


if __name__ == "__main__":
    show(rows())
