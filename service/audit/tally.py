"""The summary of an audit: counts, a histogram with fixed bins, the worst stacks, and its plain text."""

from __future__ import annotations

import json
from bisect import insort
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import starmap
from typing import Any, Final, get_args

from pydantic import Field
from rich.text import Text

from rules.audit_items import VERDICTS, AuditItem, Kind, StackPart, identity_of
from rules.gaps import FieldGap
from rules.library import NOT_USABLE, LibraryParts, PartFinding
from rules.quantities.models import Out
from rules.rulebook.book import SEVERITIES, Rulebook
from rules.schema.report import Severity, Verdict
from rules.version import VERSION
from service.audit.standing import NOTHING_KNOWN, EarlierItem, Mark, Standing, standing_verdict
from service.batch.lines import InvalidUse, LineAnswer, invalid_part_counts
from service.contract import InvalidPartCount
from service.sheets.figures import quantity
from service.sheets.text import STYLES, Console, count, fixed, say

__all__ = [
    "BAD_LINES_TOLD",
    "BINS",
    "BIN_UM",
    "WORST_TOLD",
    "AuditSummary",
    "BadLine",
    "BinCount",
    "CodeCount",
    "GapCount",
    "InvalidPart",
    "LibraryCount",
    "PartCount",
    "Tally",
    "WorstStack",
    "against_words",
    "before_words",
    "bin_of",
    "bin_words",
    "gap_words",
    "gaps_title",
    "not_judged_words",
    "noted_words",
    "open_words",
    "parts_title",
    "print_audit",
    "problem_words",
    "summary_lines",
]


class LibraryCount(Out):
    """Counts of one library."""

    library: str
    stacks: int
    bad_lines: int


class CodeCount(Out):
    """Number of stacks with a finding or undecided rule."""

    code: str
    severity: Severity = Field(description="Severity of the rule in force.")
    title: str
    stacks: int


class BinCount(Out):
    """One bin of the histogram."""

    from_um: float
    to_um: float | None
    stacks: int


class WorstStack(Out):
    """One of the worst stacks: by errors, then warnings, then runout."""

    library: str
    line: int
    stack: str | None
    verdict: Verdict
    errors: list[str] = Field(description="Rule codes, without duplicates.")
    warnings: list[str]
    undecided: int = Field(description="Number of undecided rules.")
    gauge_plane_p95_um: float | None


class BadLine(Out):
    """A line that could not be judged."""

    library: str
    line: int
    detail: str


class PartCount(Out):
    """Number of parts of the libraries on which a rule fired or could not be decided."""

    code: str
    severity: Severity
    title: str
    decided: bool = Field(description="False for parts on which the rule could not be decided.")
    parts: int
    first: list[str] = Field(description="First parts, each with the rule's message and its places.")


class InvalidPart(InvalidPartCount):
    """An invalid part with the first stacks that wait for it."""

    first: list[str] = Field(description="First stacks that are not judged for it, each with its place.")


class GapCount(Out):
    """A field of one kind of part that undecided rules lack."""

    of: str = Field(description="Kind of the part; machine, operation, joint or stack for what is no part.")
    field: str
    parts: int = Field(description="Number of such parts that lack it, told apart by part number, key or id.")
    stacks: int = Field(description="Number of stacks with a rule that lacks it.")
    decides: int = Field(description="Number of stacks where it alone would decide a rule.")
    rules: list[str] = Field(description="Codes of the rules that it alone would decide, else of those that lack it.")


class ShareCount(Out):
    """One bin of a distribution."""

    low: float
    high: float | None
    stacks: int


class Distribution(Out):
    """Distribution of one ratio over the stacks."""

    of: str = Field(
        description="'runout_share': runout, 95th percentile, over its limit. 'speed_ratio': lowest speed"
        " limit over programmed speed. Of the tightest operation; 1 is the limit."
    )
    bins: list[ShareCount]
    not_known: int = Field(description="Number of stacks without the ratio.")


class OpenFindings(Out):
    """Numbers of findings that neither baseline nor waiver covers; all of them if there is neither."""

    errors: int = Field(description="Findings that fail their stack.")
    warnings: int = Field(description="Findings that ask for a review.")
    undecided: int = Field(description="Undecided rules that ask for a review.")


