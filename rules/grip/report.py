"""Section of the report on the joints that clamp a shank."""

from __future__ import annotations

from collections.abc import Sequence

from rules.grip.analysis import Grip, stated_minimum_grip, weakest_of
from rules.grip.shrink import ShrinkJoint
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.report import (
    GripReport,
    OperationGrip,
    ShrinkReport,
    estimate,
    estimate_or_none,
)
from rules.stack.positions import Positions

__all__ = ["grip_section", "operation_grips"]


def _shrink(joint: ShrinkJoint) -> ShrinkReport:
    return construct(
        ShrinkReport,
        least_interference_um=rounded(joint.least_um, "um"),
        greatest_interference_um=rounded(joint.most_um, "um"),
        greatest_pressure_mpa=estimate(joint.most_um * joint.pressure_per_um, "MPa"),
        friction=joint.friction,
        yield_mpa=rounded_or_none(joint.yield_mpa, "MPa"),
        opening_temperature_c=estimate_or_none(joint.opening_temperature_c, "degC"),
        release_speed_rpm=estimate_or_none(joint.release_speed_rpm, "rpm"),
    )


def grip_section(at_rest: Sequence[Grip], geometry: Positions) -> list[GripReport]:
    """Joints that clamp a straight shank, at rest."""
    return [
        construct(
            GripReport,
            joint=grip.case.ends_named,
            at=[grip.case.upper_at, grip.case.lower_at],
            grip_length_mm=rounded_or_none(grip.length_mm, "mm"),
            minimum_grip_mm=rounded_or_none(stated_minimum_grip(grip.case), "mm"),
            projection_mm=rounded_or_none(geometry.projections[grip.index], "mm"),
            basis=grip.basis,
            torque_capacity_n_m=estimate_or_none(grip.torque_n_m, "N m"),
            axial_capacity_n=estimate_or_none(grip.axial_n, "N"),
            shrink_fit=_shrink(grip.shrink) if isinstance(grip.shrink, ShrinkJoint) else None,
        )
        for grip in at_rest
    ]


def operation_grips(grips: tuple[Grip, ...]) -> list[OperationGrip]:
    """The same joints at the programmed speed, under the load of the operation."""
    weakest = weakest_of(grips)
    return [_in_operation(grip, grip is weakest) for grip in grips]


def _in_operation(grip: Grip, weakest: bool) -> OperationGrip:
    shrink = grip.shrink if isinstance(grip.shrink, ShrinkJoint) else None
    return construct(
        OperationGrip,
        joint=grip.case.ends_named,
        torque_capacity_n_m=estimate_or_none(grip.torque_n_m, "N m"),
        axial_capacity_n=estimate_or_none(grip.axial_n, "N"),
        safety_factor=estimate_or_none(grip.safety, "ratio"),
        weakest=weakest,
        interference_at_speed_um=None if shrink is None else rounded(shrink.at_speed_um, "um"),
        least_pressure_mpa=None if shrink is None else estimate(shrink.at_speed_um * shrink.pressure_per_um, "MPa"),
        hub_stress_mpa=None if shrink is None else estimate(shrink.hub_stress_mpa, "MPa"),
        holding_speed_rpm=None if shrink is None else estimate_or_none(grip.holding_speed_rpm, "rpm"),
    )
