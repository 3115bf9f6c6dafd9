"""Output files of an audit, written incrementally; each can be truncated to a saved state and continued.

``x.ndjson``: results with their library, and the summary as the last line.

``x.csv``: one row per stack, ``x.findings.csv`` with one row per finding, and ``x.summary.csv`` with the summary; RFC
4180 in UTF-8. A cell that a spreadsheet would take as a formula gets a leading apostrophe.

``x.junit.xml``: one test case per stack, and one per finding on a part. A failed stack is a failure, an undecided one,
one that waits for an invalid part and one whose errors are all waived is skipped, an invalid line and an invalid part
are errors. Other stacks pass, with warnings in the test output. The opening tags have space for the final counts.
"""

from __future__ import annotations

import csv
import io
import os
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import FileIO
from pathlib import Path
from typing import Any, ClassVar, Final, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from pydantic_core import to_json

from rules.audit_items import AuditItem
from rules.library import NOT_USABLE, PartFinding
from service.audit.libraries import AuditInputError
from service.audit.standing import NEVER_COVERED, NOTHING_KNOWN, Mark, Standing, baseline_bytes, standing_verdict
from service.audit.tally import AuditSummary, bin_words, problem_words, summary_lines
from service.batch.lines import Extract, LineAnswer

__all__ = [
    "FINDINGS_HEAD",
    "HEAD",
    "SUMMARY_HEAD",
    "BaselineOutput",
    "CsvOutput",
    "FindingsOutput",
    "JunitOutput",
    "NdjsonOutput",
    "Output",
    "beside",
    "summary_path",
]


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

    @property
    def extract(self) -> Extract | None:
        """What it needs of each report besides."""
        return None

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
    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Write one result; the marks are those of its findings."""

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:  # noqa: B027
        """Write a finding on a part, after all results."""

    @abstractmethod
    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:
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

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:  # noqa: ARG002
        """Write the result with the name of its library."""
        self.write(b'{"library":%s,%s\n' % (to_json(library), answer.text[1:]))

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:  # noqa: ARG002
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


def beside(path: Path, name: str) -> Path:
    """The path of a further table beside a table.

    >>> beside(Path("report.csv"), "findings").name
    'report.findings.csv'
    """
    return path.with_name(f"{path.stem}.{name}{path.suffix}")


def summary_path(path: Path) -> Path:
    """The path of the summary of a table."""
    return beside(path, "summary")


class CsvOutput(Output):
    """A table of all stacks."""

    def head(self) -> bytes:
        """The column heads."""
        return _rows([HEAD])

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:  # noqa: ARG002
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

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:  # noqa: ARG002
        """Write the summary file."""
        path = summary_path(self.path)
        try:
            path.write_bytes(_rows([SUMMARY_HEAD, *_figures(summary)]))
        except OSError as error:
            raise AuditInputError(f"{path}: {error.strerror}") from None


FINDINGS_HEAD: Final = (
    "library",
    "line",
    "stack",
    "machine",
    "operation",
    "kind",
    "code",
    "severity",
    "message",
    "remedy",
    "component",
    "part_number",
    "observed",
    "limit",
    "unit",
    "at",
    "state",
    "covered_by",
    "reason",
    "fingerprint",
)


class FindingsOutput(Output):
    """A table of all findings and undecided rules, beside that of the stacks."""

    def head(self) -> bytes:
        """The column heads."""
        return _rows([FINDINGS_HEAD])

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Write a row for each finding; several components are separated by spaces."""
        if answer.verdict is None:
            row: dict[str, Cell] = {"library": library, "line": answer.number, "stack": answer.stack}
            row |= {"kind": "not judged", "message": problem_words(answer.text)[0]}
            self.write(_rows([[row.get(name) for name in FINDINGS_HEAD]]))
            return
        where: dict[str, Cell] = {
            "library": library,
            "line": answer.number,
            "stack": answer.stack,
            "machine": answer.machine,
        }
        self.write(_rows([_finding_row(where, one, mark) for one, mark in zip(answer.items, marks, strict=True)]))

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:
        """Write a row for a finding on a part, with the first places where it stands."""
        self.write(_rows([_finding_row({"library": "; ".join(found.places)}, item, mark)]))

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:
        """Do nothing more."""