class NotedFinding(Out):
    """A finding by its identity."""

    kind: Kind
    code: str
    severity: Severity
    stack: str | None = Field(description="Id of the stack; null for a part of the library.")
    message: str
    before: list[float | str | None] = Field(description="Observed value and limit of the earlier audit, if changed.")


class Against(Out):
    """Comparison with an earlier audit; lists hold the first findings: errors, warnings, undecided, advice."""

    audit: str = Field(description="File of the earlier audit.")
    same_rules: bool = Field(description="Whether the rulebooks are those of the earlier audit.")
    new: int
    updated: int = Field(description="Findings with other numbers, severity or missing data.")
    unchanged: int
    fixed: int = Field(description="Findings that are gone while their stack was judged.")
    gone: int = Field(description="Findings of stacks that were not judged this time.")
    first_new: list[NotedFinding]
    first_updated: list[NotedFinding]
    first_fixed: list[NotedFinding]
    first_gone: list[NotedFinding]


class WaiverOutcome(Out):
    """What became of one waiver."""

    code: str
    stack: str
    owner: str
    reason: str
    expires: str
    findings: int = Field(description="Number of findings that it covers.")
    said: str = Field(description="Why it covers nothing, or not all; empty if there is nothing to say.")


class AuditSummary(Out):
    """Summary of an audit."""

    libraries: list[LibraryCount]
    stacks: int = Field(description="Number of stacks judged.")
    verdicts: dict[Verdict, int] = Field(description="Numbers of stacks by verdict, zeros included.")
    after_waivers: dict[Verdict, int] = Field(description="Numbers of stacks by verdict without waived findings.")
    waived: int = Field(description="Number of waived findings.")
    in_baseline: int = Field(description="Number of findings that the baseline has.")
    open: OpenFindings
    parts_verdict: Verdict = Field(description="Worst verdict of the findings on parts and stack ids.")
    against: Against | None = Field(description="Null without an earlier audit.")
    waivers: list[WaiverOutcome]
    bad_lines: int
    faults: int = Field(description="Number of invalid lines caused by a program fault.")
    findings: list[CodeCount]
    undecided: list[CodeCount]
    runout_histogram: list[BinCount] = Field(description="Histogram of the 95th-percentile runout at the gauge plane.")
    runout_not_known: int = Field(description="Number of stacks without a complete runout budget.")
    distributions: list[Distribution]
    distinct_parts: int | None = Field(
        description="Number of distinct parts (by part number and data); null if standard input was read."
    )
    parts_left_out: int = Field(description="Parts beyond those that are compared.")
    stack_ids_left_out: int = Field(description="Stacks whose id is not compared with the others, beyond a bound.")
    parts: list[PartCount] = Field(description="Findings on single parts, by rule.")
    stacks_not_judged: int = Field(description="Number of stacks with an invalid part; their verdict is no pass.")
    invalid_parts: list[InvalidPart] = Field(description="Invalid parts, the one with most stacks first.")
    gaps: list[GapCount] = Field(description="Missing fields, the most decisive first.")
    gaps_left_out: int = Field(description="Missing fields beyond those that are listed.")
    worst: list[WorstStack]
    first_bad_lines: list[BadLine]
    version: str
    rulebook_sha256: str
    catalogue_sha256: str | None


BIN_UM: Final = 2
"""Width of a bin, µm."""

BINS: Final = 51
"""Number of bins: fifty up to 100 µm and one above."""


def bin_of(p95_um: float) -> int:
    """Return the bin of a runout; a value on an edge belongs to the bin above.

    >>> bin_of(0.0), bin_of(1.999), bin_of(2.0), bin_of(1e9)
    (0, 0, 1, 50)
    """
    return min(int(p95_um / BIN_UM), BINS - 1)


def bin_words(place: int) -> str:
    """Return the range of a bin as text, µm.

    >>> bin_words(0), bin_words(50)
    ('0 to 2', '100 and more')
    """
    low = place * BIN_UM
    return f"{low} and more" if place == BINS - 1 else f"{low} to {low + BIN_UM}"


SHARE_BINS: Final = {"runout_share": (0.1, 21), "speed_ratio": (0.25, 17)}
"""Width and number of the bins of a ratio; the last one has no end."""

NOTED_TOLD: Final = 50
WORST_TOLD: Final = 10
GAPS_TOLD: Final = 20
MOST_PARTS: Final = 5000
"""Most parts that are told apart for one missing field."""

