"""A report as plain text, made to be read on a terminal or in a log; nothing depends on colour."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from rules.schema.report import Finding, PlaneReport, Report, RunoutReport, Undecided
from service.report.assembly_text import print_assembly
from service.report.changes_text import CHANGED, changes
from service.report.layout import (
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
from service.report.mechanics_text import print_mechanics

__all__ = ["print_report", "report_text"]


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
