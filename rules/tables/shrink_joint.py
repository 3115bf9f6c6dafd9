"""Round values for shrink joints."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

from rules.quantities.tables import Row, TableError, read_rows

__all__ = ["ShrinkJoint", "ShrinkJointValue", "shrink_joint", "shrink_joint_from"]


class ShrinkJointValue(Row):
    """One value with its unit and source."""

    quantity: str
    value: float
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class ShrinkJoint:
    """The values by name: shares and factors without unit, temperature in °C."""

    friction: float
    joining_play_share: float
    smoothing_factor: float
    reference_temperature_c: float


def shrink_joint_from(rows: tuple[ShrinkJointValue, ...]) -> ShrinkJoint:
    """Values of rows by name; raises :class:`TableError` when one is missing or one too many is there."""
    values = {row.quantity: row.value for row in rows}
    known = {field.name for field in fields(ShrinkJoint)}
    if difference := known ^ values.keys():
        raise TableError(f"shrink_joint.yaml: rows and named values differ in {', '.join(sorted(difference))}")
    return ShrinkJoint(**values)


@cache
def shrink_joint() -> ShrinkJoint:
    """The values, read once.

    >>> shrink_joint().friction
    0.12
    """
    return shrink_joint_from(read_rows("shrink_joint", ShrinkJointValue))
