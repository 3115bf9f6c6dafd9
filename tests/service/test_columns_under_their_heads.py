"""Each table column holds the figures that its heading names, in text and on the page."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from rich.console import Console

from rules.reading.build import read_build
from rules.schema.build import BuildRequest
from rules.schema.parsing import parse, parse_request
from service.sheets.check import print_report
from service.sheets.page import report_page
from service.sheets.questions import build_text
from tests.support.pages import parsed
from tests.support.stacks import assessor

STACKS = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"
NAMES = [
    "01-deep-rib-shrink-extension",
    "03-deep-rib-nut-collets",
    "11-high-speed-finisher",
    "17-heavy-cut-in-a-collet",
]

Columns = list[tuple[str, str, int, float]]
"""Head, field, decimals, factor."""

PLANES: Columns = [
    ("From the gauge line, mm", "from_gauge_line_mm", 2, 1),
    ("From the last clamping face, mm", "from_last_clamping_face_mm", 2, 1),
    ("Median, µm", "p50_um", 1, 1),
    ("95th percentile, µm", "p95_um", 1, 1),
    ("95 % at limits, µm", "at_limits_um", 1, 1),
    ("Lowest by clocking, µm", "best_clocking_um", 1, 1),
    ("Worst case, µm", "worst_case_um", 1, 1),
]
CONTRIBUTORS: Columns = [
    ("At the gauge plane, µm", "gauge_plane", 1, 1),
    ("At the tip, µm", "tip", 1, 1),
    ("Share", "share", 0, 100),
]
PLACES: Columns = [("From, mm", "from_mm", 2, 1), ("To, mm", "to_mm", 2, 1)]
SPEEDS: Columns = [("Highest speed, rpm", "speed_rpm", -1, 1)]


_NAMES = {"gauge_plane": "gauge plane", "tip": "tip", "reading_plane": "plain shank"}


def _predicted(plane: dict[str, Any]) -> dict[str, float]:
    told = {one["of"]: one for one in plane["predictions"]}
    parts = told["assemblies"]
    return {
        "p50_um": parts["quantiles_um"]["p50"],
        "p95_um": parts["quantiles_um"]["p95"],
        "at_limits_um": told["parts_at_limits"]["quantiles_um"]["p95"],
        "best_clocking_um": told["best_clocking"]["quantiles_um"]["p0"],
        "worst_case_um": told["worst_case"]["quantiles_um"]["p100"],
    }


def _tables(report: dict[str, Any]) -> list[tuple[str, Columns, list[tuple[str, dict[str, Any]]]]]:
    """Return head of the first column, the others, and the name and part of each row."""
    runout = report["runout"]
    machine = [one for one in report["speed"]["limits"] if one["cause"] == "machine"]
    return [
        ("Plane", PLANES, [(_NAMES[one["plane"]], one | _predicted(one)) for one in runout["planes"]]),
        (
            "Contributor",
            CONTRIBUTORS,
            [(one["text"], {**one["tir_um"], "share": one["share"]["gauge_plane"]}) for one in runout["contributors"]],
        ),
        ("Part", PLACES, [(one["component"], one) for one in report["geometry"]["components"]]),
        ("Limited by", SPEEDS, [("machine", {"speed_rpm": one["speed_rpm"]["value"]}) for one in machine]),
    ]


def _tag(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _words(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def _made(name: str) -> tuple[dict[str, Any], str, str]:
    report, derived = assessor().assess_instructed(parse_request(json.loads((STACKS / f"{name}.json").read_bytes())))
    out = io.StringIO()
    print_report(report, Console(file=out, width=100, highlight=False))
    return json.loads(report.model_dump_json()), out.getvalue(), report_page(report, derived)


def _right(shown: str, value: float, decimals: int, factor: float) -> None:
    number = float(shown.split()[0])
    assert abs(number - value * factor) <= 0.5 * 10.0 ** -max(decimals, 0) + (5 if decimals < 0 else 0) + 1e-9


def _columns(head_lines: list[str]) -> list[tuple[int, int, str]]:
    """Return beginning, end and head of the columns of a printed table: places are parted by blanks in every line."""
    width = max(map(len, head_lines))
    used = [any(line[place : place + 1].strip() for line in head_lines) for place in range(width)]
    text = "".join("x" if one else " " for one in used)
    found = []
    for piece in re.finditer(r"x+(?: x+)*", text):
        words = " ".join(line[piece.start() : piece.end()].strip() for line in head_lines)
        found.append((piece.start(), piece.end(), " ".join(words.split())))
    return found


def _headed(lines: list[str], first: str) -> Iterator[tuple[int, dict[str, tuple[int, int]]]]:
    """Yield the line on which the heads of a table end, and where each of its columns begins and ends."""
    for last_head, line in enumerate(lines):
        if not line.startswith(f"  {first}  "):
            continue
        top = last_head
        while lines[top - 1].startswith("     "):
            top -= 1
        yield last_head, {head: (begin, end) for begin, end, head in _columns(lines[top : last_head + 1])}


@pytest.mark.parametrize("name", NAMES)
def test_columns_of_the_text(name: str) -> None:
    """Heads break over lines above their column; figures stand at the right edge of it."""
    report, text, _ = _made(name)
    lines = text.split("\n")
    for first, columns, rows in _tables(report):
        # the limits of the stack come before those of its operation
        (last_head, found), *_ = [one for one in _headed(lines, first) if {head for head, *_ in columns} <= set(one[1])]
        printed = lines[last_head + 1 :]
        for label, part in rows:
            line = next(one for one in printed if one.startswith(f"  {label}  "))
            for head, field, decimals, factor in columns:
                end = found[head][1]
                shown = re.search(r"[\d.]+(?: %)?$", line[:end])
                assert shown is not None, (head, line)
                _right(shown.group(), part[field], decimals, factor)


@pytest.mark.parametrize("name", NAMES)
def test_columns_of_the_page(name: str) -> None:
    """The nth cell of a row belongs to the nth head."""
    report, _, page = _made(name)
    tables = []
    for one in parsed(page).iter():
        if _tag(one) == "table":
            rows_of_it = [row for row in one.iter() if _tag(row) == "tr"]
            tables.append([[_words(cell) for cell in row if _tag(cell) in ("th", "td")] for row in rows_of_it])
    for first, columns, rows in _tables(report):
        table, *_ = [one for one in tables if {first, *(head for head, *_ in columns)} <= set(one[0])]
        heads = table[0]
        for label, part in rows:
            cells = next(row for row in table[1:] if row[0] == label)
            for head, field, decimals, factor in columns:
                _right(cells[heads.index(head)], part[field], decimals, factor)


def test_the_statement_of_a_part_can_be_pasted_from_the_text_of_a_build() -> None:
    """However its lines are broken, it is the JSON of the answer."""
    request = (STACKS.parent / "builds" / "01-deep-rib-stage-by-stage.json").read_bytes()
    report = read_build(parse(BuildRequest, json.loads(request)), assessor().book)
    stated = [one.statement.model_dump(mode="json", exclude_none=True) for one in report.stages if one.statement]
    decoder = json.JSONDecoder()
    text = build_text(report)
    pasted = [decoder.raw_decode(text, at.start())[0] for at in re.finditer(r'\{"law"', text)]
    assert len(pasted) == 3
    assert pasted == stated
