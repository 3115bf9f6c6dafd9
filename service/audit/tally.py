"""Answers summed up one by one; what is kept does not grow with the library."""

from __future__ import annotations

import json
from bisect import insort
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, get_args

from rules.rulebook.book import SEVERITIES, Rulebook
from rules.schema.report import Verdict
from rules.version import VERSION
from service.audit.histogram import BIN_UM, BINS, bin_of
from service.audit.summary import (
    AuditSummary,
    BadLine,
    BinCount,
    CodeCount,
    LibraryCount,
    WorstStack,
)
from service.batch.lines import LineAnswer

__all__ = ["BAD_LINES_TOLD", "WORST_TOLD", "Tally", "problem_words"]

WORST_TOLD: Final = 10
BAD_LINES_TOLD: Final = 20

_LONGEST_DETAIL: Final = 300
_PARTS_TOLD: Final = 3


class Tally:
    """The figures of an audit so far."""

    def __init__(self, book: Rulebook, catalogue_sha256: str | None, libraries: Sequence[str]) -> None:
        self._book = book
        self._catalogue = catalogue_sha256
        self._libraries = tuple(libraries)
        self.stacks = [0] * len(libraries)
        self.bad = [0] * len(libraries)
        self.faults = 0
        self.verdicts: Counter[str] = Counter()
        self._findings: Counter[str] = Counter()
        self._undecided: Counter[str] = Counter()
        self._bins = [0] * BINS
        self._unknown = 0
        self._worst: list[tuple[tuple[float, ...], dict[str, Any]]] = []
        self._first_bad: list[tuple[int, int, str]] = []
        self._severities = {rule.code: rule.severity for rule in book.rules}

    def add(self, library: int, answer: LineAnswer) -> None:
        """Count one answer of the library at this place."""
        if answer.verdict is None:
            self._add_bad(library, answer)
            return
        self.stacks[library] += 1
        self.verdicts[answer.verdict] += 1
        self._findings.update(answer.codes)
        self._undecided.update(answer.undecided)
        if answer.p95_um is None:
            self._unknown += 1
        else:
            self._bins[bin_of(answer.p95_um)] += 1
        self._weigh(library, answer)

    def of_severity(self, codes: Iterable[str], severity: str) -> list[str]:
        """Those of some codes whose rule has this severity."""
        return [code for code in codes if self._severities[code] == severity]

    def _add_bad(self, library: int, answer: LineAnswer) -> None:
        self.bad[library] += 1
        detail, fault = problem_words(answer.text)
        self.faults += fault
        if len(self._first_bad) < BAD_LINES_TOLD:
            self._first_bad.append((library, answer.number, detail[:_LONGEST_DETAIL]))

    def _weigh(self, library: int, answer: LineAnswer) -> None:
        errors = self.of_severity(answer.codes, "error")
        warnings = self.of_severity(answer.codes, "warning")
        runout = -1.0 if answer.p95_um is None else answer.p95_um
        # The place in the libraries decides between equals, so the order is always the same.
        rank = (-len(errors), -len(warnings), -runout, library, answer.number)
        if len(self._worst) == WORST_TOLD and rank > self._worst[-1][0]:
            return
        told = {
            "line": answer.number,
            "stack": answer.stack,
            "verdict": answer.verdict,
            "errors": errors,
            "warnings": warnings,
            "undecided": len(answer.undecided),
            "gauge_plane_p95_um": answer.p95_um,
        }
        insort(self._worst, (rank, told), key=lambda one: one[0])
        del self._worst[WORST_TOLD:]

    def dump(self) -> dict[str, Any]:
        """Everything counted so far, as JSON can hold it."""
        return {
            "stacks": self.stacks,
            "bad": self.bad,
            "faults": self.faults,
            "verdicts": dict(self.verdicts),
            "findings": dict(self._findings),
            "undecided": dict(self._undecided),
            "bins": self._bins,
            "unknown": self._unknown,
            "worst": self._worst,
            "first_bad": self._first_bad,
        }

    def load(self, dumped: Mapping[str, Any]) -> None:
        """Go on from what :meth:`dump` gave, of the same libraries by the same rules."""
        self.stacks, self.bad, self.faults = list(dumped["stacks"]), list(dumped["bad"]), int(dumped["faults"])
        self.verdicts = Counter(dumped["verdicts"])
        self._findings, self._undecided = Counter(dumped["findings"]), Counter(dumped["undecided"])
        self._bins, self._unknown = list(dumped["bins"]), int(dumped["unknown"])
        self._worst = [(tuple(rank), told) for rank, told in dumped["worst"]]
        self._first_bad = [(int(place), int(line), str(detail)) for place, line, detail in dumped["first_bad"]]

    def summary(self) -> AuditSummary:
        """The figures as they are told."""
        return AuditSummary(
            libraries=[
                LibraryCount(library=name, stacks=stacks, bad_lines=bad)
                for name, stacks, bad in zip(self._libraries, self.stacks, self.bad, strict=True)
            ],
            stacks=sum(self.stacks),
            verdicts={verdict: self.verdicts[verdict] for verdict in get_args(Verdict)},
            bad_lines=sum(self.bad),
            faults=self.faults,
            findings=self._counts(self._findings),
            undecided=self._counts(self._undecided),
            runout_histogram=[
                BinCount(from_um=place * BIN_UM, to_um=(place + 1) * BIN_UM if place < BINS - 1 else None, stacks=count)
                for place, count in enumerate(self._bins)
            ],
            runout_not_known=self._unknown,
            worst=[
                WorstStack(library=self._libraries[int(rank[3])], **told)  # the fourth of a rank is the library
                for rank, told in self._worst
            ],
            first_bad_lines=[
                BadLine(library=self._libraries[place], line=line, detail=detail)
                for place, line, detail in self._first_bad
            ],
            version=VERSION,
            rulebook_sha256=self._book.digest,
            catalogue_sha256=self._catalogue,
        )

    def _counts(self, counted: Counter[str]) -> list[CodeCount]:
        """Gravest first, then the most frequent."""
        counts = [
            CodeCount(code=code, severity=rule.severity, title=rule.title, stacks=stacks)
            for code, stacks in counted.items()
            for rule in [self._book.rule(code)]
        ]
        return sorted(counts, key=lambda one: (-SEVERITIES.index(one.severity), -one.stacks, one.code))


def problem_words(text: bytes) -> tuple[str, bool]:
    """What is wrong with a bad line, in one line, and whether the program itself is to blame."""
    problem = json.loads(text)["problem"]
    parts = [part for part in problem.get("errors", ()) if "pointer" in part]
    words = "; ".join(f"{part['pointer']} {part['detail']}" for part in parts[:_PARTS_TOLD])
    more = f"; and {len(parts) - _PARTS_TOLD} more" if len(parts) > _PARTS_TOLD else ""
    return words + more or str(problem["detail"]), problem["type"].endswith("/internal-fault")