BAD_LINES_TOLD: Final = 20
WAITING_TOLD: Final = 10
PARTS_TOLD: Final = 5

_LONGEST_DETAIL: Final = 300
_PARTS_TOLD: Final = 3


class _Waiting:
    """Stacks that wait for an invalid part."""

    def __init__(self, stacks: int = 0, places: Iterable[str] = (), first: Iterable[str] = ()) -> None:
        self.stacks = stacks
        self.places = list(places)
        """First places that define it or refer to it."""
        self.first = list(first)

    def add(self, place: str, name: str | None, *, is_stack: bool) -> None:
        """Take in a stack, or the line that defines the part."""
        if len(self.places) < PARTS_TOLD:
            self.places.append(place)
        if is_stack:
            self.stacks += 1
            if len(self.first) < WAITING_TOLD:
                self.first.append(f"{name or 'unnamed stack'} ({place})")


class _GapTally:
    """Running totals of one missing field."""

    def __init__(self) -> None:
        self.stacks = self.decides = 0
        self.parts: set[str] = set()
        self.alone: set[str] = set()
        self.beside: set[str] = set()

    def add(self, found: Iterable[FieldGap]) -> None:
        """Count the gaps of one stack."""
        self.stacks += 1
        self.decides += any(one.alone for one in found)
        for one in found:
            if one.part and len(self.parts) < MOST_PARTS:
                self.parts.add(one.part)
            self.alone.update(one.alone)
            self.beside.update(one.beside)

    def dump(self) -> list[Any]:
        """The totals as JSON values."""
        return [self.stacks, self.decides, sorted(self.parts), sorted(self.alone), sorted(self.beside)]

    @classmethod
    def load(cls, dumped: Sequence[Any]) -> _GapTally:
        """Restore the totals of :meth:`dump`."""
        made = cls()
        made.stacks, made.decides = int(dumped[0]), int(dumped[1])
        made.parts, made.alone, made.beside = (set(one) for one in dumped[2:])
        return made


