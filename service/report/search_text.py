"""A search as plain text: what was found, how each is set, and what stood against the rest."""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.text import Text

from rules.schema.search import JointSetting, LeftOut, NearMiss, SearchReport, SearchResult
from service.report.layout import STYLES, count, heading, number, say, section, table

__all__ = ["print_search"]

_HEAD: Final = ("place", "verdict", "tip", "95 %", "N/µm", "kg", "Hz", "rpm", "parts")


def print_search(report: SearchReport, console: Console) -> None:
    """Print counts, results with their parts and grips, near misses, what was refused and cut, notes, cautions."""
    counts = report.counts
    found = f"{count(counts.kept, 'stack')} found" if counts.kept else "Nothing found"
    say(Text(f"{found} in {count(counts.parts, 'part')}", style="bold"), console)
    say(
        Text(
            f"{count(counts.orders_possible, 'order')} possible, {counts.orders_cut} given up unjudged,"
            f" {counts.judged} judged, {counts.refused} of them refused"
        ),
        console,
    )
    if report.results:
        heading(
            "Tip from the gauge line, mm; 95 % read below, µm; stiffness and first bending frequency there", console
        )
        rows = [_row(one) for one in report.results]
        table(_HEAD, rows, console)
        if any("?" in row for row in rows):
            say(Text("? is not known"), console, 2)
        heading(f"Parts and grips, by {', '.join(report.ranked_by)}", console)
        for one in report.results:
            _result(one, console)
    if report.nearest:
        heading("What comes nearest", console)
        for near in report.nearest:
            _near(near, console)
    section(
        "Judged and refused", [_line(one.code, one.title, one.stacks, one.alone) for one in report.refused_by], console
    )
    section(
        "Given up unjudged", [f"{one.code}  {one.title}: {count(one.orders, 'order')}" for one in report.cut], console
    )
    section("Parts that no stack may hold", [_left_out(one) for one in report.left_out], console)
    if report.continuation is not None:
        section("Token for the next page", [report.continuation], console)
    section("Notes", report.notes, console)
    section("Cautions", report.cautions, console)


def _row(one: SearchResult) -> tuple[str, ...]:
    speed = one.governing_speed if one.speed_complete else None
    return (
        str(one.place),
        one.verdict,
        _figure(one.projection_mm, 1),
        _figure(one.runout_p95_um, 1),
        _figure(one.tip_stiffness_n_per_um, 2),
        _figure(one.mass_kg, 2),
        _figure(one.bending_frequency_hz, 0),
        "?" if speed is None else number(speed.speed_rpm),
        str(len(one.components)),
    )


def _figure(value: float | None, decimals: int) -> str:
    return "?" if value is None else f"{value:.{decimals}f}"


def _result(one: SearchResult, console: Console) -> None:
    say(
        Text.assemble(f"{one.place}  ", (one.verdict, STYLES[one.verdict]), f"  {' + '.join(one.components)}"),
        console,
        2,
    )
    for joint in one.joints:
        say(Text(_grip(joint)), console, 6)
    told = [*one.codes, *(f"{code}?" for code in one.undecided), *(f"{part} not known" for part in one.not_known)]
    if told:
        say(Text(f"See {', '.join(told)}"), console, 6)


def _grip(joint: JointSetting) -> str:
    drawn = f", drawn out {number(joint.drawn_out_mm)} mm" if joint.drawn_out_mm else ""
    room = f"{number(joint.shortest_mm)} to {number(joint.longest_mm)} mm"
    return f"{joint.lower} in {joint.upper}: grip {number(joint.grip_length_mm)} mm{drawn} (allowed {room})"


def _line(code: str, title: str, stacks: int, alone: int) -> str:
    return f"{code}  {title}: {count(stacks, 'stack')}, {alone} for nothing else"


def _left_out(one: LeftOut) -> str:
    return f"{one.key}: {one.reason}" if one.code is None else f"{one.key}: {one.code}  {one.reason}"


def _near(one: NearMiss, console: Console) -> None:
    say(Text(" + ".join(one.components), style="bold"), console, 2)
    for reason in one.reasons:
        say(Text(f"{reason.code}  {reason.title}: {reason.message}"), console, 6)