def _finding_row(where: Mapping[str, Cell], one: AuditItem, mark: Mark) -> list[Cell]:
    waiver = mark.waiver
    row: dict[str, Cell] = {
        **where,
        "operation": one.operation,
        "kind": one.kind,
        "code": one.code,
        "severity": one.severity,
        "message": one.message,
        "remedy": one.remedy,
        "component": " ".join(part.id for part in one.parts),
        "part_number": " ".join(part.part for part in one.parts),
        "observed": one.observed,
        "limit": one.limit,
        "unit": one.unit,
        "at": " ".join(one.at),
        "state": mark.state,
        "covered_by": "waiver" if waiver else "baseline" if mark.in_baseline else None,
        "reason": None if waiver is None else f"{waiver.reason} ({waiver.owner}, until {waiver.expires})",
        "fingerprint": one.identity,
    }
    return [row.get(name) for name in FINDINGS_HEAD]


class BaselineOutput(Output):
    """The fingerprints of all findings, to be covered from the next audit on.

    They are collected in a file beside and sorted at the end. Waived findings stay out, since a waiver lapses, and so
    do those that nothing covers.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path.with_name(f"{path.name}.new"))
        self._target = path

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:  # noqa: ARG002
        """Collect the fingerprints of one stack."""
        for one, mark in zip(answer.items, marks, strict=True):
            self._collect(one, mark)

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:  # noqa: ARG002
        """Collect the fingerprint of a finding on a part."""
        self._collect(item, mark)

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:  # noqa: ARG002
        """Write the baseline."""
        self.flush()
        try:
            self._target.write_bytes(baseline_bytes(self.path.read_text("ascii").split()))
            self.path.unlink()
        except OSError as error:
            raise AuditInputError(f"{self._target}: {error.strerror}") from None

    def _collect(self, item: AuditItem, mark: Mark) -> None:
        if mark.waiver is None and item.code not in NEVER_COVERED and item.weight != "pass":
            self.write(item.identity.encode("ascii") + b"\n")


def _figures(summary: AuditSummary) -> Iterator[tuple[Cell, ...]]:
    yield "verdict", "pass", None, summary.verdicts["pass"]
    yield "verdict", "review", None, summary.verdicts["review"]
    yield "verdict", "fail", None, summary.verdicts["fail"]
    yield "invalid lines", None, None, summary.bad_lines
    for cause in summary.invalid_parts:
        yield "not judged for an invalid part", cause.part, f"{cause.source}: {cause.reason}", cause.stacks
    for group, counts in (("finding", summary.findings), ("undecided", summary.undecided)):
        for code in counts:
            yield group, code.code, f"{code.severity}: {code.title}", code.stacks
    for place, one in enumerate(summary.runout_histogram):
        yield "runout p95 um", bin_words(place), None, one.stacks
    yield "runout p95 um", "not known", None, summary.runout_not_known
    for ratio in summary.distributions:
        of = ratio.of.replace("_", " ")
        for bar in ratio.bins:
            yield of, f"{bar.low:g} and more" if bar.high is None else f"{bar.low:g} to {bar.high:g}", None, bar.stacks
        yield of, "not known", None, ratio.not_known
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
    """One suite of all stacks and parts, in what all readers of such files know."""

    _counted: Mapping[str, int]

    def begin(self) -> None:
        """Create the file."""
        self._counted = dict.fromkeys(_OUTCOMES, 0)
        super().begin()

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file at a saved state, with the numbers of cases."""
        super().go_on(state)
        self._counted = dict(state["cases"])

    def state(self) -> dict[str, Any]:
        """Return the state with the numbers of cases."""
        return {**super().state(), "cases": dict(self._counted)}

    def head(self) -> bytes:
        """The opening tags, with space for the counts."""
        return _SUITES + b" " * _ROOM + _SUITE + b" " * _ROOM + b">\n"

    def add(self, library: str, answer: LineAnswer, marks: Sequence[Mark] = ()) -> None:
        """Write a test case."""
        name = answer.stack or f"line {answer.number}"
        self._write_case(library, name, *_outcome(answer, marks, f"{library}, line {answer.number}"))

    def add_part(self, found: PartFinding, item: AuditItem, mark: Mark) -> None:
        """Write a test case for a finding on a part that fails or needs review."""
        if item.weight == "pass":
            return
        lines = [_line(item, mark), f"In {', '.join(found.places)}."]
        if item.code == NOT_USABLE:
            outcome: tuple[str, str] = "errors", _element("error", item.code, item.message, "\n".join(lines))
        elif item.weight == "fail" and not mark.covered:
            outcome = "failures", _element("failure", item.code, item.message, "\n".join(lines))
        elif item.kind == "undecided" or mark.covered:
            outcome = "skipped", _element("skipped", item.code, item.message, "\n".join(lines))
        else:
            outcome = "tests", _output(lines)
        self._write_case("parts of the library", f"{found.part} {found.code}", *outcome)

    def finish(self, summary: AuditSummary, standing: Standing = NOTHING_KNOWN) -> None:  # noqa: ARG002
        """Write the summary as the suite's output, and the counts in the opening tags."""
        text = _escaped("\n".join(summary_lines(summary)))
        self.write(f"<system-out>{text}</system-out>\n</testsuite>\n</testsuites>\n".encode())
        counts = "".join(f' {name}="{number}"' for name, number in self._counted.items()) + ' time="0"'
        self.write_over(len(_SUITES), counts.encode().ljust(_ROOM))
        self.write_over(len(_SUITES) + _ROOM + len(_SUITE), counts.encode().ljust(_ROOM))

    def _write_case(self, of: str, name: str, outcome: str, inner: str) -> None:
        counted = dict(self._counted)
        counted["tests"] += 1
        if outcome != "tests":
            counted[outcome] += 1
        self._counted = counted
        start = f'<testcase classname={_quoted(of)} name={_quoted(name)} time="0"'
        self.write((f"{start}>{inner}</testcase>\n" if inner else f"{start}/>\n").encode())


