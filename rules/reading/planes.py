"""Results at the measuring planes: eccentricity, form, uncertainty, axis through two planes, decision on the limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from rules.quantities.rounding import rounded, rounded_or_none
from rules.reading.formulas import (
    complex_at,
    curve_range,
    decide_upper_limit,
    eccentricity_error_ratio,
    fit_dial,
    high_point_deg,
    largest_gap_deg,
    least_uncertainty_to_decide,
    lobes_seen,
    tip_uncertainty_um,
)
from rules.runout.formulas import Eccentricity, EccentricityVector, Tir, tir_of
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.reading import (
    AxisReport,
    Cause,
    Conformity,
    DecisionReport,
    DialPlane,
    Instrument,
    Plane,
    PlaneReading,
    RangePlane,
    ReadingRule,
    ReadingUncertainty,
    ReadSurface,
    StepPlane,
    UncertaintyPart,
)

__all__ = [
    "NEGLIGIBLE_UM",
    "Means",
    "PlaneFit",
    "Uncertainty",
    "axis_through",
    "decide",
    "excess_over",
    "fit_plane",
    "guard_band_um",
    "pin_may_explain",
    "plane_notes",
    "plane_reading",
    "refuse_uneven",
]


NEGLIGIBLE_UM: Final = 1e-6
"""Differences below this are rounding; no dial shows them."""

_MOST_ERROR: Final = 5.0
"""Largest magnification of reading errors for which an eccentricity is reported; this project's choice."""

_LEAST_DISTANCE_MM: Final = 1e-3
"""Planes closer than this count as one."""

_WIDEST_GAP_DEG: Final = 90.01
"""Readings further apart do not cover the turn: an arc below 270° shows no whole circle."""

_LOBES: Final = (2, 3, 4, 5, 6, 7)
"""Numbers of lobes that ground and turned surfaces have (common practice)."""

_PROVING: Final = 8
"""Fewest readings that may prove conformity; fewer may only disprove it."""

_RESOLVED: Final = 2 * _LOBES[-1] + 1
"""Readings from which on every harmonic up to the last of the lobes has a fit of its own."""

_SEEN: Final = 0.7
"""Least share of a form that readings must show to count as seeing it: four lobes at sixteen even angles."""

_TAKEN: Final = 0.1
"""Largest share of a form that may count as eccentricity."""

_NOISE: Final = 3.5
"""Amplitude of a harmonic that noise exceeds once in 450 times, over its standard deviation along one axis: form."""

_RUNOUT_NOISE: Final = 3.0
"""The same for the runout, once in 90 times: what is left out makes it too small, what is let in too large."""

_OUTLYING: Final = 6.0
"""Distance of an outlier from the fit, in standard deviations by the median deviation; this project's choice."""


_SMALLEST_UM: Final = 0.05
"""Scatter that readings have at least, µm."""


class Uncertainty(NamedTuple):
    """Standard uncertainties of one plane, µm."""

    parts: tuple[tuple[Cause, float], ...]
    """Causes, each as that of the eccentricity along one axis."""
    tir_um: float
    """Of what was seen and of what is possible, with the gauge pin."""
    without_pin_um: float
    """Of the total indicator reading."""
    eccentricity_um: float | None
    """Along one axis; None where a form of unknown size may count as eccentricity."""
    form_um: float | None


class Means(NamedTuple):
    """What is known of a measurement beside the readings."""

    instrument: Instrument | None = None
    stated_um: float | None = None
    """Standard uncertainty of a total indicator reading, as stated."""
    pin_um: float | None = None
    """Standard uncertainty of the eccentricity along one axis from the gauge pin's own runout."""
    surface: ReadSurface | None = None
    roundness_um: float | None = None
    teeth: int | None = None
    obstacle: str | None = None
    """Why nothing can be proven in this plane."""


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
    whole_turn: bool
    """Whether the readings cover the full turn."""
    at_least_um: float
    """Runout that was seen, so that no error of the pattern makes it larger than the true one."""
    at_most_um: float | None
    """Runout that the readings leave possible; None where their angles bound none."""
    surface: ReadSurface | None = None
    hidden_lobes: tuple[int, ...] = ()
    taken_um: float | None = 0.0
    """Largest form that may count as eccentricity, µm; None where nothing bounds it."""
    forms: int = 0
    """Harmonics beyond the first that stand out of the noise."""
    drift_um: float | None = None
    repeat_scatter_um: float | None = None
    turns: int = 1
    """Turns that were read, repeats included."""
    pin_um: EccentricityVector | None = None
    """Eccentricity of the pin itself, by reversal."""
    outliers_deg: tuple[float, ...] = ()
    uncertainty: Uncertainty | None = None
    obstacle: str | None = None
    count: int = 0

    @property
    def is_resolved(self) -> bool:
        """Whether the reading is that of the whole surface: a continuous turn, or enough angles for every form."""
        return not self.directed or (self.whole_turn and self.count >= _RESOLVED and not self.hidden_lobes)


