"""The whole runout budget as plain text.

A comparison as plain text: who is not dominated, the table, why, and which has less runout.

What a reading tells, as plain text for a terminal or a log: the next step first.
"""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.text import Text

from rules.schema.budget import BudgetReport, ClockingReport, JointTurn, PlaneBudgetReport, RequiredReport
from rules.schema.comparison import AlternativeReport, ComparisonReport, ReadsLess
from rules.schema.reading import AxisReport, DecisionReport, PlaneReading, PredictionReport, ReadingReport
from service.sheets.figures import words
from service.sheets.text import STYLES, count, fixed, heading, missing_line, number, percent, say, section, table

__all__ = ["print_budget", "print_comparison", "print_reading"]


def print_budget(report: BudgetReport, console: Console) -> None:
    """Print planes, each contributor's part, seats, clocking and what is required."""
    say(Text("Runout budget, total indicator reading in µm", style="bold"), console)
    if report.limit_um is not None:
        say(Text(f"Limit {number(report.limit_um)} µm at the {words('limit_at', report.limit_at)}."), console, 2)
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
        section("Not complete: the true readings are larger. Missing:", fields, console)


def _planes(report: BudgetReport, console: Console) -> None:
    head = (
        "plane",
        "from gauge line",
        "median",
        "80 %",
        "95 %",
        "99 %",
        "lowest by clocking",
        "worst case",
        "within the limit",
    )
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
    head = ("contributor", "alone", "share", "lever", "95 % if halved")
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
    heading("Effect of a 1 µm particle in each seat, most sensitive first", console)
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
    angles = "from mark to mark" if clocking.marks else "from the present position"
    lines = [f"Runout of the measured parts alone: {fixed(clocking.measured_tir_um, 1)} µm."]
    lines += [f"Re-clock {_turn(turn)}: {fixed(turn.leaves_tir_um, 1)} µm remain." for turn in clocking.one_joint]
    if clocking.all_joints:
        turns = ", ".join(map(_turn, clocking.all_joints))
        left = fixed(clocking.all_joints[0].leaves_tir_um, 1)
        lines.append(f"All joints, {angles}: {turns}; {left} µm remain.")
    lines.append(f"95th percentile after that, the other parts at random: {fixed(clocking.p95_after_um, 1)} µm.")
    section("Re-clocking", lines, console)


def _turn(turn: JointTurn) -> str:
    return f"{turn.joint} by {number(turn.turn_deg)}°"


def _required(required: RequiredReport, console: Console) -> None:
    where = "gauge plane" if required.plane == "gauge_plane" else "tip"
    heading(f"Required for {number(required.target_um)} µm at the {where} in 95 % of assemblies", console)
    if required.factor is None:
        say(Text("Not possible: the measured parts alone exceed it."), console, 2)
        return
    rows = [(item.name, fixed(item.stated_tir_um, 1), fixed(item.required_tir_um, 1)) for item in required.contributors]
    table(("contributor", "stated", "required"), rows, console)


_HEAD: Final = (
    "alternative",
    "verdict",
    "median",
    "95th percentile",
    "worst case",
    "projection",
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
        "Runout at the gauge plane, µm; projection, mm; lowest speed limit; stiffness at the tip",
        console,
    )
    table(_HEAD, [_row(one) for one in report.alternatives], console)
    if any("?" in _row(one) for one in report.alternatives):
        say(Text("? means not known"), console, 2)
    heading("Why", console)
    for one in report.alternatives:
        say(Text.assemble((one.verdict, STYLES[one.verdict]), "  ", (one.name, "bold")), console, 2)
        say(Text(one.because), console, 6)
    section("Lower runout, assembled and clocked at random", [_pair(one) for one in report.reads_less], console)
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
        return f"{one.first} and {one.second} always have the same runout."
    if share is None:
        return f"{one.first} against {one.second}: not known."
    return f"{one.first} has less runout than {one.second} in {share:.1f} % of pairs."


_STYLES: Final = {"accept": "bold green", "clean_and_reseat": "bold red", "replace": "bold red"}
_DECISIONS: Final = {"conforms": "conforms", "does_not_conform": "does not conform", "not_proven": "not proven"}


def print_reading(report: ReadingReport, console: Console) -> None:
    """Print next step, decision, planes, axis, prediction, trial, notes and cautions, in this order."""
    step = report.next_step
    say(Text(step.action.replace("_", " ").upper(), style=_STYLES.get(step.action, "bold yellow")), console)
    say(Text(step.text), console)
    if report.decision is not None:
        section("Limit, by ISO 14253-1", _decision(report.decision), console)
    heading("Readings, µm", console)
    table(
        ("distance", "range", "full turn", "eccentricity", "high point", "form"),
        [_plane(plane) for plane in report.planes],
        console,
    )
    if report.axis is not None:
        section("Axis", _axis(report.axis), console)
    _prediction(report, console)
    if (trial := report.trial) is not None:
        before, beyond = number(trial.before_joint_um), number(trial.beyond_joint_um)
        told = (
            f"{trial.joint}: {before} µm before it, {beyond} µm beyond it",
            f"turned on by {number(trial.turn_deg)}°, {number(trial.leaves_tir_um)} µm expected",
        )
        section("Trial turn, eccentricities", told, console)
    section("Notes", report.notes, console)
    section("Cautions", report.cautions, console)


def _decision(decision: DecisionReport) -> list[str]:
    uncertainty = decision.expanded_uncertainty_um
    stated = "uncertainty not stated" if uncertainty is None else f"uncertainty {number(uncertainty)} µm"
    read = f"{number(decision.tir_um)} µm against {number(decision.limit_um)} µm, {stated}"
    lines = [f"{read}: {_DECISIONS[decision.decision]}"]
    return lines if decision.would_settle is None else [*lines, decision.would_settle]


def _plane(plane: PlaneReading) -> tuple[str, ...]:
    return (
        f"{number(plane.distance_mm)} mm",
        fixed(plane.tir_um, 1),
        fixed(plane.judged_tir_um, 1),
        _or_dash(plane.eccentricity_um, 2),
        _or_dash(plane.high_point_deg, 1, "°"),
        _or_dash(plane.form_um, 2),
    )


def _axis(axis: AxisReport) -> list[str]:
    lines = [
        f"at the face: {number(axis.offset_um)} µm{_toward(axis.offset_deg)}",
        f"tilt: {number(axis.tilt_um_per_mm)} µm/mm{_toward(axis.tilt_deg)}",
    ]
    return lines if axis.tip_tir_um is None else [*lines, f"expected at the tip: {number(axis.tip_tir_um)} µm"]


def _toward(direction: float | None) -> str:
    return "" if direction is None else f" toward {number(direction)}°"


def _prediction(report: ReadingReport, console: Console) -> None:
    rows = [
        (f"{number(plane.distance_mm)} mm", *_predicted(one))
        for plane, one in zip(report.planes, report.prediction, strict=True)
        if one is not None
    ]
    if rows:
        heading("Predicted, µm", console)
    table(("distance", "median", "95 %", "99 %", "assemblies below this reading", ""), rows, console)
    section("Not predicted", [missing_line(one) for one in report.not_stated], console)


def _predicted(one: PredictionReport) -> tuple[str, ...]:
    return (
        fixed(one.p50_um, 1),
        fixed(one.p95_um, 1),
        fixed(one.p99_um, 1),
        fixed(percent(one.share_below), 1, " %"),
        "outside" if one.outside_99_percent else "",
    )


def _or_dash(value: float | None, decimals: int, unit: str = "") -> str:
    return "-" if value is None else fixed(value, decimals, unit)
