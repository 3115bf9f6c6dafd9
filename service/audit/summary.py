"""What an audit says of a whole library."""

from __future__ import annotations

from pydantic import Field

from rules.quantities.models import Out
from rules.schema.report import Severity, Verdict

__all__ = ["AuditSummary", "BadLine", "BinCount", "CodeCount", "LibraryCount", "WorstStack"]


class LibraryCount(Out):
    """One library."""

    library: str
    stacks: int
    bad_lines: int


class CodeCount(Out):
    """How many stacks a rule objects to, or can't be decided on."""

    code: str
    severity: Severity = Field(description="Of the rule, as the rulebooks in force have it.")
    title: str
    stacks: int


class BinCount(Out):
    """One bin of the histogram."""

    from_um: float
    to_um: float | None
    stacks: int


class WorstStack(Out):
    """One of the worst: most errors first, then most warnings, then the largest runout."""

    library: str
    line: int
    stack: str | None
    verdict: Verdict
    errors: list[str] = Field(description="Codes, each once.")
    warnings: list[str]
    undecided: int = Field(description="Rules that could not be decided.")
    gauge_plane_p95_um: float | None


class BadLine(Out):
    """A line that could not be judged."""

    library: str
    line: int
    detail: str


class AuditSummary(Out):
    """Counts, the histogram, the worst, and by which rules."""

    libraries: list[LibraryCount]
    stacks: int = Field(description="Stacks judged.")
    verdicts: dict[Verdict, int] = Field(description="Stacks by verdict; each verdict is named.")
    bad_lines: int
    faults: int = Field(description="Bad lines at which the program itself failed.")
    findings: list[CodeCount]
    undecided: list[CodeCount]
    runout_histogram: list[BinCount] = Field(description="Of the 95 % runout at the gauge plane.")
    runout_not_known: int = Field(description="Stacks of which no complete budget is known.")
    worst: list[WorstStack]
    first_bad_lines: list[BadLine]
    version: str
    rulebook_sha256: str
    catalogue_sha256: str | None
