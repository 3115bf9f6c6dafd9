"""Processor time of one check of a five-component stack, by stage; ratios from one run.

Run: python -m tests.benchmarks.bench_check
"""

from __future__ import annotations

import gc
import json
import time
from collections.abc import Callable
from pathlib import Path

from rules.assess import Assessor
from rules.facts.derive import derive
from rules.requests import parse_request
from service.strict_json import parse_json

STACK = Path(__file__).resolve().parents[2] / "demo_data" / "stacks" / "01-deep-pocket-press-in.json"


def milliseconds(work: Callable[[], object], repeats: int = 1000) -> float:
    """Return the processor time of one call, the best of five rounds."""
    work()
    rounds = []
    for _ in range(5):
        gc.collect()
        start = time.process_time()
        for _ in range(repeats // 5):
            work()
        rounds.append((time.process_time() - start) / (repeats // 5))
    return min(rounds) * 1e3


def main() -> None:
    """Measure and print."""
    body = STACK.read_bytes()
    assessor = Assessor.load()
    data = parse_json(body)
    request = parse_request(data)
    derived = derive(request)
    report = assessor.assess(request)
    stages = {
        "strict JSON": lambda: parse_json(body),
        "validation": lambda: parse_request(data),
        "facts and mechanics": lambda: derive(request),
        "rules engine": lambda: assessor.engine.judge(derived.facts),
        "judged and told (facts, engine, report)": lambda: assessor.assess(request),
        "serialisation": report.model_dump_json,
        "whole check": lambda: assessor.assess(parse_request(parse_json(body))).model_dump_json(),
        "plain json.loads, for scale": lambda: json.loads(body),
    }
    times = {name: milliseconds(work) for name, work in stages.items()}
    whole = times["whole check"]
    print(f"{len(request.stack.components)} components, {len(assessor.book.rules)} rules, {len(body)} bytes")
    for name, value in times.items():
        print(f"{name:42} {value:7.3f} ms {value / whole:7.2f} of the whole")


if __name__ == "__main__":
    main()
