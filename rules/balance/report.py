"""Sections of the report on balance."""

from __future__ import annotations

from rules.balance.analysis import StackBalance, UnbalanceSum
from rules.quantities.missing import value_or
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.report import (
    BalancePlane,
    BalanceReport,
    OperationBalance,
    estimate_or_none,
)

__all__ = ["balance_section", "operation_balance"]


def balance_section(balance: StackBalance) -> BalanceReport:
    """Unbalance of the stack."""
    nothing, sums = UnbalanceSum(0.0, None), value_or(balance.sums, None)
    unbalance, couple = value_or(balance.unbalance, None), value_or(balance.couple, None)
    return construct(
        BalanceReport,
        unbalance_p95_g_mm=rounded_or_none(unbalance and unbalance.p95, "g mm"),
        unbalance_worst_g_mm=rounded_or_none((unbalance or nothing).worst, "g mm"),
        couple_rms_g_mm2=rounded_or_none(couple and couple.rms, "g mm2"),
        couple_worst_g_mm2=rounded_or_none(couple and couple.worst, "g mm2"),
        planes=[] if sums is None else [_plane(*one) for one in zip(sums.planes_mm, sums.planes, strict=True)],
        in_spindle_p95_g_mm=rounded_or_none(sums and sums.in_spindle.p95, "g mm"),
    )


def _plane(z_mm: float, unbalance: UnbalanceSum) -> BalancePlane:
    return construct(
        BalancePlane,
        from_gauge_line_mm=rounded(z_mm, "mm"),
        unbalance_p95_g_mm=rounded(unbalance.p95, "g mm"),
    )


def operation_balance(balance: StackBalance, grade: str | None) -> OperationBalance:
    """Balance quality at the programmed speed and the required grade."""
    forces = balance.bearing_forces_n if isinstance(balance.bearing_forces_n, tuple) else (None, None)
    return construct(
        OperationBalance,
        grade=grade,
        permissible_g_mm=rounded_or_none(balance.permissible_g_mm, "g mm"),
        seating_g_mm=rounded_or_none(balance.seating_g_mm, "g mm"),
        highest_speed_rpm=estimate_or_none(balance.highest_speed_rpm, "rpm"),
        best_grade=balance.best_grade if isinstance(balance.best_grade, str) else None,
        quality_mm_per_s=rounded_or_none(balance.quality_mm_per_s, "mm/s"),
        rotating_force_n=rounded_or_none(balance.rotating_force_n, "N"),
        front_bearing_force_n=rounded_or_none(forces[0], "N"),
        rear_bearing_force_n=rounded_or_none(forces[1], "N"),
    )
