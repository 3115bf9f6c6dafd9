"""``x.csv``: a row a stack, and beside it ``x.summary.csv`` with the figures; RFC 4180 in UTF-8.

A cell that a spreadsheet would take for a formula gets an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, TypeAlias

from service.audit.histogram import bin_words
from service.audit.libraries import AuditInputError
from service.audit.outputs import Output
from service.audit.summary import AuditSummary
from service.audit.tally import problem_words
from service.batch.lines import LineAnswer

__all__ = ["HEAD", "SUMMARY_HEAD", "CsvOutput", "summary_path"]

Cell: TypeAlias = str | int | float | None

HEAD: Final = ("library", "line", "stack", "verdict", "findings", "undecided", "gauge_plane_p95_um", "problem")
SUMMARY_HEAD: Final = ("group", "key", "title", "stacks")

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def summary_path(path: Path) -> Path:
    """Where the figures of a table lie.

    >>> summary_path(Path("report.csv")).name
    'report.summary.csv'
    """
    return path.with_name(f"{path.stem}.summary{path.suffix}")


class CsvOutput(Output):
    """A table of all stacks."""

    def head(self) -> bytes:
        """The names of the columns."""
        return _rows([HEAD])

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write a row; codes are set apart by spaces."""
        problem = problem_words(answer.text)[0] if answer.verdict is None else None
        self.write(
            _rows(
                [
                    (
                        library,
                        answer.number,
                        answer.stack,
                        answer.verdict or "not judged",
                        " ".join(answer.codes),
                        " ".join(answer.undecided),
                        answer.p95_um,
                        problem,
                    )
                ]
            )
        )

    def finish(self, summary: AuditSummary) -> None:
        """Write the figures beside the table."""
        path = summary_path(self.path)
        try:
            path.write_bytes(_rows([SUMMARY_HEAD, *_figures(summary)]))
        except OSError as error:
            raise AuditInputError(f"{path}: {error.strerror}") from None


def _figures(summary: AuditSummary) -> Iterator[tuple[Cell, ...]]:
    yield "verdict", "pass", None, summary.verdicts["pass"]
    yield "verdict", "review", None, summary.verdicts["review"]
    yield "verdict", "fail", None, summary.verdicts["fail"]
    yield "bad lines", None, None, summary.bad_lines
    for group, counts in (("finding", summary.findings), ("undecided", summary.undecided)):
        for code in counts:
            yield group, code.code, f"{code.severity}: {code.title}", code.stacks
    for place, one in enumerate(summary.runout_histogram):
        yield "runout p95 um", bin_words(place), None, one.stacks
    yield "runout p95 um", "not known", None, summary.runout_not_known
    for rank, worst in enumerate(summary.worst, 1):
        codes = " ".join((*worst.errors, *worst.warnings))
        yield "worst", str(rank), f"{worst.library}, line {worst.line}, {worst.stack or 'unnamed'}: {codes}", 1
    for bad in summary.first_bad_lines:
        yield "first bad lines", f"{bad.library}, line {bad.line}", bad.detail, None


def _rows(rows: Sequence[Sequence[Cell]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    for row in rows:
        writer.writerow([_defused(cell) for cell in row])
    return text.getvalue().encode("utf-8")


def _defused(cell: Cell) -> Cell:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
