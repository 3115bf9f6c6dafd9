"""Processor time of one check of a five-component stack, by stage; ratios from one run.

Run: python -m tests.benchmarks.bench_check
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterator

from rules.assessor import Assessor
from rules.runout.analysis import budget_at
from rules.runout.contributors import Contributor
from rules.runout.formulas import Line
from rules.schema.parsing import parse_request
from rules.schema.strict_json import parse_json
from service.operations.process import settle
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows
from tests.support.stacks import analysis_of
from tests.support.various_stacks import STACK

__all__ = ["rows"]


def rows() -> Iterator[Row]:
    """Measure."""
    body = STACK.read_bytes()
    assessor = Assessor.load()
    data = parse_json(body)
    request = parse_request(data)
    derived = analysis_of(request)
    report = assessor.assess(request)
    twenty = [
        Contributor(
            f"part_runout:{n}", "part_runout", f"part {n}", None, None, "limit", Line(1.0 + 0.1 * n, 0.01), 0, 2.0
        )
        for n in range(20)
    ]
    stages = {
        "strict JSON": lambda: parse_json(body),
        "validation": lambda: parse_request(data),
        "facts and mechanics": lambda: analysis_of(request),
        "rules engine": lambda: assessor.engine.judge(derived.facts),
        "judged and told (facts, engine, report)": lambda: assessor.assess(request),
        "serialisation": report.model_dump_json,
        "whole check": lambda: assessor.assess(parse_request(parse_json(body))).model_dump_json(),
        "plain json.loads, for scale": lambda: json.loads(body),
        "empty loop of 10 000 turns, for scale": lambda: deque(range(10_000), maxlen=0),
        "budget of 20 contributors at one plane": lambda: budget_at(200.0, twenty, 20.0),
    }
    settle()
    yield Row("components of the stack", len(request.stack.components), "")
    yield Row("rules", len(assessor.book.rules), "")
    yield Row("body", len(body), "bytes")
    yield from timed_rows(milliseconds(stages), "whole check")


if __name__ == "__main__":
    show(rows())
