"""The mechanics of a report as plain text: speed, balance and mass, load, grip, stiffness.

The parts of the page on speed, grip, load, stiffness, mass and balance.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rich.console import Console

from rules.schema.report import (
    BalanceReport,
    GripReport,
    LoadReport,
    MassReport,
    Report,
    ShrinkReport,
    SpeedLimit,
    SpeedReport,
    StiffnessReport,
)
from rules.speed.report import cause
from service.sheets.figures import Fact, Row, Table, fact, facts, figure, share
from service.sheets.text import fixed, heading, number, percent, section, table

__all__ = [
    "balance_facts",
    "bending_table",
    "grip_table",
    "load_facts",
    "mass_facts",
    "mass_table",
    "print_mechanics",
    "shrink_facts",
    "speed_facts",
    "speed_table",
    "stiffness_facts",
]


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


_SOURCES: Final = {"stated": "as stated in the request", "milling": "computed from the milling cut"}
_BASES: Final = {"rating": "its rating", "interference": "interference"}


def speed_facts(speed: SpeedReport) -> Sequence[Fact]:
    """Tell the speed asked and how far the lowest limit is from it."""
    return facts(
        (
            ("asked", speed.asked_rpm, "rpm"),
            ("left to the lowest limit", speed.margin_rpm, "rpm"),
            ("the same in percent of the speed asked", speed.margin_percent, "%"),
        )
    )


def speed_table(speed: SpeedReport) -> Table | None:
    """List every limit, the lowest first."""
    rows = tuple(
        Row((cause(one), figure(one.speed_rpm), "governs" if one == speed.governing else ""), one == speed.governing)
        for one in speed.limits
    )
    return Table("Every limit of the speed, the lowest first.", ("Limit", "rpm", "Lowest"), rows) if rows else None


def grip_table(grips: Sequence[GripReport]) -> Table | None:
    """Tell how each straight shank is held."""
    rows = tuple(
        Row(
            (
                one.joint,
                _BASES[one.basis],
                figure(one.grip_length_mm),
                figure(one.minimum_grip_mm),
                figure(one.projection_mm),
                figure(one.torque_capacity_n_m, decimals=1),
                figure(one.axial_capacity_n, decimals=0),
                figure(one.safety_factor, decimals=3) + (" weakest" if one.weakest and len(grips) > 1 else ""),
            ),
            one.weakest and len(grips) > 1,
        )
        for one in grips
    )
    heads = (
        "Joint",
        "Capacity from",
        "Held, mm",
        "At least, mm",
        "Sticks out, mm",
        "Torque, N·m",
        "Pull, N",
        "Safety",
    )
    caption = "How each shank is held; safety is against torque and pull of the cut together."
    return Table(caption, heads, rows, words=2) if rows else None


def shrink_facts(joint: ShrinkReport) -> Sequence[Fact]:
    """Tell a shrink-fit joint."""
    return [
        Fact(
            "interference on the diameter",
            figure(joint.least_interference_um) + " to " + figure(joint.greatest_interference_um, "µm"),
        ),
        fact("least interference left at speed", joint.interference_at_speed_um, "µm"),
        fact("pressure then", joint.least_pressure_mpa, "MPa"),
        fact("greatest pressure at rest", joint.greatest_pressure_mpa, "MPa"),
        fact("friction", joint.friction),
        fact("stress of the hub", joint.hub_stress_mpa, "MPa"),
        fact("yield stress of the hub", joint.yield_mpa, "MPa"),
        fact("opens from", joint.opening_temperature_c, "°C"),
        *facts(
            (
                ("grip meets the cut at", joint.holding_speed_rpm, "rpm"),
                ("lets go at", joint.release_speed_rpm, "rpm"),
            )
        ),
    ]


def load_facts(load: LoadReport) -> Sequence[Fact]:
    """Tell what the cut asks."""
    told = facts(
        (
            ("largest torque", load.torque_n_m, "N·m"),
            ("mean torque", load.mean_torque_n_m, "N·m"),
            ("pull out of the clamp", load.axial_pull_n, "N"),
            ("largest force across the axis", load.radial_force_n, "N"),
            ("power at the spindle", load.power_kw, "kW"),
            ("mean chip thickness", load.mean_chip_thickness_mm, "mm"),
            ("specific cutting force there", load.specific_force_mpa, "MPa"),
            ("teeth in the cut, mean", load.teeth_in_cut, ""),
            ("removal rate", load.removal_rate_mm3_per_min, "mm³/min"),
        )
    )
    return [Fact("source", _SOURCES[load.source]), *told] if load.source else told


def stiffness_facts(stiffness: StiffnessReport) -> Sequence[Fact]:
    """Tell how far the tip bends and where the stack rings."""
    told = facts(
        (
            ("stiffness at the tip", stiffness.tip_stiffness_n_per_um, "N/µm"),
            ("compliance at the tip", stiffness.tip_compliance_um_per_n, "µm/N"),
            ("force across the axis", stiffness.radial_force_n, "N"),
            ("deflection of the tip under it", stiffness.deflection_um, "µm"),
            ("deflection accepted", stiffness.deflection_limit_um, "µm"),
            ("critical speed", stiffness.critical_speed_rpm, "rpm"),
            ("the spindle turns at", stiffness.spindle_frequency_hz, "Hz"),
            ("teeth pass at", stiffness.tooth_passing_hz, "Hz"),
        )
    )
    rings = [figure(one, decimals=0) for one in stiffness.bending_frequencies_hz]
    if not rings:
        return told
    listed = rings[0]
    for one in rings[1:]:
        listed += ", " + one
    return [*told, Fact("bending frequencies", listed + "\N{NO-BREAK SPACE}Hz")]


def bending_table(stiffness: StiffnessReport) -> Table | None:
    """Tell where the deflection comes from."""
    rows = tuple(Row((one.name, one.kind, share(one.share))) for one in stiffness.shares)
    return Table("Where the deflection of the tip comes from.", ("Part", "Kind", "Share"), rows, 2) if rows else None


def mass_facts(mass: MassReport) -> Sequence[Fact]:
    """Tell the mass of the whole."""
    return facts(
        (
            ("mass of the stack", mass.total_kg, "kg"),
            ("centre of mass from the gauge line", mass.centre_of_mass_mm, "mm"),
            ("moment of inertia about a diameter there", mass.transverse_inertia_kg_mm2, "kg·mm²"),
            ("tilting moment about the gauge line, axis level", mass.tilting_moment_n_m, "N·m"),
        )
    )


def mass_table(mass: MassReport) -> Table | None:
    """Tell the mass of every part."""
    rows = tuple(
        Row(
            (
                one.component,
                figure(one.mass_kg),
                figure(one.centre_of_mass_mm),
                figure(one.transverse_inertia_kg_mm2),
            )
        )
        for one in mass.components
    )
    heads = ("Part", "Mass, kg", "Centre from gauge line, mm", "Moment of inertia, kg·mm²")
    return Table("Every part, as stated or from its outline.", heads, rows) if rows else None


def balance_facts(report: Report) -> Sequence[Fact]:
    """Tell unbalance and what it may be."""
    balance: BalanceReport = report.balance
    grade = balance.grade or "the grade"
    told = facts(
        (
            ("unbalance, 95 % have less", balance.unbalance_p95_gmm, "g·mm"),
            ("unbalance, worst case", balance.unbalance_worst_gmm, "g·mm"),
            (f"permissible for {grade} at the speed asked", balance.permissible_gmm, "g·mm"),
            (f"highest speed for {grade}", balance.highest_speed_rpm, "rpm"),
            ("e·ω at the speed asked", balance.quality_mm_per_s, "mm/s"),
            ("rotating force at the speed asked", balance.rotating_force_n, "N"),
            ("couple about the gauge line, root mean square", balance.couple_rms_g_mm2, "g·mm²"),
            ("couple about the gauge line, worst case", balance.couple_worst_g_mm2, "g·mm²"),
            ("one reseating may bring", balance.seating_gmm, "g·mm"),
        )
    )
    if balance.best_grade:
        told = [*told, Fact("finest grade kept at the speed asked", balance.best_grade)]
    return told
