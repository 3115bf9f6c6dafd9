"""A report as plain text, made to be read on a terminal or in a log; nothing depends on colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import Console
from rich.text import Text

from rules.model.report import Finding, LackingFact, PlaneReport, Report, RunoutReport, SpeedLimit, Undecided

__all__ = ["print_report"]

_STYLES: Final = {
    "pass": "bold green",
    "review": "bold yellow",
    "fail": "bold red",
    "error": "red",
    "warning": "yellow",
    "advice": "cyan",
}

_LONGEST_NAME: Final = 40
"""Longer names in the first column of a table get a line of their own."""


def print_report(report: Report, console: Console) -> None:
    """Print verdict, findings with remedies, gaps, budget, speed, balance, grip, cautions, in this order."""
    _verdict(report, console)
    _findings(report.findings, console)
    _undecided(report.undecided, console)
    _runout(report.runout, console)
    _speed(report, console)
    _balance_and_mass(report, console)
    _grip(report, console)
    _section("Cautions", report.cautions, console)


def _verdict(report: Report, console: Console) -> None:
    summary = report.summary
    verdict = (report.verdict.upper(), _STYLES[report.verdict])
    _say(Text.assemble(verdict, "  ", (report.stack or "unnamed stack", "bold")), console)
    counts = (
        _count(summary.errors, "error"),
        _count(summary.warnings, "warning"),
        f"{summary.advice} advice",
        f"{summary.undecided} undecided",
        f"{_count(summary.decided, 'rule')} decided",
    )
    _say(Text(", ".join(counts)), console)


def _findings(findings: Sequence[Finding], console: Console) -> None:
    if findings:
        _heading("Findings", console)
    for one in findings:
        severity = (one.severity, _STYLES[one.severity])
        _say(Text.assemble(severity, f"  {one.code}  ", (one.title, "bold")), console, 2)
        for line in (one.message, f"Remedy: {one.remedy}", f"Where: {', '.join(one.at)}"):
            _say(Text(line), console, 6)


def _undecided(gaps: Sequence[Undecided], console: Console) -> None:
    if gaps:
        _heading("Undecided", console)
    for gap in gaps:
        _say(Text(f"{gap.code}  {gap.title} (would be: {gap.severity})"), console, 2)
        _say(Text(f"Where: {', '.join(gap.at)}"), console, 6)
        for lack in gap.lacks:
            _say(Text(_lacking(lack)), console, 6)


def _runout(runout: RunoutReport, console: Console) -> None:
    planes = [
        (name, *_plane(plane))
        for name, plane in (("gauge plane", runout.gauge_plane), ("tip", runout.tip))
        if plane is not None
    ]
    if not (planes or runout.contributors or runout.not_stated):
        return
    _heading("Runout, total indicator reading in µm", console)
    if runout.limit_um is not None:
        where = "gauge plane" if runout.limit_at == "gauge_plane" else "tip"
        _say(Text(f"Limit {_number(runout.limit_um)} at the {where}."), console, 2)
    if not runout.complete:
        _say(Text("Not complete, so the figures are too small:"), console, 2)
        for lack in runout.not_stated:
            _say(Text(_lacking(lack)), console, 6)
    _table(("plane", "from gauge line", "half below", "95 % below", "best", "worst", "in limit"), planes, console)
    _table(
        ("contributor", "at gauge plane", "at tip", "share"),
        [
            (
                one.name,
                _fixed(one.gauge_plane_tir_um, 1),
                _fixed(one.tip_tir_um, 1),
                _fixed(_percent(one.gauge_plane_share), 0, " %"),
            )
            for one in runout.contributors
        ],
        console,
    )


def _plane(plane: PlaneReport) -> tuple[str, ...]:
    return (
        _fixed(plane.z_mm, 2, " mm"),
        _fixed(plane.p50_um, 1),
        _fixed(plane.p95_um, 1),
        _fixed(plane.best_clocking_um, 1),
        _fixed(plane.worst_case_um, 1),
        _fixed(_percent(plane.probability_within_limit), 1, " %"),
    )


def _speed(report: Report, console: Console) -> None:
    speed = report.speed
    lines = []
    if speed.asked_rpm is not None:
        lines.append(f"asked: {_number(speed.asked_rpm)} rpm")
    if speed.limits:
        lines.append("limits, lowest first: " + ", ".join(map(_limit, speed.limits)))
    if not speed.complete:
        lines.append("not every limit is known")
    _section("Speed", lines, console)


def _limit(limit: SpeedLimit) -> str:
    return f"{_number(limit.speed_rpm)} rpm ({limit.component or limit.cause})"


def _balance_and_mass(report: Report, console: Console) -> None:
    balance, mass = report.balance, report.mass
    figures = (
        ("unbalance, 95 % have less", balance.unbalance_p95_gmm, "g·mm"),
        ("unbalance, worst case", balance.unbalance_worst_gmm, "g·mm"),
        (f"permissible for {balance.grade} at the asked speed", balance.permissible_gmm, "g·mm"),
        (f"highest speed for {balance.grade}", balance.highest_speed_rpm, "rpm"),
        ("rotating force at the asked speed", balance.rotating_force_n, "N"),
        ("one reseating may bring", balance.seating_gmm, "g·mm"),
        ("mass of the stack", mass.total_kg, "kg"),
        ("centre of mass from the gauge line", mass.centre_of_mass_mm, "mm"),
    )
    told = [f"{name}: {_number(value)} {unit}" for name, value, unit in figures if value is not None]
    _section("Balance and mass", told, console)


def _grip(report: Report, console: Console) -> None:
    if not report.grip:
        return
    _heading("Grip, mm", console)
    _table(
        ("joint", "held", "at least", "sticks out"),
        [
            (
                one.joint,
                _fixed(one.grip_length_mm, 2),
                _fixed(one.minimum_grip_mm, 2),
                _fixed(one.projection_mm, 2),
            )
            for one in report.grip
        ],
        console,
    )


def _heading(text: str, console: Console) -> None:
    console.print()
    _say(Text(text, style="bold"), console)


def _section(heading: str, lines: Sequence[str], console: Console) -> None:
    if lines:
        _heading(heading, console)
    for line in lines:
        _say(Text(line), console, 2)


def _say(text: Text, console: Console, indent: int = 0) -> None:
    """Print wrapped and indented, with nothing at the ends of the lines that a log would keep."""
    for line in text.wrap(console, console.width - indent):
        line.rstrip()
        console.print(Text(" " * indent).append_text(line), soft_wrap=True)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], console: Console) -> None:
    """Names to the left, figures to the right."""
    if not rows:
        return
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    widths[0] = min(widths[0], _LONGEST_NAME)
    for name, *figures in (head, *rows):
        if len(name) > widths[0]:
            _say(Text(name), console, 2)
            name = ""
        cells = [name.ljust(widths[0]), *map(_right, figures, widths[1:])]
        _say(Text("  ".join(cells)), console, 2)


def _right(figure: str, width: int) -> str:
    return figure.rjust(width)


def _lacking(lack: LackingFact) -> str:
    fields = f"; fields that would supply it: {', '.join(lack.fields)}" if lack.fields else ""
    return f"lacks {lack.fact}{fields}"


def _count(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _number(value: float) -> str:
    return f"{value:.10g}"


def _fixed(value: float | None, decimals: int, unit: str = "") -> str:
    return "not known" if value is None else f"{value:.{decimals}f}{unit}"
