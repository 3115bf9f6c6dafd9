"""The mechanics of a report as plain text: speed, balance and mass, load, grip, stiffness."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console

from rules.schema.report import GripReport, Report, ShrinkReport, SpeedLimit
from service.report.layout import fixed, heading, number, percent, section, table

__all__ = ["print_mechanics"]


def print_mechanics(report: Report, console: Console) -> None:
    """Print speed, balance and mass, load, grip and stiffness, in this order; what is not known is left out."""
    _speed(report, console)
    _balance_and_mass(report, console)
    _load(report, console)
    _grip(report.grip, console)
    _stiffness(report, console)


def _told(figures: Iterable[tuple[str, float | None, str]]) -> list[str]:
    return [f"{name}: {number(value)} {unit}" for name, value, unit in figures if value is not None]


def _speed(report: Report, console: Console) -> None:
    speed = report.speed
    lines = []
    if speed.asked_rpm is not None:
        lines.append(f"asked: {number(speed.asked_rpm)} rpm")
    if speed.limits:
        lines.append("limits, lowest first: " + ", ".join(map(_limit, speed.limits)))
    if speed.margin_percent is not None:
        lines.append(f"margin of the lowest: {fixed(speed.margin_percent, 1, ' %')}")
    if not speed.complete:
        lines.append("not every limit is known")
    section("Speed", lines, console)


def _limit(limit: SpeedLimit) -> str:
    cause = limit.cause.replace("_", " ")
    whose = limit.component if limit.cause == "component" else cause
    if limit.cause == "shrink_fit":
        whose = f"{cause} {limit.component}"
    return f"{number(limit.speed_rpm)} rpm ({whose})"


def _balance_and_mass(report: Report, console: Console) -> None:
    balance, mass = report.balance, report.mass
    told = _told(
        (
            ("unbalance, 95 % have less", balance.unbalance_p95_gmm, "g·mm"),
            ("unbalance, worst case", balance.unbalance_worst_gmm, "g·mm"),
            (f"permissible for {balance.grade} at the asked speed", balance.permissible_gmm, "g·mm"),
            (f"highest speed for {balance.grade}", balance.highest_speed_rpm, "rpm"),
            ("rotating force at the asked speed", balance.rotating_force_n, "N"),
            ("couple about the gauge line, root mean square", balance.couple_rms_g_mm2, "g·mm²"),
            ("one reseating may bring", balance.seating_gmm, "g·mm"),
            ("mass of the stack", mass.total_kg, "kg"),
            ("centre of mass from the gauge line", mass.centre_of_mass_mm, "mm"),
            ("tilting moment about the gauge line", mass.tilting_moment_n_m, "N·m"),
        )
    )
    if balance.best_grade is not None:
        told.append(f"finest grade kept at the asked speed: {balance.best_grade}")
    section("Balance and mass", told, console)


def _load(report: Report, console: Console) -> None:
    load = report.load
    told = _told(
        (
            ("largest torque", load.torque_n_m, "N·m"),
            ("mean torque", load.mean_torque_n_m, "N·m"),
            ("pull out of the clamp", load.axial_pull_n, "N"),
            ("largest force across the axis", load.radial_force_n, "N"),
            ("power at the spindle", load.power_kw, "kW"),
        )
    )
    section("Load of the cut", told, console)


def _grip(grips: list[GripReport], console: Console) -> None:
    if not grips:
        return
    heading("Grip, mm and N·m", console)
    table(
        ("joint", "held", "at least", "sticks out", "holds", "safety"),
        [
            (
                one.joint,
                fixed(one.grip_length_mm, 2),
                fixed(one.minimum_grip_mm, 2),
                fixed(one.projection_mm, 2),
                fixed(one.torque_capacity_n_m, 1),
                fixed(one.safety_factor, 2) + (" weakest" if one.weakest and len(grips) > 1 else ""),
            )
            for one in grips
        ],
        console,
    )
    for one in grips:
        if one.shrink_fit is not None:
            section(f"Shrink fit {one.joint}", _shrink(one.shrink_fit), console)


def _shrink(joint: ShrinkReport) -> list[str]:
    return [
        f"interference: {number(joint.least_interference_um)} to {number(joint.greatest_interference_um)} µm,"
        f" {number(joint.interference_at_speed_um)} µm left at speed",
        *_told(
            (
                ("pressure left at speed", joint.least_pressure_mpa, "MPa"),
                ("stress of the hub", joint.hub_stress_mpa, "MPa"),
                ("yield stress of the hub", joint.yield_mpa, "MPa"),
                ("opens from", joint.opening_temperature_c, "°C"),
                ("lets go at", joint.release_speed_rpm, "rpm"),
            )
        ),
    ]


def _stiffness(report: Report, console: Console) -> None:
    stiffness = report.stiffness
    told = _told(
        (
            ("stiffness at the tip", stiffness.tip_stiffness_n_per_um, "N/µm"),
            ("deflection of the tip", stiffness.deflection_um, "µm"),
            ("critical speed", stiffness.critical_speed_rpm, "rpm"),
        )
    )
    if stiffness.bending_frequencies_hz:
        told.append(
            "bending frequencies: " + ", ".join(f"{one:.0f}" for one in stiffness.bending_frequencies_hz) + " Hz"
        )
    if stiffness.shares:
        told.append(
            "bends in " + ", ".join(f"{one.name} {fixed(percent(one.share), 0, ' %')}" for one in stiffness.shares)
        )
    section("Stiffness", [*told, *stiffness.notes], console)
