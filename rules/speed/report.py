"""Section of the report on speed."""

from __future__ import annotations

from rules.quantities.missing import OrMissing
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.report import (
    SpeedLimit,
    SpeedReport,
    estimate,
)
from rules.speed.analysis import SpeedCause, SpeedLimits

__all__ = ["speed_section"]


def _limit(one: SpeedCause, critical_share: float | None) -> SpeedLimit:
    speed = one.speed_rpm
    if one.cause == "critical_speed" and critical_share is not None:
        speed *= critical_share
    return construct(
        SpeedLimit, cause=one.cause, component=one.component, joint=one.joint, speed_rpm=estimate(speed, "rpm")
    )


def speed_section(
    speed_limits: SpeedLimits, speed: OrMissing[float] | None, critical_share: float | None
) -> SpeedReport:
    """Speed limits, lowest first; the lowest governs."""
    limits = [_limit(one, critical_share) for one in speed_limits.causes]
    limits.sort(key=lambda limit: limit.speed_rpm.value)
    governing = limits[0] if limits else None
    asked = speed if isinstance(speed, float) else None
    margin = share = None
    if governing is not None and asked is not None:
        margin = rounded(governing.speed_rpm.value - asked, "rpm")
        share = rounded((governing.speed_rpm.value - asked) / asked, "ratio")
    return construct(
        SpeedReport,
        asked_rpm=rounded_or_none(asked, "rpm"),
        limits=limits,
        governing=governing,
        margin_rpm=margin,
        relative_margin=share,
        complete=speed_limits.lacking is None,
    )
