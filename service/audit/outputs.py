"""Output files of an audit, written incrementally; each can be truncated to a saved state and continued.

``x.ndjson``: results with their library, and the summary as the last line.

``x.csv``: one row per stack, and ``x.summary.csv`` with the summary; RFC 4180 in UTF-8. A cell that a spreadsheet would
take as a formula gets a leading apostrophe.

``x.junit.xml``: one test case per stack. A failed stack is a failure, an undecided one is skipped, an invalid line is
an error. Other stacks pass, with warnings in the test output. The opening tags have space for the final counts.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import FileIO
from pathlib import Path
from typing import Any, ClassVar, Final, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from pydantic_core import to_json

from service.audit.libraries import AuditInputError
from service.audit.tally import AuditSummary, bin_words, problem_words, summary_lines
from service.batch.lines import LineAnswer

__all__ = ["HEAD", "SUMMARY_HEAD", "CsvOutput", "JunitOutput", "NdjsonOutput", "Output", "summary_path"]


_BUFFER = 256 * 1024


class Output(ABC):
    """An output file, written result by result and completed with the summary."""

    needs_reports: ClassVar[bool] = False
    """Whether results must contain full reports."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file: FileIO | None = None
        self._waiting = bytearray()
        self._written = 0

    def begin(self) -> None:
        """Create or overwrite the file and write the header."""
        self._open("wb")
        self.write(self.head())

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file at a saved :meth:`state`; raises AuditInputError if it is shorter."""
        length = int(state["bytes"])
        if not self.path.is_file() or self.path.stat().st_size < length:
            raise AuditInputError(f"{self.path}: the output of the interrupted audit is missing")
        file = self._open("r+b")
        file.truncate(length)
        file.seek(length)
        self._written = length

    def state(self) -> dict[str, Any]:
        """Flush to disk and return the state for :meth:`go_on`."""
        self.flush()
        if self._file is not None:
            os.fsync(self._file.fileno())
        return {"bytes": self._written}

    def head(self) -> bytes:
        """The header."""
        return b""

    @abstractmethod
    def add(self, library: str, answer: LineAnswer) -> None:
        """Write one result."""

    @abstractmethod
    def finish(self, summary: AuditSummary) -> None:
        """Write the end of the file."""

    def write(self, data: bytes) -> None:
        """Append bytes."""
        self._waiting += data
        if len(self._waiting) >= _BUFFER:
            self.flush()

    def write_over(self, offset: int, data: bytes) -> None:
        """Overwrite bytes in place."""
        self.flush()
        if self._file is not None:
            self._file.seek(offset)
            _write_all(self._file, data)
            self._file.seek(0, os.SEEK_END)

    def flush(self) -> None:
        """Flush the buffer."""
        if self._file is not None and self._waiting:
            _write_all(self._file, bytes(self._waiting))
            self._written += len(self._waiting)
            self._waiting.clear()

    def close(self) -> None:
        """Flush and close."""
        self.flush()
        if self._file is not None:
            self._file.close()
            self._file = None

    def _open(self, mode: str) -> FileIO:
        try:
            self._file = FileIO(self.path, mode)
        except OSError as error:
            raise AuditInputError(f"{self.path}: {error.strerror}") from None
        return self._file


def _write_all(file: FileIO, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[file.write(view) or 0 :]


class NdjsonOutput(Output):
    """One JSON object per line."""

    needs_reports = True

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write the result with the name of its library."""
        self.write(b'{"library":%s,%s\n' % (to_json(library), answer.text[1:]))

    def finish(self, summary: AuditSummary) -> None:
        """Write the summary."""
        self.write(b'{"summary":%s}\n' % to_json(summary))


Cell: TypeAlias = str | int | float | None

HEAD: Final = (
    "library",
    "line",
    "stack",
    "verdict",
    "findings",
    "undecided",
    "gauge_plane_p95_um",
    "problem",
    "labels",
)
SUMMARY_HEAD: Final = ("group", "key", "title", "stacks")

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def summary_path(path: Path) -> Path:
    """The path of the summary of a table.

    >>> summary_path(Path("report.csv")).name
    'report.summary.csv'
    """
    return path.with_name(f"{path.stem}.summary{path.suffix}")


