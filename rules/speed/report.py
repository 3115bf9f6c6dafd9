"""Sections of the report on speed."""

from __future__ import annotations

from collections.abc import Iterable

from rules.quantities.missing import OrMissing
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.report import OperationSpeed, SpeedLimit, SpeedReport, estimate
from rules.speed.analysis import SpeedCause, SpeedLimits

__all__ = ["operation_speed", "speed_section"]


def _limit(one: SpeedCause, critical_share: float | None) -> SpeedLimit:
    speed = one.speed_rpm
    if one.cause == "critical_speed" and critical_share is not None:
        speed *= critical_share
    return construct(
        SpeedLimit, cause=one.cause, component=one.component, joint=one.joint, speed_rpm=estimate(speed, "rpm")
    )


def _sorted(causes: Iterable[SpeedCause], critical_share: float | None) -> list[SpeedLimit]:
    return sorted((_limit(one, critical_share) for one in causes), key=lambda limit: limit.speed_rpm.value)


def speed_section(speed_limits: SpeedLimits, critical_share: float | None) -> SpeedReport:
    """Speed limits of the stack, lowest first; the lowest governs."""
    limits = _sorted(speed_limits.of_stack, critical_share)
    return construct(
        SpeedReport,
        limits=limits,
        governing=limits[0] if limits else None,
        complete=speed_limits.lacking_of_stack is None,
    )


def operation_speed(
    speed_limits: SpeedLimits, speed: OrMissing[float] | None, critical_share: float | None
) -> OperationSpeed:
    """All speed limits of an operation, lowest first; the lowest governs."""
    limits = _sorted(speed_limits.causes, critical_share)
    governing = limits[0] if limits else None
    programmed = speed if isinstance(speed, float) else None
    margin = share = None
    if governing is not None and programmed is not None:
        margin = rounded(governing.speed_rpm.value - programmed, "rpm")
        share = rounded((governing.speed_rpm.value - programmed) / programmed, "ratio")
    return construct(
        OperationSpeed,
        limits=limits,
        governing=governing,
        complete=speed_limits.lacking is None,
        programmed_rpm=rounded_or_none(programmed, "rpm"),
        margin_rpm=margin,
        relative_margin=share,
    )
