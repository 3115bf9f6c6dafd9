"""Sections of the report on speed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.bending.interfaces import Band
from rules.bending.report import banded
from rules.quantities.missing import OrMissing
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.report import Estimate, OperationSpeed, SpeedLimit, SpeedReport, estimate
from rules.speed.analysis import SpeedCause, SpeedLimits

__all__ = ["operation_speed", "speed_section"]


def _limit(one: SpeedCause, critical_share: float | None) -> SpeedLimit:
    speed: Estimate | None = None
    if one.band is not None:
        share = 1.0 if critical_share is None else critical_share
        band = Band(*[share * end for end in one.band])
        speed = banded(band, "rpm", one.rests_on, band.low)
    return construct(
        SpeedLimit,
        cause=one.cause,
        component=one.component,
        joint=one.joint,
        speed_rpm=estimate(one.speed_rpm, "rpm") if speed is None else speed,
    )


_STATED: Final = frozenset({"component", "machine", "cutting_speed"})
"""Causes whose limit the request states."""


def _sorted(causes: Iterable[SpeedCause], critical_share: float | None) -> list[SpeedLimit]:
    """Return the limits, lowest first.

    A critical speed above all stated limits is left out, since nothing turns so fast; so is one without any stated
    limit that rests on assumptions.
    """
    limits = [_limit(one, critical_share) for one in causes]
    highest = max([one.speed_rpm.value for one in limits if one.cause in _STATED], default=None)
    kept = [one for one in limits if one.cause != "critical_speed" or _within(one.speed_rpm, highest)]
    return sorted(kept, key=lambda limit: limit.speed_rpm.value)


def _within(critical: Estimate, highest: float | None) -> bool:
    return not critical.rests_on if highest is None else critical.value <= highest


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