class CsvOutput(Output):
    """A table of all stacks."""

    def head(self) -> bytes:
        """The column heads."""
        return _rows([HEAD])

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write a row; codes are separated by spaces."""
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
                        answer.labels,
                    )
                ]
            )
        )

    def finish(self, summary: AuditSummary) -> None:
        """Write the summary file."""
        path = summary_path(self.path)
        try:
            path.write_bytes(_rows([SUMMARY_HEAD, *_figures(summary)]))
        except OSError as error:
            raise AuditInputError(f"{path}: {error.strerror}") from None


def _figures(summary: AuditSummary) -> Iterator[tuple[Cell, ...]]:
    yield "verdict", "pass", None, summary.verdicts["pass"]
    yield "verdict", "review", None, summary.verdicts["review"]
    yield "verdict", "fail", None, summary.verdicts["fail"]
    yield "invalid lines", None, None, summary.bad_lines
    for group, counts in (("finding", summary.findings), ("undecided", summary.undecided)):
        for code in counts:
            yield group, code.code, f"{code.severity}: {code.title}", code.stacks
    for place, one in enumerate(summary.runout_histogram):
        yield "runout p95 um", bin_words(place), None, one.stacks
    yield "runout p95 um", "not known", None, summary.runout_not_known
    for part in summary.parts:
        yield "part", part.code, part.title if part.decided else f"not decided: {part.title}", part.parts
    for gap in summary.gaps:
        yield "missing", f"{gap.of} {gap.field}", " ".join(gap.rules), gap.decides
    for rank, worst in enumerate(summary.worst, 1):
        codes = " ".join((*worst.errors, *worst.warnings))
        yield "worst", str(rank), f"{worst.library}, line {worst.line}, {worst.stack or 'unnamed'}: {codes}", 1
    for bad in summary.first_bad_lines:
        yield "first invalid lines", f"{bad.library}, line {bad.line}", bad.detail, None


def _rows(rows: Sequence[Sequence[Cell]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    for row in rows:
        writer.writerow([_defused(cell) for cell in row])
    return text.getvalue().encode("utf-8")


def _defused(cell: Cell) -> Cell:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


_ROOM: Final = 120
_SUITES: Final = b'<?xml version="1.0" encoding="UTF-8"?>\n<testsuites name="stackgauge audit"'
_SUITE: Final = b'>\n<testsuite name="stackgauge audit"'
_NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class JunitOutput(Output):
    """One suite of all stacks."""

    needs_reports = True
    _skipped = 0

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file at a saved state, with the number of skipped cases."""
        super().go_on(state)
        self._skipped = int(state["skipped"])

    def state(self) -> dict[str, Any]:
        """Return the state with the number of skipped cases."""
        return {**super().state(), "skipped": self._skipped}

    def head(self) -> bytes:
        """The opening tags, with space for the counts."""
        return _SUITES + b" " * _ROOM + _SUITE + b" " * _ROOM + b">\n"

    def add(self, library: str, answer: LineAnswer) -> None:
        """Write a test case."""
        name = answer.stack or f"line {answer.number}"
        start = (
            f"<testcase classname={_quoted(library)} name={_quoted(name)}"
            f' file={_quoted(library)} line="{answer.number}"'
        )
        inner = "".join(self._outcome(answer))
        self.write((f"{start}>{inner}</testcase>\n" if inner else f"{start}/>\n").encode())

    def finish(self, summary: AuditSummary) -> None:
        """Write the summary as the suite's output, and the counts in the opening tags."""
        text = _escaped("\n".join(summary_lines(summary)))
        self.write(f"<system-out>{text}</system-out>\n</testsuite>\n</testsuites>\n".encode())
        failures = summary.verdicts["fail"]
        counts = (
            f' tests="{summary.stacks + summary.bad_lines}" failures="{failures}"'
            f' errors="{summary.bad_lines}" skipped="{self._skipped}"'
        ).encode()
        self.write_over(len(_SUITES), counts.ljust(_ROOM))
        self.write_over(len(_SUITES) + _ROOM + len(_SUITE), counts.ljust(_ROOM))

    def _outcome(self, answer: LineAnswer) -> Iterator[str]:
        if answer.verdict is None:
            words, fault = problem_words(answer.text)
            yield _element("error", "program fault" if fault else "invalid line", words, words)
            return
        report = json.loads(answer.text)["report"]
        findings, gaps = report["findings"], [_gap(one) for one in report["undecided"]]
        graver = [one for one in findings if one["severity"] != "advice"]
        told = [_finding(one) for one in graver]
        if answer.verdict == "fail":
            blamed = [one for one in graver if one["severity"] == "error"] or graver or report["undecided"]
            words = "; ".join(dict.fromkeys(f"{one['code']} {one['title']}" for one in blamed))
            yield _element("failure", blamed[0]["code"], words, "\n".join((*told, *gaps)))
        elif gaps:
            self._skipped += 1
            words = f"undecided: {', '.join(answer.undecided)}"
            yield _element("skipped", "undecided", words, "\n".join(gaps))
            yield from _output(told)
        else:
            yield from _output(told)


def _output(lines: Iterable[str]) -> Iterator[str]:
    if text := "\n".join(lines):
        yield f"<system-out>{_escaped(text)}</system-out>"


def _element(tag: str, kind: str, message: str, text: str) -> str:
    return f"<{tag} type={_quoted(kind)} message={_quoted(message)}>{_escaped(text)}</{tag}>"


def _finding(one: Mapping[str, Any]) -> str:
    return (
        f"{one['severity']} {one['code']} {one['title']}: {one['message']} {one['remedy']} At {', '.join(one['at'])}."
    )


def _gap(one: Mapping[str, Any]) -> str:
    lacks = "; ".join(
        f"missing {lack['quantity'].replace('_', ' ')}" + (f" ({', '.join(lack['at'])})" if lack["at"] else "")
        for lack in one["lacks"]
    )
    return f"undecided {one['code']} {one['title']}: {lacks}"


def _quoted(text: str) -> str:
    return quoteattr(_NOT_XML.sub("\ufffd", text))


def _escaped(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))