def fit_plane(plane: Plane, means: Means = Means()) -> PlaneFit:  # noqa: B008 - immutable
    """Evaluate the readings of a plane; only their range if their directions do not determine an eccentricity."""
    if isinstance(plane, RangePlane):
        tir = Tir(plane.tir_um * _lever(means.instrument))
        fit = PlaneFit(plane.distance_mm, tir, tir, None, None, False, whole_turn=True, at_least_um=tir, at_most_um=tir)
    else:
        fit = _turned(plane, means)
    if means.surface == "flutes":
        every_edge = not fit.directed or (means.teeth is not None and fit.count >= means.teeth)
        fit = replace(
            fit,
            eccentricity=None,
            form_um=None,
            judged_um=fit.range_um,
            at_least_um=fit.range_um,
            at_most_um=fit.range_um if every_edge else None,
            whole_turn=every_edge,
            hidden_lobes=(),
        )
    return replace(fit, surface=means.surface, uncertainty=_uncertainty(fit, means), obstacle=means.obstacle)


def _lever(instrument: Instrument | None) -> float:
    """Return what a reading of one counts for: the lever moves by more than the surface."""
    angle = None if instrument is None else instrument.lever_angle_deg
    return 1.0 if angle is None else math.cos(math.radians(angle))


def _circle(angles: Sequence[float], eccentricity: complex) -> list[float]:
    """Return what an eccentricity reads at angles."""
    return [(eccentricity * complex(math.cos(turn), -math.sin(turn))).real for turn in np.radians(angles)]


def _turned(plane: DialPlane | StepPlane, means: Means) -> PlaneFit:
    """Evaluate readings at angles as those of the surface: outward positive, lever and drift removed."""
    if isinstance(plane, DialPlane):
        angles, raw = [point.angle_deg for point in plane.points], [point.reading_um for point in plane.points]
    else:
        angles, raw = [360.0 * n / len(plane.readings_um) for n in range(len(plane.readings_um))], plane.readings_um
    factor = _lever(means.instrument)
    if means.instrument is not None and means.instrument.positive == "inward":
        factor = -factor
    drift = None if plane.closing_um is None else (plane.closing_um - raw[0]) * factor
    passed = [((angle - angles[0]) % 360.0) / 360.0 for angle in angles]

    def surface(readings: Sequence[float], removed: float = 0.0) -> list[float]:
        return [value * factor - removed * share for value, share in zip(readings, passed, strict=True)]

    turns = [surface(raw, drift or 0.0), *(surface(one) for one in plane.repeats_um or ())]
    level = [float(np.mean(turn)) for turn in turns]
    readings = [
        float(np.mean([turn[place] - mean for turn, mean in zip(turns, level, strict=True)])) + level[0]
        for place in range(len(angles))
    ]
    spread = Tir(max(readings) - min(readings))
    count = len({round(angle % 360.0, 9) % 360.0 for angle in angles})
    if eccentricity_error_ratio(angles) > _MOST_ERROR:
        return PlaneFit(
            plane.distance_mm, spread, spread, None, None, True,
            whole_turn=False, at_least_um=spread, at_most_um=None, hidden_lobes=_LOBES, drift_um=drift, count=count,
        )  # fmt: skip
    fit = fit_dial(angles, readings)
    pin = None
    if plane.reversed_um is not None:
        turned = fit_dial(angles, surface(plane.reversed_um)).eccentricity
        pin = EccentricityVector((fit.eccentricity - turned) / 2.0)
        readings = [value - own for value, own in zip(readings, _circle(angles, pin), strict=True)]
        spread = Tir(max(readings) - min(readings))
        fit = fit_dial(angles, readings)
    scatter = None
    if len(turns) > 1:
        vectors = [fit_dial(angles, turn).eccentricity for turn in turns]
        middle = sum(vectors) / len(vectors)
        scatter = math.sqrt(sum(abs(one - middle) ** 2 for one in vectors) / (2.0 * (len(vectors) - 1)))
    one = _of_one_um(means.instrument)
    noise = 0.0 if one is None else one * math.sqrt(2.0 / len(angles))
    seen = _seen(angles, readings, count, fit.eccentricity, means.roundness_um, noise)
    whole = largest_gap_deg(angles) <= _WIDEST_GAP_DEG
    return PlaneFit(
        plane.distance_mm,
        spread,
        Tir(seen.judged_um),
        fit.eccentricity,
        seen.form_um if count > 3 else None,
        True,
        whole_turn=whole,
        at_least_um=seen.at_least_um,
        at_most_um=seen.at_most_um if whole else None,
        hidden_lobes=seen.hidden,
        taken_um=seen.taken_um,
        forms=seen.forms,
        drift_um=drift,
        repeat_scatter_um=scatter,
        turns=len(turns),
        pin_um=pin,
        outliers_deg=_outliers(angles, readings),
        count=count,
    )


