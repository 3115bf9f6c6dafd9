"""Deciding on a reading against its limit, and whether the pin may explain the excess."""

from __future__ import annotations

import math

from rules.mechanics.conformity import decide_upper_limit, least_uncertainty_to_decide
from rules.quantities.rounding import rounded, rounded_or_none
from rules.reporting.reading_planes import NEGLIGIBLE_UM, PlaneFit
from rules.schema.reading import DecisionReport

__all__ = ["decide", "excess_over", "pin_may_explain"]


def decide(fit: PlaneFit, limit_um: float, uncertainty_um: float | None) -> DecisionReport:
    """Decide by ISO 14253-1.

    Without an uncertainty nothing is proven; readings that don't go round can prove that a limit is broken, never
    that it is kept.
    """
    decision = "not_proven" if uncertainty_um is None else decide_upper_limit(fit.judged_um, limit_um, uncertainty_um)
    settle = None
    if decision == "conforms" and not fit.whole_turn:
        decision, settle = "not_proven", "Readings round a whole turn, at three or more directions well apart."
    elif decision == "not_proven":
        settle = _would_settle(fit.judged_um, limit_um, uncertainty_um)
    return DecisionReport(
        limit_um=limit_um,
        tir_um=rounded(fit.judged_um, "um"),
        expanded_uncertainty_um=rounded_or_none(uncertainty_um, "um"),
        decision=decision,
        would_settle=settle,
    )


def _would_settle(value: float, limit: float, uncertainty: float | None) -> str:
    gap = least_uncertainty_to_decide(value, limit)
    # never rounded up: a larger uncertainty would not decide
    told = math.floor(gap * 1000.0 + 1e-6) / 1000.0
    outcome = "that the limit is kept" if value <= limit else "that the limit is broken"
    if told == 0.0:
        wanted = "The reading is on the limit: no uncertainty that can be had would decide."
    elif value <= limit:
        wanted = f"An expanded uncertainty of at most {told:.10g} µm would prove {outcome}."
    else:
        wanted = f"An expanded uncertainty below {told:.10g} µm would prove {outcome}."
    return wanted if uncertainty is not None else f"State the expanded uncertainty of the reading. {wanted}"


def excess_over(value_um: float, limit_um: float, uncertainty_um: float | None) -> float:
    """Return by how much a reading exceeds its acceptance limit, the limit less the uncertainty; negative within."""
    return value_um - (limit_um - (uncertainty_um or 0.0))


def pin_may_explain(excess_um: float | None, pin_tir_um: float | None) -> bool | None:
    """Whether a reading exceeds by no more than the pin alone may read; None where either is not known."""
    if excess_um is None or pin_tir_um is None:
        return None
    return NEGLIGIBLE_UM < excess_um <= pin_tir_um + NEGLIGIBLE_UM
