"""Processor time of the answers made of checks, in checks: comparisons, pages, texts, drawings and searches.

Run: python -m tests.benchmarks.bench_answers
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from rules.assessor import Assessor
from rules.comparison import compare
from rules.schema.comparison import MAX_ALTERNATIVES, ComparisonRequest
from rules.schema.parsing import parse, parse_request
from rules.schema.search import MAX_INVENTORY, SearchRequest
from rules.schema.strict_json import parse_json
from rules.search.search import search
from service.drawing.dimensions import RequestFields
from service.drawing.pictures import picture_or_words
from service.operations.process import settle
from service.sheets.check import report_text
from service.sheets.page import report_page
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows
from tests.support.inventories import large_shelf
from tests.support.operations import operation_of
from tests.support.toolroom_parts import SPINDLES
from tests.support.various_stacks import STACK, various_bodies

__all__ = ["rows"]

CHECK: Final = "check"
FAR_MM: Final = 900
"""No stack of the inventory reaches so far."""


def rows() -> Iterator[Row]:
    """Measure; text, page and drawing are what they take after the check."""
    body = STACK.read_bytes()
    assessor = Assessor.load()
    request = parse_request(parse_json(body))
    report, derived = assessor.assess_instructed(request)
    fields = RequestFields(parse_json(body))
    comparisons = {count: _comparison(count) for count in (3, MAX_ALTERNATIVES)}
    answers = {
        CHECK: lambda: assessor.assess(parse_request(parse_json(body))).model_dump_json(),
        "text of a report": lambda: report_text(report),
        "page of a report": lambda: report_page(report, derived),
        "drawing of a stack": lambda: picture_or_words("stack", report, derived, fields=fields),
        **{
            f"comparison of {count}": lambda asked=asked: compare(asked, assessor).model_dump_json()
            for count, asked in comparisons.items()
        },
    }
    settle()
    times = milliseconds(answers, rounds=8, repeats=3)
    yield from timed_rows(times, CHECK)
    inventory = large_shelf(MAX_INVENTORY)
    for told, requirement in (
        ("one cutting tool", {"cutters": [next(key for key in inventory if key.startswith("KB-EM8"))]}),
        ("every cutting tool, a page", {}),
        ("every cutting tool, nothing reaches", {"projection": {"at_least_mm": FAR_MM}}),
    ):
        asked = _search(inventory, {"max_components": 4, **requirement})
        searched = milliseconds({told: lambda asked=asked: search(asked, assessor).model_dump_json()}, 2, 1)
        yield Row(f"search of {MAX_INVENTORY} parts, {told}", searched[told], "ms", times[CHECK], CHECK)


def _comparison(count: int) -> ComparisonRequest:
    stacks = [json.loads(body) for body in various_bodies(count)]
    shared = {name: value for name, value in stacks[0].items() if name in ("machine", "operations")}
    alternatives = [{"name": f"a{place}", "stack": one["stack"]} for place, one in enumerate(stacks)]
    return parse(ComparisonRequest, {**shared, "alternatives": alternatives})


def _search(inventory: dict[str, Any], requirement: dict[str, Any]) -> SearchRequest:
    operation = operation_of({"spindle_speed_rpm": 9000, "runout_limit_um": 20})
    machine = SPINDLES["HT63"].machine
    asked = {"components": inventory, "requirement": requirement, "operations": [operation], "machine": machine}
    return parse(SearchRequest, asked)


if __name__ == "__main__":
    show(rows())
