"""A report as plain text, made to be read on a terminal or in a log; nothing depends on colour.

What was changed against the rulebooks, in lines of plain text.

A verdict or a decision by milder rules must not look like any other.

The work instruction as plain text: steps to tick off, acceptance, record to sign, disassembly.

The parts of the page that say where everything lies and how true it runs.

The part of the page that is the work instruction: values to set, and the record to fill in and sign.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from markupsafe import Markup
from rich.console import Console
from rich.text import Text

from rules.analysis import StackAnalysis
from rules.schema.report import (
    AcceptanceReport,
    AssemblyReport,
    AssemblyStep,
    AssemblyValue,
    Finding,
    PlaneReport,
    PositionReport,
    Provenance,
    RecordField,
    Report,
    RunoutReport,
    ThresholdReport,
    Undecided,
)
from service.sheets.figures import Fact, Row, Table, bounds, fact, figure, quantity, share, unit_sign
from service.sheets.mechanics import print_mechanics
from service.sheets.text import (
    STYLES,
    PlainText,
    count,
    fixed,
    heading,
    lacking,
    number,
    percent,
    say,
    section,
    table,
)

__all__ = [
    "CHANGED",
    "acceptance_facts",
    "blanks",
    "changes",
    "contributors_table",
    "parts_table",
    "planes_table",
    "print_assembly",
    "print_report",
    "report_text",
    "signatures",
    "step_values",
    "thresholds",
    "where_of",
]


CHANGED = "Judged by changed rules"
"""What stands above the lines."""


def changes(provenance: Provenance) -> list[str]:
    """Thresholds of the request's policy, then severities and rules of an operator's books; empty for most."""
    return [
        *thresholds(provenance.thresholds_changed),
        *(
            f"{one.code}  a safety rule, {one.from_severity} lowered to {one.to_severity} by {one.book}"
            for one in provenance.severities_lowered
        ),
        *(
            f"{one.code}  {'a safety rule, ' if one.safety else ''}replaced by {one.book}"
            for one in provenance.rules_replaced
        ),
    ]


def thresholds(changed: Iterable[ThresholdReport]) -> list[str]:
    """A line for each threshold that a policy changed."""
    return [
        f"{one.code}  {quantity(one.threshold)}: {number(one.value)} by the request's policy,"
        f" {number(one.rulebook_value)} in the rulebook"
        for one in changed
    ]


def print_assembly(assembly: AssemblyReport, console: Console) -> None:
    """Print the steps, when to accept, the record and how to take apart, in this order."""
    title = "Assembly" if assembly.buildable else "Assembly, which cannot be finished as the stack stands"
    _steps(title, assembly.steps, console)
    section("Acceptance", _acceptance(assembly.acceptance), console)
    section("Record", [_blank(one) for one in assembly.record], console)
    _steps("Disassembly", assembly.disassembly, console)


def _steps(title: str, steps: Sequence[AssemblyStep], console: Console) -> None:
    if steps:
        heading(title, console)
    for step in steps:
        style = STYLES["error"] if step.action == "stop" else "bold"
        where = f" {step.joint}" if step.joint else ""
        say(Text.assemble(f"{step.number:2}  ", (f"{step.action}{where}", style), f": {step.text}"), console, 2)
        for caution in step.caution:
            say(Text(f"Caution: {caution}", style=STYLES["warning"]), console, 6)
        if step.from_maker:
            say(Text(f"By the maker: {', '.join(step.from_maker)}."), console, 6)
        if step.not_stated:
            say(Text(f"Not stated: {', '.join(step.not_stated)}"), console, 6)


def _acceptance(one: AcceptanceReport) -> list[str]:
    lines = [one.rule]
    if one.expected_p50_um is not None and one.expected_p95_um is not None:
        expected = f"{number(one.expected_p50_um)} µm, 95 % less than {number(one.expected_p95_um)} µm"
        lines.append(f"Half of such assemblies read less than {expected}.")
    return lines


def _blank(one: RecordField) -> str:
    joint = "" if one.joint is None else f" {one.joint}"
    unit = "" if one.unit is None else f" {unit_sign(one.unit)}"
    wanted = [
        f"{words}{number(value)}"
        for words, value in (("", one.target), ("at least ", one.at_least), ("at most ", one.at_most))
        if value is not None
    ]
    told = f" ({', '.join(wanted)})" if wanted else ""
    return f"{one.name}{joint}{told}: ________{unit}"


def print_report(report: Report, console: Console) -> None:
    """Print verdict, findings with remedies, gaps, budget, mechanics, cautions, in this order."""
    _verdict(report, console)
    section(CHANGED, changes(report.provenance), console)
    _findings(report.findings, console)
    _undecided(report.undecided, console)
    _runout(report.runout, console)
    print_mechanics(report, console)
    if report.assembly is not None:
        print_assembly(report.assembly, console)
    section("Cautions", report.cautions, console)


def report_text(report: Report) -> str:
    """Return what :func:`print_report` prints, without colour and in lines of a fixed width."""
    out = PlainText()
    print_report(report, out.console)
    return out.text()


def _verdict(report: Report, console: Console) -> None:
    summary = report.summary
    verdict = (report.verdict.upper(), STYLES[report.verdict])
    say(Text.assemble(verdict, "  ", (report.stack or "unnamed stack", "bold")), console)
    counts = (
        count(summary.errors, "error"),
        count(summary.warnings, "warning"),
        f"{summary.advice} advice",
        f"{summary.undecided} undecided",
        f"{count(summary.decided, 'rule')} decided",
    )
    say(Text(", ".join(counts)), console)


def _findings(findings: Sequence[Finding], console: Console) -> None:
    if findings:
        heading("Findings", console)
    for one in findings:
        severity = (one.severity, STYLES[one.severity])
        say(Text.assemble(severity, f"  {one.code}  ", (one.title, "bold")), console, 2)
        for line in (one.message, f"Remedy: {one.remedy}", f"Where: {', '.join(one.at)}"):
            say(Text(line), console, 6)


def _undecided(gaps: Sequence[Undecided], console: Console) -> None:
    if gaps:
        heading("Undecided", console)
    for gap in gaps:
        say(Text(f"{gap.code}  {gap.title} (would be: {gap.severity})"), console, 2)
        say(Text(f"Where: {', '.join(gap.at)}"), console, 6)
        for lack in gap.lacks:
            say(Text(lacking(lack)), console, 6)


def _runout(runout: RunoutReport, console: Console) -> None:
    planes = [
        (name, *_plane(plane))
        for name, plane in (("gauge plane", runout.gauge_plane), ("tip", runout.tip))
        if plane is not None
    ]
    if not (planes or runout.contributors or runout.not_stated):
        return
    heading("Runout, total indicator reading in µm", console)
    if runout.limit_um is not None:
        where = "gauge plane" if runout.limit_at == "gauge_plane" else "tip"
        say(Text(f"Limit {number(runout.limit_um)} at the {where}."), console, 2)
    if not runout.complete:
        say(Text("Not complete, so the figures are too small:"), console, 2)
        for lack in runout.not_stated:
            say(Text(lacking(lack)), console, 6)
    table(("plane", "from gauge line", "half below", "95 % below", "best", "worst", "in limit"), planes, console)
    table(
        ("contributor", "at gauge plane", "at tip", "share"),
        [
            (
                one.name,
                fixed(one.gauge_plane_tir_um, 1),
                fixed(one.tip_tir_um, 1),
                fixed(percent(one.gauge_plane_share), 0, " %"),
            )
            for one in runout.contributors
        ],
        console,
    )


def _plane(plane: PlaneReport) -> tuple[str, ...]:
    return (
        fixed(plane.z_mm, 2, " mm"),
        fixed(plane.p50_um, 1),
        fixed(plane.p95_um, 1),
        fixed(plane.best_clocking_um, 1),
        fixed(plane.worst_case_um, 1),
        fixed(percent(plane.probability_within_limit), 1, " %"),
    )


_LAWS: Final = {"limit": "at its limit", "capability": "95 % keep it", "measured": "measured"}


def where_of(limit_at: str) -> str:
    """Name the plane of a limit."""
    return limit_at.replace("_", " ")


def parts_table(report: Report, derived: StackAnalysis) -> Table | None:
    """List the parts in the order they are joined, with knobs last; nothing where the stack is not known."""
    rows = tuple(_parts(report, derived))
    if not rows:
        return None
    heads = ("Part", "Part number", "Kind", "From, mm", "To, mm")
    return Table("From the spindle side; distances count from the gauge line.", heads, rows, words=3)


def _parts(report: Report, derived: StackAnalysis) -> Iterator[Row]:
    places: list[PositionReport | None] = [*report.geometry.components]
    places += [None] * len(derived.chain.knobs)
    for link, place in zip((*derived.chain.links, *derived.chain.knobs), places, strict=True):
        part = link.part
        ends = ("", "") if place is None else (figure(place.from_mm), figure(place.to_mm))
        number = Markup("<bdi>{}</bdi>").format(part.part_number) if part.part_number else "not stated"
        yield Row((part.id, number, part.kind.replace("_", " "), *ends))


def planes_table(runout: RunoutReport) -> Table | None:
    """Tell the predicted readings; nothing where no plane is known."""
    planes = (("gauge plane", runout.gauge_plane), ("tip", runout.tip))
    rows = tuple(_plane_cell(name, plane, runout.limit_at) for name, plane in planes if plane is not None)
    heads = (
        "Plane",
        "From gauge line, mm",
        "Half below",
        "95 % below",
        "Best clocking",
        "Worst case",
        "In limit",
    )
    known = "" if runout.complete else ", from what is stated only: true readings are larger"
    return Table(f"Predicted total indicator reading, µm{known}.", heads, rows) if rows else None


def _plane_cell(name: str, plane: PlaneReport, limit_at: str) -> Row:
    within = plane.probability_within_limit
    return Row(
        (
            name,
            figure(plane.z_mm),
            figure(plane.p50_um, decimals=1),
            figure(plane.p95_um, decimals=1),
            figure(plane.best_clocking_um, decimals=1),
            "no hard limit" if plane.worst_case_um is None else figure(plane.worst_case_um, decimals=1),
            "no limit asked" if within is None else share(within, 1),
        ),
        marked=within is not None and where_of(limit_at) == name,
    )


def contributors_table(runout: RunoutReport) -> Table | None:
    """Tell what each part adds; nothing where no contributor is known."""
    rows = tuple(
        Row(
            (
                one.name,
                _LAWS[one.law] + (", direction known" if one.direction_known else ""),
                figure(one.gauge_plane_tir_um, decimals=1),
                figure(one.tip_tir_um, decimals=1),
                share(one.gauge_plane_share),
            )
        )
        for one in runout.contributors
    )
    caption = "What each contributor reads alone, µm, and its share of the mean square at the gauge plane."
    heads = ("Contributor", "How it is known", "At gauge plane", "At tip", "Share")
    return Table(caption, heads, rows, words=2) if rows else None


Blank = tuple[str, str, str, str]
"""What to fill in: name, joint, what is wanted, unit."""

_SIGNED: Final = frozenset({"operator", "date", "signature"})


def step_values(values: Sequence[AssemblyValue]) -> Sequence[Fact]:
    """Tell the numbers of a step."""
    return [Fact(one.name, bounds(one.value, one.at_least, one.at_most, unit_sign(one.unit))) for one in values]


def acceptance_facts(one: AcceptanceReport) -> Sequence[Fact]:
    """Tell where to read and what to expect."""
    face = f"distance from the face of {one.face_of}" if one.face_of else "distance from the last clamping face"
    figures = (
        ("limit", one.limit_um, "µm"),
        (face, one.distance_mm, "mm"),
        ("plane from the gauge line", one.plane_mm, "mm"),
        ("half of such assemblies read less than", one.expected_p50_um, "µm"),
        ("95 % of such assemblies read less than", one.expected_p95_um, "µm"),
    )
    told = [fact(name, value, unit) for name, value, unit in figures if value is not None]
    return [Fact("read at the", where_of(one.limit_at)), *told]


def blanks(assembly: AssemblyReport) -> Sequence[Blank]:
    """List what is filled in while building and measuring."""
    return [_blank_cell(one) for one in assembly.record if one.name not in _SIGNED]


def _blank_cell(one: RecordField) -> Blank:
    sign = unit_sign(one.unit)
    return one.name, one.joint or "", bounds(one.target, one.at_least, one.at_most, sign), sign


def signatures(assembly: AssemblyReport) -> Sequence[str]:
    """List what is filled in at the end."""
    return [one.name for one in assembly.record if one.name in _SIGNED]
