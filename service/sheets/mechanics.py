"""The sections of a report on speed, grip, stiffness, mass and balance, and those of each operation.

Each names the fields it shows; text and page show them all, in this order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from rules.schema.report import (
    BalancePlane,
    BalanceReport,
    BendingShare,
    ComponentMass,
    GripReport,
    LoadReport,
    MassReport,
    OperationBalance,
    OperationBending,
    OperationGrip,
    OperationReport,
    OperationRunout,
    OperationSpeed,
    Report,
    ShrinkReport,
    SpeedLimit,
    SpeedReport,
    StiffnessReport,
)
from service.sheets.figures import Fact, Section, Unit, facts, line, lines, table, within, worded

__all__ = ["PROGRAMMED_SPEED", "RUNOUT_LIMIT", "mechanics"]


RUNOUT_LIMIT: Final = line(OperationRunout, "limit_um")
_RUNOUT: Final = (
    *lines(OperationRunout, "plane", "limit_um"),
    within(
        OperationRunout,
        "Assemblies within the limit",
        "probability_within_limit",
        lambda one: one.probability_within_limit.get("assemblies"),
    ),
)
PROGRAMMED_SPEED: Final = replace(line(OperationSpeed, "programmed_rpm"), unit=Unit("rpm", 0))
_MARGINS: Final = lines(OperationSpeed, "margin_rpm", "relative_margin")
_GOVERNING: Final = line(SpeedReport, "governing")
_CAUSE: Final = (
    line(SpeedLimit, "cause"),
    worded(SpeedLimit, "Part or joint", lambda limit: limit.component or limit.joint, missing="–"),
)
_LIMIT: Final = line(SpeedLimit, "speed_rpm")

_GRIP: Final = lines(
    GripReport,
    "joint",
    "basis",
    "grip_length_mm",
    "minimum_grip_mm",
    "projection_mm",
    "torque_capacity_n_m",
    "axial_capacity_n",
)
_GRIP_IN_OPERATION: Final = lines(OperationGrip, "joint", "torque_capacity_n_m", "axial_capacity_n", "safety_factor")
_SHRINK_IN_OPERATION: Final = lines(
    OperationGrip, "interference_at_speed_um", "least_pressure_mpa", "hub_stress_mpa", "holding_speed_rpm"
)
_WEAKEST: Final = line(OperationGrip, "weakest")

_SHRINK_FIT: Final = lines(
    ShrinkReport,
    "least_interference_um",
    "greatest_interference_um",
    "greatest_pressure_mpa",
    "friction",
    "yield_mpa",
    "opening_temperature_c",
    "release_speed_rpm",
)

_LOAD: Final = lines(
    LoadReport,
    "source",
    "torque_n_m",
    "mean_torque_n_m",
    "axial_pull_n",
    "thrust_n",
    "radial_force_n",
    "force_height_mm",
    "power_kw",
    "mean_chip_thickness_mm",
    "specific_force_mpa",
    "spread",
    "teeth_in_cut",
    "removal_rate_mm3_per_min",
)

_STIFFNESS: Final = lines(
    StiffnessReport, "tip_stiffness_n_per_um", "tip_compliance_um_per_n", "bending_frequencies_hz", "critical_speed_rpm"
)
_DEFLECTION: Final = lines(
    OperationBending,
    "radial_force_n",
    "deflection_um",
    "deflection_limit_um",
    "spindle_frequency_hz",
    "tooth_passing_hz",
)
_BENDING: Final = (
    worded(BendingShare, "Part or joint", lambda share: share.words),
    *lines(BendingShare, "kind", "share"),
)

_MASS: Final = lines(
    MassReport, "total_kg", "centre_of_mass_from_gauge_line_mm", "transverse_inertia_kg_mm2", "tilting_moment_n_m"
)
_MASSES: Final = lines(
    ComponentMass, "component", "mass_kg", "centre_of_mass_from_gauge_line_mm", "transverse_inertia_kg_mm2"
)

_BALANCE: Final = lines(
    BalanceReport,
    "unbalance_p95_g_mm",
    "unbalance_worst_g_mm",
    "couple_rms_g_mm2",
    "couple_worst_g_mm2",
    "in_spindle_p95_g_mm",
)
_PLANES: Final = lines(BalancePlane, "from_gauge_line_mm", "unbalance_p95_g_mm")
_QUALITY: Final = lines(
    OperationBalance,
    "grade",
    "permissible_g_mm",
    "seating_g_mm",
    "highest_speed_rpm",
    "best_grade",
    "quality_mm_per_s",
    "rotating_force_n",
    "front_bearing_force_n",
    "rear_bearing_force_n",
)

_MASS_CAPTION: Final = "Each part; centre of mass from the gauge line, moment of inertia about a diameter."
_WEAR: Final = "Largest torque and pull are for worn edges, as the policy sets; the others are for sharp ones."


def mechanics(report: Report) -> Iterator[Section]:
    """Return the sections of the stack, then one for each operation; empty ones as well."""
    # what an operation lists has the limits of the stack in it
    yield _speed(report.speed) if not report.operations else replace(_speed(report.speed), tables=())
    yield _grip(report.grip)
    stiffness = report.stiffness
    yield Section(
        "stiffness",
        "Stiffness",
        facts=facts(_STIFFNESS, stiffness),
        tables=table("Share of each part and joint in the deflection of the tip.", _BENDING, stiffness.shares),
        notes=stiffness.notes,
    )
    yield Section(
        "mass",
        "Mass",
        facts=facts(_MASS, report.mass),
        tables=table(
            _MASS_CAPTION,
            _MASSES,
            report.mass.components,
        ),
    )
    yield Section(
        "balance",
        "Balance",
        facts=facts(_BALANCE, report.balance),
        tables=table("The unbalance in two planes.", _PLANES, report.balance.planes),
    )
    for number, one in enumerate(report.operations):
        yield _operation(number, one)


def _operation(number: int, one: OperationReport) -> Section:
    """What depends on an operation: limit, speed, grip under load, load, bending and balance."""
    name, load = f"operation-{number}", one.load
    parts = (
        Section("runout", "Runout limit", facts=() if one.runout is None else facts(_RUNOUT, one.runout)),
        replace(_speed(one.speed), facts=(*facts([PROGRAMMED_SPEED], one.speed), *_lowest(one.speed))),
        _grip_in_operation(one.grip),
        Section(
            "load", "Cutting load", facts=facts(_LOAD, load), notes=[] if load.source in (None, "stated") else [_WEAR]
        ),
        Section("bending", "Bending", facts=facts(_DEFLECTION, one.bending)),
        Section("balance", "Balance quality", facts=facts(_QUALITY, one.balance)),
    )
    return Section(
        name,
        f"Operation {one.id}: {one.verdict}",
        parts=[
            replace(part, name=f"{name}-{part.name}", title=f"{part.title}, operation {one.id}")
            for part in parts
            if part
        ],
    )


def _lowest(speed: OperationSpeed) -> Iterator[Fact]:
    if speed.governing is not None:
        yield Fact(_GOVERNING.label, (*_LIMIT.cell(speed.governing), f" ({speed.governing.words})"))
    yield from facts(_MARGINS, speed)


def _speed(speed: SpeedReport) -> Section:
    lowest = speed.governing
    return Section(
        "speed",
        "Speed",
        gap="" if speed.complete else "Not every limit is known.",
        facts=() if lowest is None else [Fact(_GOVERNING.label, (*_LIMIT.cell(lowest), f" ({lowest.words})"))],
        tables=table("Limits, lowest first.", (*_CAUSE, _LIMIT), speed.limits, lambda one: one == lowest),
    )


def _grip(grips: list[GripReport]) -> Section:
    return Section(
        "grip",
        "Grip",
        tables=table("Grip of each shank, at rest.", _GRIP, grips),
        parts=[
            Section(f"shrink-fit-{number}", f"Shrink fit {one.joint}", facts=facts(_SHRINK_FIT, one.shrink_fit))
            for number, one in enumerate(grips)
            if one.shrink_fit is not None
        ],
    )


def _grip_in_operation(grips: list[OperationGrip]) -> Section:
    several = len(grips) > 1
    return Section(
        "grip",
        "Grip at speed",
        tables=table(
            "Safety factor against torque and axial force of the cut together.",
            (*_GRIP_IN_OPERATION, _WEAKEST) if several else _GRIP_IN_OPERATION,
            grips,
            lambda one: several and one.weakest,
        ),
        parts=[
            Section(f"shrink-fit-{number}", f"Shrink fit {one.joint} at speed", facts=facts(_SHRINK_IN_OPERATION, one))
            for number, one in enumerate(grips)
            if one.interference_at_speed_um is not None
        ],
    )
