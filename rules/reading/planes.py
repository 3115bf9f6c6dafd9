"""Results at the measuring planes: eccentricity, form error, axis through two planes, decision against the limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from rules.quantities.rounding import rounded, rounded_or_none
from rules.reading.formulas import (
    complex_at,
    decide_upper_limit,
    eccentricity_error_ratio,
    fit_dial,
    high_point_deg,
    least_uncertainty_to_decide,
)
from rules.runout.formulas import Eccentricity, EccentricityVector, Tir, tir_of
from rules.schema.reading import AxisReport, DecisionReport, DialPlane, Plane, PlaneReading, RangePlane

__all__ = [
    "NEGLIGIBLE_UM",
    "PlaneFit",
    "axis_through",
    "decide",
    "excess_over",
    "fit_plane",
    "pin_may_explain",
    "plane_notes",
    "plane_reading",
]


NEGLIGIBLE_UM: Final = 1e-6
"""Differences below this are rounding; no dial shows them."""

_MOST_ERROR: Final = 5.0
"""Largest magnification of reading errors for which an eccentricity is reported; this project's choice."""

_LEAST_DISTANCE_MM: Final = 1e-3
"""Planes closer than this count as one."""


@dataclass(frozen=True, slots=True)
class PlaneFit:
    """One plane before rounding."""

    distance_mm: float
    range_um: Tir
    judged_um: Tir
    """Runout over a full turn, as far as the readings show it."""
    eccentricity: EccentricityVector | None
    form_um: float | None
    directed: bool
    """Whether it has readings at stated angles."""

    @property
    def whole_turn(self) -> bool:
        """Whether the readings cover the full turn, so that no larger value is between them, apart from form errors."""
        return self.eccentricity is not None or not self.directed


def fit_plane(plane: Plane) -> PlaneFit:
    """Evaluate the readings of a plane; only their range if their directions do not determine an eccentricity."""
    if isinstance(plane, RangePlane):
        return PlaneFit(plane.distance_mm, Tir(plane.tir_um), Tir(plane.tir_um), None, None, False)
    if isinstance(plane, DialPlane):
        angles = [point.angle_deg for point in plane.points]
        readings = [point.reading_um for point in plane.points]
    else:
        readings = plane.readings_um
        angles = [360.0 * step / len(readings) for step in range(len(readings))]
    spread = Tir(max(readings) - min(readings))
    if eccentricity_error_ratio(angles) > _MOST_ERROR:
        return PlaneFit(plane.distance_mm, spread, spread, None, None, True)
    fit = fit_dial(angles, readings)
    turn = tir_of(Eccentricity(abs(fit.eccentricity)))
    judged = turn if turn > spread + NEGLIGIBLE_UM else spread
    return PlaneFit(plane.distance_mm, spread, judged, fit.eccentricity, fit.form_um, True)


def plane_reading(fit: PlaneFit) -> PlaneReading:
    """Return one plane as in the report."""
    return PlaneReading(
        from_last_clamping_face_mm=rounded(fit.distance_mm, "mm"),
        tir_um=rounded(fit.range_um, "um"),
        judged_tir_um=rounded(fit.judged_um, "um"),
        whole_turn=fit.whole_turn,
        eccentricity_um=None if fit.eccentricity is None else rounded(abs(fit.eccentricity), "um"),
        high_point_deg=None if fit.eccentricity is None else _direction(fit.eccentricity),
        form_um=rounded_or_none(fit.form_um, "um"),
    )


def axis_through(fits: list[PlaneFit], tip_mm: float | None) -> AxisReport | None:
    """Return the axis through two planes, extrapolated to the tip (at its distance from the face) if that is known."""
    if len(fits) < 2:
        return None
    first, second = fits
    apart = second.distance_mm - first.distance_mm
    if first.eccentricity is None or second.eccentricity is None or abs(apart) < _LEAST_DISTANCE_MM:
        return None

    def at(
        distance_mm: float,
        one: EccentricityVector = first.eccentricity,
        other: EccentricityVector = second.eccentricity,
    ) -> EccentricityVector:
        return complex_at(distance_mm, one, first.distance_mm, other, second.distance_mm)

    offset, tilt = at(0.0), (second.eccentricity - first.eccentricity) / apart
    return AxisReport(
        offset_um=rounded(abs(offset), "um"),
        offset_deg=_direction(offset),
        tilt_um_per_mm=rounded(abs(tilt), "um/mm"),
        tilt_deg=_direction(EccentricityVector(tilt * 1000.0)),
        tip_tir_um=None if tip_mm is None else rounded(tir_of(Eccentricity(abs(at(tip_mm)))), "um"),
    )


def plane_notes(fits: list[PlaneFit]) -> list[str]:
    """Return notes on planes that do not cover a full turn and on the reason for a missing axis."""
    notes = [
        f"Plane {number}: the readings do not cover a full turn, so the eccentricity is unknown and the runout may be"
        " larger. Measure in three or more directions, well apart."
        for number, fit in enumerate(fits, start=1)
        if not fit.whole_turn
    ]
    if len(fits) < 2:
        return notes
    if any(fit.eccentricity is None for fit in fits):
        notes.append("No axis: both planes need readings with directions.")
    elif abs(fits[1].distance_mm - fits[0].distance_mm) < _LEAST_DISTANCE_MM:
        notes.append("No axis: both planes are at the same distance.")
    return notes


def _direction(eccentricity: EccentricityVector) -> float | None:
    """Return the direction of a vector, rounded; None for one too short to have a direction."""
    if abs(eccentricity) < 0.0005:  # the report shows zero
        return None
    return rounded(high_point_deg(eccentricity), "deg") % 360.0


def decide(fit: PlaneFit, limit_um: float, uncertainty_um: float | None) -> DecisionReport:
    """Return the decision by ISO 14253-1.

    Without an uncertainty nothing is proven. Readings that do not cover a full turn can prove non-conformity, never
    conformity.
    """
    decision = "not_proven" if uncertainty_um is None else decide_upper_limit(fit.judged_um, limit_um, uncertainty_um)
    settle = None
    if decision == "conforms" and not fit.whole_turn:
        decision, settle = "not_proven", "Readings over a full turn, in three or more directions well apart."
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
    # rounded down, since a larger uncertainty would not prove it
    shown = math.floor(gap * 1000.0 + 1e-6) / 1000.0
    outcome = "conformity" if value <= limit else "non-conformity"
    if shown == 0.0:
        wanted = "The reading equals the limit, so no achievable uncertainty would prove either."
    elif value <= limit:
        wanted = f"An expanded uncertainty of at most {shown:.10g} µm would prove {outcome}."
    else:
        wanted = f"An expanded uncertainty below {shown:.10g} µm would prove {outcome}."
    return wanted if uncertainty is not None else f"State the expanded uncertainty of the reading. {wanted}"


def excess_over(value_um: float, limit_um: float, uncertainty_um: float | None) -> float:
    """Return the excess of a reading over its acceptance limit (limit less uncertainty); negative within it."""
    return value_um - (limit_um - (uncertainty_um or 0.0))


def pin_may_explain(excess_um: float | None, pin_tir_um: Tir | None) -> bool | None:
    """Whether the excess is at most the runout of the pin itself; None where either is unknown."""
    if excess_um is None or pin_tir_um is None:
        return None
    return NEGLIGIBLE_UM < excess_um <= pin_tir_um + NEGLIGIBLE_UM