class _Seen(NamedTuple):
    """What readings at some angles show of a surface."""

    judged_um: float
    at_least_um: float
    at_most_um: float | None
    form_um: float | None
    """None where no form stands out of the noise."""
    hidden: tuple[int, ...]
    taken_um: float | None
    """Largest form that may count as eccentricity, µm: none, that of a stated roundness, or unknown."""
    forms: int = 0
    """Harmonics beyond the first that stand out."""


def _seen(
    angles: Sequence[float],
    readings: Sequence[float],
    count: int,
    eccentricity: EccentricityVector,
    roundness: float | None,
    noise: float,
) -> _Seen:
    """Return runout and form, and what forms that the angles hide leave possible.

    Where every form up to seven lobes shows, its visible part bounds it; else only a stated roundness does.
    """
    spread, circle = max(readings) - min(readings), tir_of(Eccentricity(abs(eccentricity)))
    shares = {lobes: lobes_seen(tuple(angles), lobes) for lobes in _LOBES}
    hidden = tuple(lobes for lobes, (least, taken) in shares.items() if least < _SEEN or taken > _TAKEN)
    mixed = any(taken > _TAKEN for _, taken in shares.values())
    taken_um = (None if roundness is None else roundness / 2.0) if mixed else 0.0
    rest = [value - own for value, own in zip(readings, _circle(angles, eccentricity), strict=True)]
    judged = circle if circle > spread + NEGLIGIBLE_UM else spread
    if count < _PROVING or hidden:
        at_most = None
        if count >= _PROVING and roundness is not None:
            # a form that is taken for eccentricity may stand against it in the reading and beside it in truth
            at_most = max(circle + roundness * (2.0 if mixed else 1.0), spread)
        return _Seen(judged, spread, at_most, max(rest) - min(rest), hidden, taken_um)
    harmonics = min(_LOBES[-1], (count - 1) // 2)
    # what stands out of the noise is form; all of it bounds what is possible
    told, forms = curve_range(angles, rest, harmonics, _NOISE * noise)
    form = told if forms else None
    if count >= _RESOLVED:
        curve, _ = curve_range(angles, readings, harmonics, _RUNOUT_NOISE * noise)
        possible, _ = curve_range(angles, readings, harmonics)
        return _Seen(curve, curve, possible, form, hidden, taken_um, forms)
    most, _ = curve_range(angles, rest, harmonics)
    bounds = [circle + most / min(least for least, _ in shares.values())]
    if roundness is not None:
        bounds.append(max(circle + roundness, spread))
    return _Seen(judged, spread, min(bounds), form, hidden, taken_um, forms)


def _outliers(angles: Sequence[float], readings: Sequence[float]) -> tuple[float, ...]:
    """Return the angles of readings that are far off the circle of the others, at most a quarter of them."""
    kept, found = list(range(len(angles))), list[int]()
    while len(kept) >= _PROVING and len(found) < len(angles) // 4:
        at, values = [angles[place] for place in kept], [readings[place] for place in kept]
        vector = fit_dial(at, values).eccentricity
        rest = np.asarray(values) - np.asarray(_circle(at, vector))
        worst = kept[int(np.argmax(np.abs(rest - np.median(rest))))]
        others = [place for place in kept if place != worst]
        fit = fit_dial([angles[place] for place in others], [readings[place] for place in others])
        off = np.asarray(readings) - np.asarray(_circle(angles, fit.eccentricity)) - fit.mean_um
        usual = 1.4826 * float(np.median(np.abs(off[others])))
        if abs(off[worst]) <= _OUTLYING * max(usual, _SMALLEST_UM):
            break
        found.append(worst)
        kept = others
    return tuple(angles[place] for place in sorted(found))


def _of_one_um(instrument: Instrument | None) -> float | None:
    """Return the standard uncertainty of one reading; None if its indicator states none."""
    if instrument is None or instrument.expanded_uncertainty_um is None:
        return None
    resolution = (instrument.resolution_um or 0.0) / math.sqrt(12.0)
    return math.hypot(instrument.expanded_uncertainty_um / 2.0, resolution)


def _uncertainty(fit: PlaneFit, means: Means) -> Uncertainty | None:
    """Return the standard uncertainties: of the indicator through the angles, and of what acts on all readings."""
    instrument, stated = means.instrument, means.stated_um
    one = None if stated is not None else _of_one_um(instrument)
    parts: list[tuple[Cause, float]] = []
    if stated is not None:
        parts.append(("stated", stated / 2.0))
        own = stated**2
    elif one is not None and instrument is not None:
        ratio = math.sqrt(2.0 / fit.count) if fit.eccentricity is not None else math.sqrt(0.5)
        parts.append(("indicator", ratio * (instrument.expanded_uncertainty_um or 0.0) / 2.0))
        parts.append(("resolution", ratio * (instrument.resolution_um or 0.0) / math.sqrt(12.0)))
        # twice the amplitude of each harmonic and what the noise hides, or the difference of two readings
        share = (8.0 * (1 + fit.forms) + 2.0) / fit.count if fit.count else 2.0
        own = (share if fit.is_resolved else max(2.0, share)) * one**2
    else:
        return None
    common: list[tuple[Cause, float]] = [("drift", abs(fit.drift_um or 0.0) / math.sqrt(12.0))]
    if instrument is not None and instrument.lever_angle_deg is not None and instrument.lever_uncertainty_deg:
        slope = math.tan(math.radians(instrument.lever_angle_deg))
        common.append(("lever", fit.judged_um / 2.0 * slope * math.radians(instrument.lever_uncertainty_deg) / 2.0))
    if fit.repeat_scatter_um is not None:
        common.append(("repeats", fit.repeat_scatter_um / math.sqrt(fit.turns)))
    pin = 0.0 if means.pin_um is None or fit.pin_um is not None else means.pin_um
    common.append(("pin", pin))
    parts = [(name, value) for name, value in (*parts, *common) if value > 0.0]
    whole = own + 4.0 * sum(value**2 for _, value in common)
    along = math.sqrt(sum(value**2 for _, value in parts))
    form = None
    if fit.form_um is not None and one is not None and not fit.hidden_lobes and fit.forms:
        form = one * math.sqrt(8.0 * fit.forms / fit.count)
    return Uncertainty(
        tuple(parts),
        math.sqrt(whole),
        math.sqrt(max(0.0, whole - 4.0 * pin**2)),
        None if fit.eccentricity is None or fit.taken_um is None else math.hypot(along, fit.taken_um / 2.0),
        form,
    )


def guard_band_um(uncertainty_um: float, rule: ReadingRule, coverage_factor: float) -> float:
    """Return the guard band of a rule for a standard uncertainty."""
    return uncertainty_um * (1.65 if rule == "iso_14253_1_2017" else coverage_factor)


_CIRCLE: Final = math.sqrt(-2.0 * math.log(0.05)) / 2.0
"""Radius that holds 95 % of plane errors, over twice the standard uncertainty along one axis."""


def plane_reading(fit: PlaneFit, coverage_factor: float = 2.0) -> PlaneReading:
    """Return one plane as in the report."""
    return PlaneReading(
        from_last_clamping_face_mm=rounded(fit.distance_mm, "mm"),
        tir_um=rounded(fit.range_um, "um"),
        judged_tir_um=rounded(fit.judged_um, "um"),
        whole_turn=fit.whole_turn,
        eccentricity_um=None if fit.eccentricity is None else rounded(abs(fit.eccentricity), "um"),
        high_point_deg=None if fit.eccentricity is None else _direction(fit.eccentricity),
        form_um=rounded_or_none(fit.form_um, "um"),
        edge_range_um=rounded(fit.range_um, "um") if fit.surface == "flutes" else None,
        hidden_lobes=list(fit.hidden_lobes),
        at_least_um=rounded(fit.at_least_um, "um"),
        at_most_um=rounded_or_none(fit.at_most_um, "um"),
        drift_um=rounded_or_none(fit.drift_um, "um"),
        repeat_scatter_um=rounded_or_none(fit.repeat_scatter_um, "um"),
        pin_eccentricity_um=None if fit.pin_um is None else rounded(abs(fit.pin_um), "um"),
        outliers_deg=[rounded(angle, "deg") for angle in fit.outliers_deg],
        uncertainty=None if fit.uncertainty is None else _stated(fit, fit.uncertainty, coverage_factor),
    )


def _stated(fit: PlaneFit, found: Uncertainty, factor: float) -> ReadingUncertainty:
    amount, along = None if fit.eccentricity is None else abs(fit.eccentricity), found.eccentricity_um
    directed = amount is not None and along is not None and amount >= 2.0 * along and amount > 0.0
    return ReadingUncertainty(
        coverage_factor=factor,
        parts=[UncertaintyPart(cause=name, standard_um=rounded(value, "um")) for name, value in found.parts],
        tir_um=rounded(factor * found.tir_um, "um") if fit.is_resolved else None,
        eccentricity_um=None if along is None else rounded(factor * along * (1.0 if directed else _CIRCLE), "um"),
        high_point_deg=(
            rounded(factor * math.degrees(along / amount), "deg")
            if directed and along is not None and amount is not None
            else None
        ),
        form_um=None if found.form_um is None else rounded(factor * found.form_um, "um"),
    )


def axis_through(fits: list[PlaneFit], tip_mm: float | None, coverage_factor: float = 2.0) -> AxisReport | None:
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
    along = [None if fit.uncertainty is None else fit.uncertainty.eccentricity_um for fit in fits]
    u_tilt = u_tip = None
    if along[0] is not None and along[1] is not None:
        u_tilt = rounded(coverage_factor * math.hypot(along[0], along[1]) / abs(apart), "um/mm")
        if tip_mm is not None:
            at_tip = tip_uncertainty_um(along[0], first.distance_mm, along[1], second.distance_mm, tip_mm)
            u_tip = rounded(2.0 * coverage_factor * at_tip, "um")
    return AxisReport(
        offset_um=rounded(abs(offset), "um"),
        offset_deg=_direction(offset),
        tilt_um_per_mm=rounded(abs(tilt), "um/mm"),
        tilt_deg=_direction(EccentricityVector(tilt * 1000.0)),
        tip_tir_um=None if tip_mm is None else rounded(tir_of(Eccentricity(abs(at(tip_mm)))), "um"),
        tilt_uncertainty_um_per_mm=u_tilt,
        tip_uncertainty_um=u_tip,
    )


def plane_notes(fits: list[PlaneFit]) -> list[str]:
    """Return notes on what the planes cannot show, and on the reason for a missing axis."""
    notes = []
    for number, fit in enumerate(fits, start=1):
        if fit.obstacle is not None:
            notes.append(f"Plane {number}: {fit.obstacle}")
        if fit.surface == "flutes":
            if not fit.whole_turn:
                notes.append(f"Plane {number}: not every edge was read, so the range of the edges may be larger.")
            continue
        if not fit.whole_turn:
            notes.append(
                f"Plane {number}: the readings do not cover a full turn, so the runout may be larger. Read at"
                " eight even angles or more."
            )
        elif fit.directed and fit.hidden_lobes:
            lobes = ", ".join(map(str, fit.hidden_lobes))
            notes.append(f"Plane {number}: {fit.count} angles may hide a form of {lobes} lobes.")
        if fit.outliers_deg:
            angles = ", ".join(f"{angle:.10g}°" for angle in fit.outliers_deg)
            notes.append(f"Plane {number}: the reading at {angles} is far off the others. Read it again.")
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


def decide(
    fit: PlaneFit, stated_limit_um: float, limit_um: float | None, rule: ReadingRule, coverage_factor: float
) -> DecisionReport:
    """Return the decision by ISO 14253-1; ``limit_um`` is the limit at this plane, None where it is not known.

    Without an uncertainty nothing is proven. Angles that hide a form can prove non-conformity, never conformity.
    """
    u = None if fit.uncertainty is None else fit.uncertainty.tir_um
    guard = None if u is None else guard_band_um(u, rule, coverage_factor)
    decision: Conformity = "not_proven"
    settle = None
    if fit.obstacle is not None:
        settle = fit.obstacle
    elif limit_um is None:
        settle = "A reading in the plane of the limit, or a stack with every contributor stated, to convert it."
    else:
        most = math.inf if fit.at_most_um is None else fit.at_most_um
        if guard is not None:
            # what the angles leave possible is the value for conformity, what they saw that for non-conformity
            possible = max(most, fit.at_least_um) if most < math.inf else limit_um + guard + 1.0
            decision = decide_upper_limit(possible, limit_um, guard, fit.at_least_um)
        if decision == "not_proven":
            settle = _would_settle(fit, limit_um, guard)
    return DecisionReport(
        rule=rule,
        stated_limit_um=stated_limit_um,
        limit_um=stated_limit_um if limit_um is None else rounded(limit_um, "um"),
        tir_um=rounded(fit.judged_um, "um"),
        expanded_uncertainty_um=None if u is None else rounded(coverage_factor * u, "um"),
        guard_band_um=rounded_or_none(guard, "um"),
        decision=decision,
        would_settle=settle,
    )


def _would_settle(fit: PlaneFit, limit: float, guard: float | None) -> str:
    if fit.judged_um <= limit and fit.at_most_um is None:
        if fit.surface == "flutes":
            return "Readings of every edge."
        if not fit.whole_turn or fit.count < _PROVING:
            return "Readings at eight even angles or more over a full turn."
        return "The roundness of the surface, or readings at sixteen even angles or over a continuous turn."
    within = fit.judged_um <= limit
    value = fit.at_most_um if within and fit.at_most_um is not None else fit.at_least_um
    if within is not (value <= limit):
        return "Readings at sixteen even angles or over a continuous turn."
    # rounded down, since a larger guard band would not prove it
    shown = math.floor(least_uncertainty_to_decide(value, limit) * 1000.0 + 1e-6) / 1000.0
    if shown == 0.0:
        wanted = "The reading equals the limit, so no achievable uncertainty would prove either."
    elif within:
        wanted = f"A guard band of at most {shown:.10g} µm would prove conformity."
    else:
        wanted = f"A guard band below {shown:.10g} µm would prove non-conformity."
    return wanted if guard is not None else f"State the expanded uncertainty of the reading. {wanted}"


def excess_over(value_um: float, limit_um: float, guard_um: float | None) -> float:
    """Return the excess of a reading over its acceptance limit (limit less guard band); negative within it."""
    return value_um - (limit_um - (guard_um or 0.0))


def pin_may_explain(excess_um: float | None, pin_tir_um: Tir | None) -> bool | None:
    """Whether the excess is at most the runout of the pin itself; None where either is unknown."""
    if excess_um is None or pin_tir_um is None:
        return None
    return NEGLIGIBLE_UM < excess_um <= pin_tir_um + NEGLIGIBLE_UM


def refuse_uneven(planes: Iterable[tuple[str, Plane]]) -> None:
    """Raise BadRequestError where repeated or reversed readings are not as many as those of their plane.

    Parameters
    ----------
    planes
        Planes of a request, each with its JSON Pointer.
    """
    faults = []
    for at, plane in planes:
        if isinstance(plane, RangePlane):
            continue
        count = len(plane.points) if isinstance(plane, DialPlane) else len(plane.readings_um)
        others = [(f"{at}/repeats_um/{number}", one) for number, one in enumerate(plane.repeats_um or ())]
        if plane.reversed_um is not None:
            others.append((f"{at}/reversed_um", plane.reversed_um))
        faults += [
            Fault(pointer, f"has {len(one)} readings, its plane {count}", "invalid_value")
            for pointer, one in others
            if len(one) != count
        ]
    if faults:
        raise BadRequestError(faults)
