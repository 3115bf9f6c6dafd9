"""Processor time of one check of a five-component stack, by stage; ratios from one run.

Run: python -m tests.benchmarks.bench_check
"""

from __future__ import annotations

import json
import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path

from rules.assess import Assessor
from rules.facts.budget import budget_at
from rules.facts.contributors import Contributor
from rules.facts.derive import derive
from rules.mechanics.axis import Line
from rules.mechanics.random_clocking import RandomClocking
from rules.requests import parse_request
from service.memory import settle
from service.strict_json import parse_json

STACK = Path(__file__).resolve().parents[2] / "demo_data" / "stacks" / "01-deep-pocket-press-in.json"


def milliseconds(stages: Mapping[str, Callable[[], object]], rounds: int = 25, repeats: int = 30) -> dict[str, float]:
    """Return the processor time of one call of each, the best of many short rounds taken in turn.

    In turn, because a shared machine slows down and speeds up by the second, and ratios are what counts.
    """
    best = dict.fromkeys(stages, math.inf)
    for _ in range(rounds):
        for name, work in stages.items():
            work()
            start = time.process_time()
            for _ in range(repeats):
                # the same stack again and again would find the law of its sums kept, as no first check does
                RandomClocking.forget()
                work()
            best[name] = min(best[name], (time.process_time() - start) / repeats * 1e3)
    return best


def main() -> None:
    """Measure and print."""
    body = STACK.read_bytes()
    assessor = Assessor.load()
    data = parse_json(body)
    request = parse_request(data)
    derived = derive(request)
    report = assessor.assess(request)
    twenty = [Contributor(f"part {n}", None, "limit", Line(1.0 + 0.1 * n, 0.01), 0, 2.0) for n in range(20)]
    stages = {
        "strict JSON": lambda: parse_json(body),
        "validation": lambda: parse_request(data),
        "facts and mechanics": lambda: derive(request),
        "rules engine": lambda: assessor.engine.judge(derived.facts),
        "judged and told (facts, engine, report)": lambda: assessor.assess(request),
        "serialisation": report.model_dump_json,
        "whole check": lambda: assessor.assess(parse_request(parse_json(body))).model_dump_json(),
        "plain json.loads, for scale": lambda: json.loads(body),
        "empty loop of 10 000 turns, for scale": lambda: deque(range(10_000), maxlen=0),
        "budget of 20 contributors at one plane": lambda: budget_at(200.0, twenty, 20.0),
    }
    settle()
    times = milliseconds(stages)
    whole = times["whole check"]
    print(f"{len(request.stack.components)} components, {len(assessor.book.rules)} rules, {len(body)} bytes")
    for name, value in times.items():
        print(f"{name:42} {value:7.3f} ms {value / whole:7.2f} of the whole")


if __name__ == "__main__":
    main()
