"""What a reading tells, as plain text for a terminal or a log: the next step first."""

from __future__ import annotations

from typing import Final

from rich.console import Console
from rich.text import Text

from rules.schema.reading import AxisReport, DecisionReport, PlaneReading, PredictionReport, ReadingReport
from service.report.layout import fixed, heading, lacking, number, percent, say, section, table

__all__ = ["print_reading"]

_STYLES: Final = {"accept": "bold green", "clean_and_reseat": "bold red", "replace": "bold red"}
_DECISIONS: Final = {"conforms": "kept", "does_not_conform": "broken", "not_proven": "not proven either way"}


def print_reading(report: ReadingReport, console: Console) -> None:
    """Print next step, decision, planes, axis, prediction, trial, notes and cautions, in this order."""
    step = report.next_step
    say(Text(step.action.replace("_", " ").upper(), style=_STYLES.get(step.action, "bold yellow")), console)
    say(Text(step.text), console)
    if report.decision is not None:
        section("Limit, by ISO 14253-1", _decision(report.decision), console)
    heading("Read, µm", console)
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
            f"turned on by {number(trial.turn_deg)}°, {number(trial.leaves_tir_um)} µm should be read",
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
    return lines if axis.tip_tir_um is None else [*lines, f"to expect at the tip: {number(axis.tip_tir_um)} µm"]


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
    table(("distance", "half below", "95 % below", "99 % below", "read less than this one", ""), rows, console)
    section("Not predicted", [lacking(one) for one in report.not_stated], console)


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
