"""The whole runout budget as plain text."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from rules.schema.budget import BudgetReport, ClockingReport, JointTurn, PlaneBudgetReport, RequiredReport
from service.report.layout import fixed, heading, number, percent, say, section, table

__all__ = ["print_budget"]


def print_budget(report: BudgetReport, console: Console) -> None:
    """Print planes, each contributor's part, seats, clocking and what is required."""
    say(Text("Runout budget, total indicator reading in µm", style="bold"), console)
    if report.limit_um is not None:
        where = "gauge plane" if report.limit_at == "gauge_plane" else "tip"
        say(Text(f"Limit {number(report.limit_um)} at the {where}."), console, 2)
    _planes(report, console)
    for plane in report.planes:
        _parts(plane, console)
    _seats(report, console)
    if report.clocking is not None:
        _clocking(report.clocking, console)
    if report.required is not None:
        _required(report.required, console)
    if not report.complete:
        fields = [", ".join(lack.fields) for lack in report.not_stated]
        section("Not complete, so the figures are too small. Not stated:", fields, console)


def _planes(report: BudgetReport, console: Console) -> None:
    head = ("plane", "from gauge line", "50 %", "80 %", "95 %", "99 %", "best", "worst", "in limit")
    rows = [
        (
            plane.name,
            fixed(plane.z_mm, 2, " mm"),
            fixed(plane.p50_um, 1),
            fixed(plane.p80_um, 1),
            fixed(plane.p95_um, 1),
            fixed(plane.p99_um, 1),
            fixed(plane.best_clocking_um, 1),
            fixed(plane.worst_case_um, 1),
            fixed(percent(plane.probability_within_limit), 1, " %"),
        )
        for plane in report.planes
    ]
    table(head, rows, console)


def _parts(plane: PlaneBudgetReport, console: Console) -> None:
    heading(f"At the {plane.name}" if plane.name in ("gauge plane", "tip") else f"At {plane.name}", console)
    head = ("contributor", "alone", "share", "grown by", "95 % if halved")
    rows = [
        (
            item.name,
            fixed(item.tir_um, 1),
            fixed(percent(item.share), 0, " %"),
            fixed(item.amplification, 2),
            fixed(item.p95_if_halved_um, 1),
        )
        for item in plane.contributors
    ]
    table(head, rows, console)


def _seats(report: BudgetReport, console: Console) -> None:
    if not report.seats:
        return
    heading("A speck of 1 µm at one end of a seat reads, the first to clean twice on top", console)
    rows = [
        (
            seat.component,
            fixed(seat.seat_length_mm, 1),
            fixed(seat.gauge_plane_um_per_um, 1),
            fixed(seat.tip_um_per_um, 1),
        )
        for seat in report.seats
    ]
    table(("seat of", "length mm", "at gauge plane", "at tip"), rows, console)


def _clocking(clocking: ClockingReport, console: Console) -> None:
    angles = "from mark to mark" if clocking.marks else "from where they stand"
    lines = [f"Measured parts alone read {fixed(clocking.measured_tir_um, 1)} µm."]
    lines += [f"Turn {_turn(turn)}: {fixed(turn.leaves_tir_um, 1)} µm are left." for turn in clocking.one_joint]
    if clocking.all_joints:
        turns = ", ".join(map(_turn, clocking.all_joints))
        left = fixed(clocking.all_joints[0].leaves_tir_um, 1)
        lines.append(f"All joints, {angles}: {turns}; {left} µm are left.")
    lines.append(f"With the rest at random 95 % then read up to {fixed(clocking.p95_after_um, 1)} µm.")
    section("Turning joints", lines, console)


def _turn(turn: JointTurn) -> str:
    return f"{turn.joint} by {number(turn.turn_deg)}°"


def _required(required: RequiredReport, console: Console) -> None:
    where = "gauge plane" if required.plane == "gauge_plane" else "tip"
    heading(f"To read {number(required.target_um)} µm at the {where} with 95 % of assemblies", console)
    if required.factor is None:
        say(Text("No factor on the stated parts reaches it: what was measured reads more by itself."), console, 2)
        return
    rows = [(item.name, fixed(item.stated_tir_um, 1), fixed(item.required_tir_um, 1)) for item in required.contributors]
    table(("contributor", "stated", "required"), rows, console)
