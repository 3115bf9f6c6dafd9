"""The stacks inside the page of an audit: rows for the list, and the report of each, compressed in blocks.

A block is a script element with JSON, which no browser runs. Rows are read when the page opens, reports when one of
their stacks is opened, so a page of 20,000 stacks stays quick.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Sequence
from typing import Any, Final

from rules.audit_items import AuditItem
from rules.schema.report import Report
from service.audit.standing import Mark, standing_verdict
from service.audit.tally import problem_words
from service.batch.lines import LineAnswer
from service.sheets.assumed import assumed
from service.sheets.check import runout, stack
from service.sheets.figures import Cell, Section
from service.sheets.mechanics import mechanics

__all__ = ["BLOCK", "block", "entry_of", "item_row", "sections_of"]

BLOCK: Final = 64
"""Stacks of a block."""

_LEVEL: Final = 9


def entry_of(library: int, answer: LineAnswer, marks: Sequence[Mark]) -> list[Any]:
    """Return the row of a stack as JSON values, and the sections of its report as JSON text, None for a problem.

    Parameters
    ----------
    library
        Number of the library.
    answer
        With the sections that :func:`sections_of` makes of its report, or with a problem.
    marks
        Of its findings.
    """
    if answer.verdict is None:
        words = problem_words(answer.text)[0]
        return [[library, answer.number, answer.stack, "not judged", "not judged", "", None, [], [], words, ""], None]
    row = [
        library,
        answer.number,
        answer.stack,
        answer.verdict,
        standing_verdict(answer, marks),
        answer.machine,
        answer.p95_um,
        [part.part for part in answer.parts],
        [item_row(one, mark) for one, mark in zip(answer.items, marks, strict=True)],
        "",
        answer.labels,
    ]
    return [row, answer.extract]


def item_row(one: AuditItem, mark: Mark) -> list[Any]:
    """Return what the page has of a finding, as JSON values."""
    return [
        int(one.kind == "undecided"),
        one.code,
        one.severity,
        one.operation,
        list(dict.fromkeys(part.part for part in one.parts)),
        mark.state or "",
        _covered(mark),
        one.message,
        mark.before,
        one.remedy,
        one.at,
    ]


def _covered(mark: Mark) -> str:
    if mark.waiver is not None:
        return f"waived until {mark.waiver.expires} by {mark.waiver.owner}: {mark.waiver.reason}"
    return "in the baseline" if mark.in_baseline else ""


def sections_of(report: Report) -> str:
    """Return the sections of a report as JSON text; made where the stack is judged, since it takes a fifth of that."""
    found = (stack(report), runout(report.runout), *mechanics(report), assumed(report))
    cautions = ["Cautions", "", [], [], [], report.cautions]
    return _json([*(_plain(one) for one in found if one), cautions])


def _plain(one: Section) -> list[Any]:
    return [
        one.title,
        one.gap,
        [[fact.label, _text(fact.value)] for fact in one.facts],
        [
            [table.caption, table.heads, [[_text(cell) for cell in row.cells] for row in table.rows], table.words]
            for table in one.tables
        ],
        [_plain(part) for part in one.parts if part],
        list(one.notes),
    ]


def _text(cell: Cell) -> str:
    return "".join(str(one) for one in cell)


def block(entries: Sequence[Sequence[Any]]) -> bytes:
    """Return the script element of some stacks."""
    rows = _packed(_json([row for row, _ in entries]))
    reports = _packed(f"[{','.join(told or 'null' for _, told in entries)}]")
    return (
        f'<script type="application/json" class="stacks">{{"rows":"{rows}","reports":"{reports}"}}</script>\n'.encode()
    )


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _packed(text: str) -> str:
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    data = text.encode("utf-8", "replace")
    return base64.b64encode(packer.compress(data) + packer.flush()).decode("ascii")
