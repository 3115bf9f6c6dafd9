"""A comparison as plain text: who is in the running, the table, why, and who reads less than whom."""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.text import Text

from rules.schema.comparison import AlternativeReport, ComparisonReport, ReadsLess
from service.report.layout import STYLES, count, heading, number, percent, say, section, table

__all__ = ["print_comparison"]

_HEAD: Final = (
    "alternative",
    "verdict",
    "half",
    "95 %",
    "worst",
    "tip",
    "rpm",
    "N/µm",
    "joints",
    "errors",
    "warnings",
    "undecided",
)


def print_comparison(report: ComparisonReport, console: Console) -> None:
    """Print who is not dominated, the table, a sentence each, pairs, notes and cautions, in this order."""
    total = count(len(report.alternatives), "alternative")
    say(Text(f"{total}, not dominated: {', '.join(report.non_dominated)}", style="bold"), console)
    heading(
        "Half and 95 % read below, and worst, µm at the gauge plane; tip from the gauge line, mm; stiffness there",
        console,
    )
    table(_HEAD, [_row(one) for one in report.alternatives], console)
    if any("?" in _row(one) for one in report.alternatives):
        say(Text("? is not known"), console, 2)
    heading("Why", console)
    for one in report.alternatives:
        say(Text.assemble((one.verdict, STYLES[one.verdict]), "  ", (one.name, "bold")), console, 2)
        say(Text(one.because), console, 6)
    section("Which reads less, built and clocked at random", [_pair(one) for one in report.reads_less], console)
    section("Notes", report.notes, console)
    section("Cautions", report.cautions, console)


def _row(one: AlternativeReport) -> tuple[str, ...]:
    plane = one.gauge_plane if one.runout_complete else None
    speed = one.governing_speed if one.speed_complete else None
    return (
        one.name,
        one.verdict,
        *map(_figure, (None, None, None) if plane is None else (plane.p50_um, plane.p95_um, plane.worst_case_um)),
        _figure(one.projection_mm),
        "?" if speed is None else number(speed.speed_rpm),
        "?" if one.tip_stiffness_n_per_um is None else f"{one.tip_stiffness_n_per_um:.2f}",
        str(one.joints),
        str(one.summary.errors),
        str(one.summary.warnings),
        str(one.summary.undecided),
    )


def _figure(value: float | None) -> str:
    return "?" if value is None else f"{value:.1f}"


def _pair(one: ReadsLess) -> str:
    share = percent(one.probability)
    if one.equal:
        return f"{one.first} and {one.second} always read the same."
    if share is None:
        return f"{one.first} against {one.second}: not known."
    return f"{one.first} reads less than {one.second} in {share:.1f} % of pairs."