_OUTCOMES: Final = ("tests", "failures", "errors", "skipped")


def _outcome(answer: LineAnswer, marks: Sequence[Mark], where: str) -> tuple[str, str]:
    """Return what a stack counts as, and the element that says so."""
    if answer.verdict is None:
        words, fault = problem_words(answer.text)
        return "errors", _element("error", "program fault" if fault else "invalid line", words, f"{where}: {words}")
    marked = list(zip(answer.items, marks, strict=True))
    graver = [(one, mark) for one, mark in marked if one.severity != "advice" or one.kind == "undecided"]
    lines = [_line(one, mark) for one, mark in graver]
    standing = standing_verdict(answer, marks)
    if standing == "fail":
        blamed = [one for one, mark in graver if one.weight == "fail" and not mark.covered]
        words = "; ".join(dict.fromkeys(f"{one.code} {one.message}" for one in blamed)) or "policy"
        return "failures", _element(
            "failure", blamed[0].code if blamed else "policy", words, "\n".join((where, *lines))
        )
    if answer.invalid:
        words = "; ".join(f"not judged: {one.key} of the {one.source} is invalid" for one in answer.invalid)
        return "skipped", _element("skipped", "not judged", words, "\n".join((where, *lines)))
    if answer.undecided:
        words = f"undecided: {', '.join(answer.undecided)}"
        return "skipped", _element("skipped", "undecided", words, "\n".join((where, *lines)))
    if answer.verdict == "fail":
        words = "; ".join(dict.fromkeys(one.code for one, mark in graver if mark.covered))
        return "skipped", _element("skipped", "covered", f"covered: {words}", "\n".join((where, *lines)))
    return "tests", _output([where, *lines] if lines else [])


def _output(lines: Iterable[str]) -> str:
    text = "\n".join(lines)
    return f"<system-out>{_escaped(text)}</system-out>" if text else ""


def _element(tag: str, kind: str, message: str, text: str) -> str:
    return f"<{tag} type={_quoted(kind)} message={_quoted(message)}>{_escaped(text)}</{tag}>"


def _line(one: AuditItem, mark: Mark) -> str:
    parts = ", ".join(part.part for part in one.parts)
    kind = one.severity if one.kind == "finding" else f"undecided ({one.severity})"
    operation = "" if one.operation is None else f", operation {one.operation}"
    covered = ""
    if mark.waiver is not None:
        covered = f" Waived until {mark.waiver.expires} by {mark.waiver.owner}: {mark.waiver.reason}"
    elif mark.in_baseline:
        covered = " In the baseline."
    at = f" At {', '.join(one.at)}." if one.at else ""
    return f"{kind} {one.code}{operation}{f', {parts}' if parts else ''}: {one.message} {one.remedy}{at}{covered}"


def _quoted(text: str) -> str:
    return quoteattr(_NOT_XML.sub("\ufffd", text))


def _escaped(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))