class Tally:
    """Running totals of an audit, in bounded memory."""

    def __init__(
        self,
        book: Rulebook,
        catalogue_sha256: str | None,
        libraries: Sequence[str],
        standing: Standing = NOTHING_KNOWN,
    ) -> None:
        self._book = book
        self.standing = standing
        self._after_waivers: Counter[str] = Counter()
        self._open: Counter[str] = Counter()
        self._states: Counter[str] = Counter()
        self._noted: dict[str, list[list[Any]]] = {"new": [], "updated": []}
        self._shares = {name: [0] * (bins + 1) for name, (_, bins) in SHARE_BINS.items()}
        self._parts_verdict: Verdict = "pass"
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
        self._gaps: dict[tuple[str, str], _GapTally] = {}
        self._not_judged = 0
        self._invalid: dict[InvalidUse, _Waiting] = {}
        self._worst: list[tuple[tuple[float, ...], dict[str, Any]]] = []
        self._first_bad: list[tuple[int, int, str]] = []
        self._parts: LibraryParts | None = None
        self._part_counts: list[PartCount] = []
        self._severities = {rule.code: rule.severity for rule in book.rules}

    def add(self, library: int, answer: LineAnswer, marks: Sequence[Mark] | None = None) -> None:
        """Count one result of the library with this index, and the marks of its findings, found here if not given."""
        marks = self.standing.marks(answer) if marks is None else marks
        for part in answer.invalid:
            place = f"{self._libraries[library]}, line {answer.number}"
            waiting = self._invalid.setdefault(part, _Waiting())
            waiting.add(place, answer.stack, is_stack=answer.verdict is not None)
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
        if answer.invalid:
            # Without its part a stack has no runout or findings to rank it by.
            self._not_judged += 1
        else:
            self._weigh(library, answer)
        self._add_gaps(answer)
        self._after_waivers[standing_verdict(answer, marks, baseline=False)] += 1
        self._add_share("runout_share", answer.runout_share)
        self._add_share("speed_ratio", answer.speed_ratio)
        for item, mark in zip(answer.items, marks, strict=True):
            self._add_item(item, mark, answer.stack)

    def _add_share(self, name: str, value: float | None) -> None:
        width, bins = SHARE_BINS[name]
        self._shares[name][bins if value is None else min(max(int(value / width), 0), bins - 1)] += 1

    def _add_item(self, item: AuditItem, mark: Mark, stack: str | None) -> None:
        self._open["waived"] += mark.waiver is not None
        self._open["in_baseline"] += mark.in_baseline
        if item.weight != "pass" and not mark.covered and not self._is_old(mark):
            kind = "errors" if item.weight == "fail" else "warnings" if item.kind == "finding" else "undecided"
            self._open[kind] += 1
        if mark.state is None:
            return
        self._states[mark.state] += 1
        if mark.state in self._noted:
            first = self._noted[mark.state]
            rank = _rank(item)
            noted = [rank, item.kind, item.code, item.severity, stack, item.message, list(mark.before or ())]
            if len(first) < NOTED_TOLD or rank < first[-1][0]:
                insort(first, noted, key=lambda one: one[0])
                del first[NOTED_TOLD:]

    def _is_old(self, mark: Mark) -> bool:
        """Return whether a finding is known from the earlier audit, which counts where there is no baseline."""
        return self.standing.baseline is None and mark.state in ("unchanged", "updated")

    def _add_gaps(self, answer: LineAnswer) -> None:
        by_field: dict[tuple[str, str], list[FieldGap]] = {}
        for one in answer.gaps:
            by_field.setdefault((one.of, one.field), []).append(one)
        for key, found in by_field.items():
            self._gaps.setdefault(key, _GapTally()).add(found)

    def _invalid_counts(self) -> list[tuple[InvalidUse, InvalidPartCount]]:
        return invalid_part_counts({part: one.stacks for part, one in self._invalid.items()})

    def invalid_findings(self) -> Iterator[PartFinding]:
        """Yield a finding for each invalid part, once, however many stacks wait for it."""
        for part, told in self._invalid_counts():
            name = told.part or "a part"
            many = count(told.stacks, "stack") if told.stacks else "No stack"
            wait = f"{many} {'wait' if told.stacks > 1 else 'waits'} for it."
            yield PartFinding(
                code=NOT_USABLE,
                severity="warning",
                title="Part with invalid data",
                part=name,
                message=f"{name} of the {told.source} is invalid: {told.reason}. {wait}",
                remedy=f"Correct {name} in the {told.source}, and audit again.",
                places=tuple(self._invalid[part].places),
                decided=True,
            )

    def add_parts(
        self, parts: LibraryParts | None, found: Iterable[PartFinding]
    ) -> list[tuple[PartFinding, AuditItem, Mark]]:
        """Take in the distinct parts of the libraries and what is found on them; return it with its marks.

        Parts are None where they cannot be compared. Invalid parts have a list of their own in the summary.
        """
        counts: dict[tuple[str, bool], PartCount] = {}
        listed = list(found)
        items = [item_of_part(one) for one in listed]
        marks = self.standing.marked(items, None)
        for one, item, mark in zip(listed, items, marks, strict=True):
            self._add_item(item, mark, None)
            self._parts_verdict = max(self._parts_verdict, item.weight, key=VERDICTS.index)
            if one.code == NOT_USABLE:
                continue
            key = one.code, one.decided
            before = counts.get(key)
            first = [] if before is None else before.first
            if len(first) < PARTS_TOLD:
                first = [*first, f"{one.message} ({', '.join(one.places)})"]
            counts[key] = PartCount(
                code=one.code,
                severity=one.severity,
                title=one.title,
                decided=one.decided,
                parts=1 if before is None else before.parts + 1,
                first=first,
            )
        self._parts = parts
        self._part_counts = sorted(
            counts.values(), key=lambda one: (not one.decided, -SEVERITIES.index(one.severity), -one.parts, one.code)
        )
        return list(zip(listed, items, marks, strict=True))

    def of_severity(self, codes: Iterable[str], severity: str) -> list[str]:
        """The codes with this severity."""
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
        # Ties go by place in the libraries, so that the order is deterministic.
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
        """The totals as JSON values."""
        return {
            "stacks": self.stacks,
            "bad": self.bad,
            "faults": self.faults,
            "verdicts": dict(self.verdicts),
            "findings": dict(self._findings),
            "undecided": dict(self._undecided),
            "bins": self._bins,
            "unknown": self._unknown,
            "gaps": [[*key, *one.dump()] for key, one in sorted(self._gaps.items())],
            "not_judged": self._not_judged,
            "invalid": [[*key, one.stacks, one.places, one.first] for key, one in self._invalid.items()],
            "worst": self._worst,
            "first_bad": self._first_bad,
            "after_waivers": dict(self._after_waivers),
            "open": dict(self._open),
            "states": dict(self._states),
            "noted": self._noted,
            "shares": self._shares,
            "standing": self.standing.dump(),
        }

    def load(self, dumped: Mapping[str, Any]) -> None:
        """Restore the totals of :meth:`dump`."""
        self.stacks, self.bad, self.faults = list(dumped["stacks"]), list(dumped["bad"]), int(dumped["faults"])
        self.verdicts = Counter(dumped["verdicts"])
        self._findings, self._undecided = Counter(dumped["findings"]), Counter(dumped["undecided"])
        self._bins, self._unknown = list(dumped["bins"]), int(dumped["unknown"])
        self._worst = [(tuple(rank), told) for rank, told in dumped["worst"]]
        self._gaps = {(of, name): _GapTally.load(rest) for of, name, *rest in dumped["gaps"]}
        self._first_bad = [(int(place), int(line), str(detail)) for place, line, detail in dumped["first_bad"]]
        self._after_waivers, self._open = Counter(dumped["after_waivers"]), Counter(dumped["open"])
        self._states, self._noted = Counter(dumped["states"]), dumped["noted"]
        self._shares = dumped["shares"]
        self.standing.load(dumped["standing"])
        self._not_judged = int(dumped["not_judged"])
        self._invalid = {InvalidUse(*rest[:3]): _Waiting(*rest[3:]) for rest in dumped["invalid"]}

    def summary(self) -> AuditSummary:
        """The summary so far."""
        return AuditSummary(
            libraries=[
                LibraryCount(library=name, stacks=stacks, bad_lines=bad)
                for name, stacks, bad in zip(self._libraries, self.stacks, self.bad, strict=True)
            ],
            stacks=sum(self.stacks),
            verdicts={verdict: self.verdicts[verdict] for verdict in get_args(Verdict)},
            after_waivers={verdict: self._after_waivers[verdict] for verdict in get_args(Verdict)},
            waived=self._open["waived"],
            in_baseline=self._open["in_baseline"],
            open=OpenFindings(
                errors=self._open["errors"], warnings=self._open["warnings"], undecided=self._open["undecided"]
            ),
            parts_verdict=self._parts_verdict,
            against=self._against(),
            waivers=[
                WaiverOutcome(
                    **one.waiver.model_dump(include={"code", "stack", "owner", "reason", "expires"}),
                    findings=one.used,
                    said=one.outcome,
                )
                for one in self.standing.waivers
            ],
            bad_lines=sum(self.bad),
            faults=self.faults,
            findings=self._counts(self._findings),
            undecided=self._counts(self._undecided),
            runout_histogram=[
                BinCount(from_um=place * BIN_UM, to_um=(place + 1) * BIN_UM if place < BINS - 1 else None, stacks=count)
                for place, count in enumerate(self._bins)
            ],
            runout_not_known=self._unknown,
            distributions=[_distribution(name, counts) for name, counts in self._shares.items()],
            distinct_parts=None if self._parts is None else len(self._parts),
            parts_left_out=0 if self._parts is None else self._parts.left_out,
            stack_ids_left_out=0 if self._parts is None else self._parts.stacks_left_out,
            parts=self._part_counts,
            stacks_not_judged=self._not_judged,
            invalid_parts=[
                InvalidPart(**told.model_dump(), first=self._invalid[part].first)
                for part, told in self._invalid_counts()
            ],
            gaps=self._gap_counts()[:GAPS_TOLD],
            gaps_left_out=max(0, len(self._gaps) - GAPS_TOLD),
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

    def _against(self) -> Against | None:
        earlier = self.standing.earlier
        if earlier is None:
            return None
        absent = list(earlier.absent())
        fixed = [one for one, judged in absent if judged]
        gone = [one for one, judged in absent if not judged]
        noted = {
            name: [
                NotedFinding(kind=kind, code=code, severity=severity, stack=stack, message=message, before=before)
                for _, kind, code, severity, stack, message, before in first
            ]
            for name, first in self._noted.items()
        }
        return Against(
            audit=earlier.name,
            same_rules=earlier.rules == self._book.digest,
            new=self._states["new"],
            updated=self._states["updated"],
            unchanged=self._states["unchanged"],
            fixed=len(fixed),
            gone=len(gone),
            first_new=noted["new"],
            first_updated=noted["updated"],
            first_fixed=_first_noted(fixed),
            first_gone=_first_noted(gone),
        )

    def _gap_counts(self) -> list[GapCount]:
        """The gaps by the stacks that they decide, then by the stacks that lack them."""
        counts = [
            GapCount(
                of=of,
                field=name,
                parts=len(one.parts),
                stacks=one.stacks,
                decides=one.decides,
                rules=sorted(one.alone or one.beside),
            )
            for (of, name), one in self._gaps.items()
        ]
        return sorted(counts, key=lambda one: (-one.decides, -one.stacks, one.of, one.field))

    def _counts(self, counted: Counter[str]) -> list[CodeCount]:
        """The counts by severity, then by number of stacks."""
        counts = [
            CodeCount(code=code, severity=rule.severity, title=rule.title, stacks=stacks)
            for code, stacks in counted.items()
            for rule in [self._book.rule(code)]
        ]
        return sorted(counts, key=lambda one: (-SEVERITIES.index(one.severity), -one.stacks, one.code))


def _distribution(name: str, counts: Sequence[int]) -> Distribution:
    width, bins = SHARE_BINS[name]
    ends = [round(place * width, 6) for place in range(bins + 1)]
    return Distribution(
        of=name,
        bins=[
            ShareCount(low=ends[place], high=ends[place + 1] if place < bins - 1 else None, stacks=counts[place])
            for place in range(bins)
        ],
        not_known=counts[bins],
    )


def _rank(one: AuditItem | EarlierItem) -> int:
    """Return a number that is least for the gravest: errors, warnings, undecided rules, advice."""
    if one.kind == "undecided":
        return 2
    if one.code == NOT_USABLE:
        return 0  # it comes before the many stacks that wait for it
    return {"error": 0, "warning": 1, "advice": 3}[one.severity]


def _first_noted(items: Sequence[EarlierItem]) -> list[NotedFinding]:
    graver = sorted(items, key=_rank)[:NOTED_TOLD]
    return [
        NotedFinding(
            kind=one.kind, code=one.code, severity=one.severity, stack=one.stack, message=one.message, before=[]
        )
        for one in graver
    ]


def item_of_part(one: PartFinding) -> AuditItem:
    """Return what a rule found on a part, or could not decide, as a finding of the audit."""
    weights: dict[Severity, Verdict] = {"error": "fail", "warning": "review", "advice": "pass"}
    weight = weights[one.severity] if one.decided else "review"
    kind: Kind = "finding" if one.decided else "undecided"
    return AuditItem(
        identity=identity_of(kind, None, one.code, [one.part]),
        kind=kind,
        code=one.code,
        severity=one.severity,
        weight=weight,
        message=one.message,
        remedy=one.remedy,
        parts=(StackPart(one.part, one.part),),
    )


def problem_words(text: bytes) -> tuple[str, bool]:
    """The fault of an invalid line in one line, and whether it is a program fault."""
    problem = json.loads(text)["problem"]
    parts = [part for part in problem.get("errors", ()) if part["at"]]
    words = "; ".join(f"{part['at'][0]} {part['detail']}".lstrip() for part in parts[:_PARTS_TOLD])
    more = f"; and {len(parts) - _PARTS_TOLD} more" if len(parts) > _PARTS_TOLD else ""
    return words + more or str(problem["detail"]), problem["code"] == "internal-fault"


_LONGEST_BAR: Final = 40


def print_audit(summary: AuditSummary, console: Console) -> None:
    """Print the summary."""
    for line in summary_lines(summary):
        word = line.split(" ", 1)[0].lower()
        text = Text(line.strip())
        if word in STYLES and line[:1].isupper():
            text.stylize(STYLES[word], 0, len(word))
        say(text, console, len(line) - len(line.lstrip()))


def summary_lines(summary: AuditSummary) -> Iterator[str]:
    """Yield the lines of the summary."""
    judged = summary.stacks or 1
    stacks = f"{count(summary.stacks, 'stack')}{not_judged_words(summary)}"
    yield f"{stacks}, {count(summary.bad_lines, 'invalid line')}"
    verdicts = (
        ("Pass", summary.verdicts["pass"]),
        ("Review", summary.verdicts["review"]),
        ("Fail", summary.verdicts["fail"]),
    )
    for word, many in verdicts:
        yield f"{word:6} {many:>9}  {100 * many / judged:5.1f} %"
    yield from _open_lines(summary)
    if summary.against is not None:
        yield from _against_lines(summary.against)
    yield from _headed("Waivers", map(_waiver, summary.waivers))
    yield from _headed("Not judged for an invalid part, number of stacks", map(_invalid, summary.invalid_parts))
    yield from _headed("Findings, number of stacks", starmap(_code, _pairs(summary.findings)))
    yield from _headed("Undecided, number of stacks", starmap(_code, _pairs(summary.undecided)))
    yield from _headed(
        "95th-percentile runout at the gauge plane, µm, number of stacks; empty bins omitted",
        _bars(summary),
    )
    yield from _headed(parts_title(summary), _parts(summary))
    yield from _headed(gaps_title(summary), starmap(_gap, ((one, len(str(summary.stacks))) for one in summary.gaps)))
    yield from _headed("Worst stacks", map(_worst, summary.worst))
    told = (f"{one.library}, line {one.line}: {one.detail}" for one in summary.first_bad_lines)
    more = summary.bad_lines - len(summary.first_bad_lines)
    yield from _headed("Invalid lines" if more == 0 else f"Invalid lines, first {len(summary.first_bad_lines)}", told)


def not_judged_words(summary: AuditSummary) -> str:
    """Return what follows the number of stacks."""
    return f", {summary.stacks_not_judged} of them not judged" if summary.stacks_not_judged else " judged"


def _open_lines(summary: AuditSummary) -> Iterator[str]:
    if summary.waived:
        left = summary.after_waivers
        yield (
            f"{count(summary.waived, 'finding')} waived; without them {left['pass']} pass, {left['review']} review,"
            f" {left['fail']} fail"
        )
    if summary.in_baseline:
        yield f"{count(summary.in_baseline, 'finding')} in the baseline"
    if summary.waived or summary.in_baseline or summary.against is not None:
        yield f"To deal with: {open_words(summary.open)}"


def open_words(one: OpenFindings) -> str:
    """Return the numbers of findings that count.

    >>> open_words(OpenFindings(errors=1, warnings=0, undecided=20))
    '1 error, 0 warnings, 20 undecided rules'
    """
    undecided = count(one.undecided, "undecided rule")
    return f"{count(one.errors, 'error')}, {count(one.warnings, 'warning')}, {undecided}"


def against_words(one: Against) -> str:
    """Return the counts of a comparison with an earlier audit."""
    gone = f", {one.gone} of stacks not judged this time" if one.gone else ""
    rules = "" if one.same_rules else "; the rulebooks have changed"
    return f"{one.new} new, {one.updated} changed, {one.fixed} fixed, {one.unchanged} unchanged{gone}{rules}"


def _against_lines(one: Against) -> Iterator[str]:
    yield ""
    yield f"Differences from {one.audit}: {against_words(one)}"
    for word, many, first in (
        ("new", one.new, one.first_new),
        ("changed", one.updated, one.first_updated),
        ("fixed", one.fixed, one.first_fixed),
        ("not judged", one.gone, one.first_gone),
    ):
        for noted in first[:_NOTED_IN_TEXT]:
            yield f"  {word}  {noted_words(noted)}"
        if many > _NOTED_IN_TEXT:
            yield f"  {word}  and {many - _NOTED_IN_TEXT} more"


_NOTED_IN_TEXT: Final = 20


def noted_words(one: NotedFinding) -> str:
    """Return a finding of a comparison in one line.

    >>> fields = {"kind": "finding", "code": "RUN-010", "severity": "error", "stack": "T-1", "message": "13 µm."}
    >>> noted_words(NotedFinding(**fields, before=[12.0, 10.0]))
    'error RUN-010 T-1: 13 µm. Before: 12.0, limit 10.0.'
    """
    word = one.severity if one.kind == "finding" else "undecided"
    return f"{word} {one.code} {one.stack or 'library'}: {one.message}{before_words(one)}"


def before_words(one: NotedFinding) -> str:
    """Return observed value and limit of the earlier audit, where they have changed."""
    observed, limit = (*one.before, None, None)[:2]
    if observed is None:
        return ""
    return f" Before: {observed}" + ("." if limit is None else f", limit {limit}.")


def _waiver(one: WaiverOutcome) -> str:
    said = f"; {one.said}" if one.said else ""
    many = count(one.findings, "finding")
    return f"{one.code} {one.stack}: covers {many}, until {one.expires}, {one.owner} ({one.reason}){said}"


def _invalid(one: InvalidPart) -> str:
    return f"{one.stacks:>6}  {one.part or 'a part'} of the {one.source}: {one.reason}"


def parts_title(summary: AuditSummary) -> str:
    """Return the heading of the findings on single parts."""
    left = f", {summary.parts_left_out} more not compared" if summary.parts_left_out else ""
    ids = f"; {summary.stack_ids_left_out} stack ids not compared" if summary.stack_ids_left_out else ""
    return f"Parts and stack ids, {summary.distinct_parts} distinct parts{left}{ids}"


def gaps_title(summary: AuditSummary) -> str:
    """Return the heading of the missing fields."""
    left = f"; {summary.gaps_left_out} more fields" if summary.gaps_left_out else ""
    return f"Missing data, number of stacks on which it alone would decide a rule{left}"


def _gap(one: GapCount, width: int) -> str:
    """Return a missing field in words.

    >>> _gap(GapCount(of="base_holder", field="mass_kg", parts=12, stacks=4400, decides=4300, rules=["MCH-010"]), 5)
    ' 4300  mass (kg) of 12 base holders, missing on 4400 stacks (MCH-010)'
    """
    codes = ", ".join(one.rules[:_CODES_TOLD]) + (", …" if len(one.rules) > _CODES_TOLD else "")
    return f"{one.decides:>{width}}  {gap_words(one)}, missing on {count(one.stacks, 'stack')} ({codes})"


def gap_words(one: GapCount) -> str:
    """Return a missing field and what it belongs to.

    >>> gap_words(GapCount(of="joint", field="grip_length_mm", parts=0, stacks=1, decides=1, rules=[]))
    'grip length (mm) of joint'
    """
    kind = one.of.replace("_", " ")
    steps = one.field.split(".")
    name = quantity(steps[-1]) + "".join(f", {step.replace('_', ' ')}" for step in reversed(steps[:-1]))
    return f"{name} of {count(one.parts, kind) if one.parts else kind}"


_CODES_TOLD: Final = 6


def _parts(summary: AuditSummary) -> Iterator[str]:
    for one in summary.parts:
        kind = one.severity if one.decided else "undecided"
        yield f"{one.parts:>6}  {one.code}  {kind}: {one.title}"
        yield from (f"          {text}" for text in one.first)


def _headed(title: str, lines: Iterator[str]) -> Iterator[str]:
    first = next(lines, None)
    if first is None:
        return
    yield ""
    yield title
    yield f"  {first}"
    yield from (f"  {line}" for line in lines)


def _pairs(counts: Sequence[CodeCount]) -> Iterator[tuple[CodeCount, int]]:
    width = max((len(str(one.stacks)) for one in counts), default=0)
    return ((one, width) for one in counts)


def _code(one: CodeCount, width: int) -> str:
    return f"{one.stacks:>{width}}  {one.code}  {one.severity}: {one.title}"


def _bars(summary: AuditSummary) -> Iterator[str]:
    bins = summary.runout_histogram
    most = max(one.stacks for one in bins)
    width = len(str(max(most, summary.runout_not_known)))
    for place, one in enumerate(bins):
        if one.stacks:
            bar = "#" * -(-_LONGEST_BAR * one.stacks // most)
            yield f"{bin_words(place):>12}  {one.stacks:>{width}}  {bar}"
    if summary.runout_not_known:
        yield f"{'not known':>12}  {summary.runout_not_known:>{width}}"


def _worst(one: WorstStack) -> str:
    codes = ", ".join((*one.errors, *one.warnings)) or "no errors or warnings"
    name = one.stack or "unnamed stack"
    return (
        f"{one.verdict}  {name} ({one.library}, line {one.line}): {codes};"
        f" runout {fixed(one.gauge_plane_p95_um, 1, ' µm')}"
    )
