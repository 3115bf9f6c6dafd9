"""Evaluation of gauge readings of a stack: result, expected runout and the next step."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.analysis import StackAnalysis, analyse, cautions_of
from rules.answer.provenance import general_cautions, provenance, refuse_assumptions, threshold_overrides
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.grip.shrink import is_shrink
from rules.quantities.missing import Missing
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded_for_people
from rules.reading.expectation import (
    Prediction,
    TrialResult,
    evaluate_trial,
    joint_to_try,
    lacking,
    pin_readings_um,
    predict,
)
from rules.reading.planes import (
    Means,
    PlaneFit,
    axis_through,
    decide,
    excess_over,
    fit_plane,
    guard_band_um,
    pin_may_explain,
    plane_notes,
    plane_reading,
    refuse_uneven,
)
from rules.rulebook.book import Rulebook
from rules.runout.analysis import budget_at
from rules.runout.formulas import Tir
from rules.schema.components import Cutter, GaugePin
from rules.schema.reading import (
    DecisionReport,
    NextStep,
    Plane,
    RangePlane,
    ReadingReport,
    ReadingRequest,
    ReadSurface,
)
from rules.schema.report import JointEnds
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve
from rules.stack.positions import surface_at

__all__ = ["read_gauge"]


_OFTEN: Final = 2
"""Cleanings after which dirt is no longer the likely cause (common practice)."""

_SENSE: Final = "against the direction in which the spindle is turned for reading"


@dataclass(frozen=True, slots=True)
class Reading:
    """All readings and results, before they are put into words."""

    planes: Sequence[PlaneFit]
    predictions: Sequence[Prediction | None]
    trial: TrialResult | None
    decision: DecisionReport | None
    trial_decision: DecisionReport | None
    times_cleaned: int
    excess_um: float | None
    pin_tir_um: Tir | None
    pin_may_explain: bool | None
    derived: StackAnalysis | None

    @property
    def read(self) -> str:
        """Return the judged reading, for a sentence."""
        return _um(self.planes[0].judged_um)


def next_step(reading: Reading) -> NextStep:
    """Return the first step that applies, in the order of `_STEPS`."""
    return next(step for make in _STEPS if (step := make(reading)) is not None)


def _trial_conforms(reading: Reading) -> NextStep | None:
    decision, trial = reading.trial_decision, reading.trial
    if decision is None or trial is None or decision.decision != "conforms":
        return None
    return _step(
        "accept",
        f"In the trial position of {trial.joint.lower} in {trial.joint.upper} the reading is {_um(decision.tir_um)},"
        f" with a guard band of {_um(decision.guard_band_um or 0.0)} within the limit of {_um(decision.limit_um)}."
        " Leave it there.",
    )


def _unreadable(reading: Reading) -> NextStep | None:
    obstacle = reading.planes[0].obstacle
    return (
        None if obstacle is None else _step("measure_better", f"{obstacle} Read again where the limit can be judged.")
    )


def _outside(reading: Reading) -> NextStep | None:
    for fit, prediction in zip(reading.planes, reading.predictions, strict=True):
        if prediction is None or not prediction.outside:
            continue
        worst = prediction.budget.worst_case_um
        if worst is not None and fit.judged_um > worst:
            exceeded = f"the worst case of {_um(worst)}"
        else:
            exceeded = f"the 99th percentile of {_um(prediction.budget.assemblies.p99_um)}"
        if reading.times_cleaned >= _OFTEN:
            return _step(
                "replace",
                f"The reading of {_um(fit.judged_um)} at {_number(fit.distance_mm, 'mm')} mm exceeds {exceeded}, and"
                f" {reading.times_cleaned} cleanings did not change that. Suspect a worn or damaged taper or bore: read"
                " the spindle with its test bar, then each part alone, and replace the one that is off.",
            )
        return _step(
            "clean_and_reseat",
            f"The reading of {_um(fit.judged_um)} at {_number(fit.distance_mm, 'mm')} mm exceeds {exceeded}, so"
            " the stack data do"
            " not explain it. Take the stack apart, clean every taper and bore, reassemble it and measure again.",
        )
    return None


def _conforms(reading: Reading) -> NextStep | None:
    decision = reading.decision
    if decision is None or decision.decision != "conforms":
        return None
    words = (
        f"The reading of {reading.read}, with a guard band of {_um(decision.guard_band_um or 0.0)}, is within the limit"
        f" of {_um(decision.limit_um)}."
    )
    if any(one is not None and one.outside for one in reading.predictions):
        words += " It is more than the stack data explain: clean and reseat the stack before it is used again."
    return _step("accept", words)


def _turn_as_tried(reading: Reading) -> NextStep | None:
    trial, decision = reading.trial, reading.decision
    if trial is None or decision is None or not trial.leaves_um < decision.limit_um:
        return None
    left = f"expected runout {_um(trial.leaves_um)}, limit {_um(decision.limit_um)}. Then measure again."
    if trial.turn_deg == 0.0:
        words = f"Leave {trial.joint.lower} in {trial.joint.upper} in the trial position: {left}"
    else:
        turn = f"by {_number(trial.turn_deg, 'deg')}° from its present position, {_SENSE}"
        words = f"Turn {trial.joint.lower} in {trial.joint.upper} {turn}: {left}"
    return _step("turn_joint", words, trial.joint, trial.turn_deg)


def _suspect_the_pin(reading: Reading) -> NextStep | None:
    decision = reading.decision
    if not reading.pin_may_explain or decision is None or reading.excess_um is None or reading.pin_tir_um is None:
        return None
    limit, acceptance = decision.limit_um, reading.planes[0].judged_um - reading.excess_um
    over = f"the limit of {_um(limit)}"
    if acceptance < limit:
        over = f"the acceptance limit of {_um(acceptance)} (limit {_um(limit)} less the guard band without the pin)"
    return _step(
        "use_precision_pin",
        f"The reading of {reading.read} is {_um(reading.excess_um)} above {over}. The runout of the gauge pin"
        " itself may be"
        f" {_um(reading.pin_tir_um)}. Measure again with a pin of less runout.",
    )


def _measure_better(reading: Reading) -> NextStep | None:
    decision, first = reading.decision, reading.planes[0]
    if decision is None and not first.whole_turn:
        return _step(
            "measure_better",
            f"The reading of {reading.read} does not cover a full turn. Read at eight even angles or more.",
        )
    if decision is None or decision.decision != "not_proven" or first.judged_um > decision.limit_um:
        return None
    return _step(
        "measure_better",
        f"The reading of {reading.read} is within the limit of {_um(decision.limit_um)}, but conformity is not proven."
        f" {decision.would_settle}",
    )


def _accept_without_limit(reading: Reading) -> NextStep | None:
    if reading.decision is not None:
        return None
    prediction = reading.predictions[0]
    if prediction is None:
        compared = "There is no limit and no complete stack to compare it with."
    else:
        compared = (
            f"It is as predicted: median {_um(prediction.budget.assemblies.p50_um)},"
            f" 99th percentile {_um(prediction.budget.assemblies.p99_um)}. No limit is stated."
        )
    return _step("accept", f"The reading is {reading.read}. {compared}")


def _replace(reading: Reading) -> NextStep | None:
    decision, prediction, derived = reading.decision, reading.predictions[0], reading.derived
    if decision is None or prediction is None or derived is None:
        return None
    best = prediction.budget.best_clocking_um
    if best is None or not best > decision.limit_um:
        return None
    return _step(
        "replace",
        f"With parts at their limits, even the best clocking leaves {_um(best)}; the limit is {_um(decision.limit_um)}."
        f" Replace the largest contributor: {_largest(prediction, derived)}.",
    )


def _try_a_turn(reading: Reading) -> NextStep:
    prediction, derived, trial = reading.predictions[0], reading.derived, reading.trial
    limit = "" if reading.decision is None else f"; the limit is {_um(reading.decision.limit_um)}"
    begin = f"The reading is {reading.read}{limit}."
    if trial is not None:
        begin += f" Turning {trial.joint} leaves at least {_um(trial.leaves_um)}."
    if derived is None:
        what = "the next joint" if trial is not None else "the cutting tool in its clamp"
        return _step("turn_joint", f"{begin} Turn {what} by 180° and measure again.")
    budget = None if prediction is None else prediction.budget
    found = joint_to_try(derived, budget, None if trial is None else trial.joint)
    largest = "" if prediction is None else f" The largest contributor is {_largest(prediction, derived)}."
    if found is None:
        worst = "the largest contributor" if prediction is None else _largest(prediction, derived)
        return _step("replace", f"{begin} No other joint can be turned. Replace {worst}.")
    case, positions = found
    turn = f"Turn {case.lower.part.id} in {case.upper_name} by {_number(_trial_angle(positions), 'deg')}°"
    if is_shrink(case):
        turn += ", which needs heating and cooling again,"
    return _step(
        "turn_joint",
        f"{begin}{largest} {turn} and measure again. The two readings separate the errors on both sides of the joint.",
        case.ends_named,
    )


def _trial_angle(positions: int) -> float:
    """Return half a turn, or the position closest to it."""
    return 180.0 if positions == 0 else 360.0 / positions * (positions // 2)


def _largest(prediction: Prediction, derived: StackAnalysis) -> str:
    own = prediction.budget.own_tir_um
    place = max(range(len(own)), key=lambda index: own[index])
    return f"{derived.contributors.known[place].name}, {_um(own[place])}"


_STEPS: Final[tuple[Callable[[Reading], NextStep | None], ...]] = (
    _trial_conforms,
    _unreadable,
    _conforms,
    _outside,
    _turn_as_tried,
    _suspect_the_pin,
    _measure_better,
    _accept_without_limit,
    _replace,
    _try_a_turn,
)
"""In order of consideration; the last one always applies."""


def _step(action: str, text: str, joint: JointEnds | None = None, turn_deg: float | None = None) -> NextStep:
    return NextStep.model_validate({"action": action, "text": text, "joint": joint, "turn_deg": turn_deg})


def _um(value: float) -> str:
    return f"{_number(value, 'um')} µm"


def _number(value: float, unit: str) -> str:
    return f"{rounded_for_people(value, unit):.10g}"


def read_gauge(request: ReadingRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> ReadingReport:
    """Return the evaluation of readings of a stack.

    No rule is judged. The answer names the rulebook in force, so that answers about one stack can be compared.
    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    refuse_assumptions(request.policy, "a reading")
    threshold_overrides(request.policy, book)
    turned = [] if request.trial is None else [("/trial/plane", request.trial.plane)]
    refuse_uneven([*((f"/planes/{number}", plane) for number, plane in enumerate(request.planes)), *turned])
    derived, undefined = _derived(request, catalogue)
    factor = request.coverage_factor
    known = [_means(request, plane, derived) for plane in request.planes]
    planes = [fit_plane(plane, means) for plane, means in zip(request.planes, known, strict=True)]
    trial, trial_notes = _trial(request, planes[0], known[0], derived)
    predictions = [
        None if derived is None else predict(derived, fit, number) for number, fit in enumerate(planes, start=1)
    ]
    decision = second = excess = None
    if request.limit_um is not None:
        limit = _limit_here(request, derived, predictions[0])
        decision = decide(planes[0], request.limit_um, limit, request.decision_rule, factor)
        sure = planes[0].uncertainty
        band = None if sure is None else guard_band_um(sure.without_pin_um, request.decision_rule, factor)
        excess = excess_over(planes[0].judged_um, decision.limit_um, band)
        if trial is not None:
            second = decide(trial.second, request.limit_um, limit, request.decision_rule, factor)
    pin = _pin(request, planes[0], derived)
    explained = pin_may_explain(excess, pin)
    reading = Reading(
        planes, predictions, trial, decision, second, request.times_cleaned or 0, excess, pin, explained, derived
    )
    return ReadingReport(
        planes=[plane_reading(fit, factor) for fit in planes],
        axis=axis_through(planes, _tip_distance(derived), factor),
        prediction=[
            None if prediction is None or derived is None else prediction.report(derived) for prediction in predictions
        ],
        not_stated=undefined if derived is None else lacking(derived),
        trial=None if trial is None else trial.report(second),
        decision=decision,
        pin_may_explain=explained,
        notes=[*_notes(request), *plane_notes(planes), *trial_notes],
        next_step=next_step(reading),
        cautions=general_cautions() if derived is None else cautions_of(derived),
        provenance=provenance(request, request.policy, book, catalogue.digests),
    )


def _notes(request: ReadingRequest) -> list[str]:
    """Return notes on what was assumed of the instrument."""
    instrument, notes = request.instrument, []
    if any(not isinstance(plane, RangePlane) for plane in request.planes) and (
        instrument is None or instrument.positive is None
    ):
        notes.append(
            "Rising readings are taken as the surface moving outward: the direction of the indicator is not stated."
        )
    if (
        instrument is not None
        and instrument.expanded_uncertainty_um is None
        and request.expanded_uncertainty_um is None
    ):
        notes.append("No uncertainty: the instrument states none of its readings.")
    return notes


def _means(request: ReadingRequest, plane: Plane, derived: StackAnalysis | None) -> Means:
    """Return what is known of the measurement in a plane beside its readings."""
    surface, obstacle = _surface(plane, derived)
    last = derived.chain.members[-1].part if derived is not None and derived.chain.members else None
    roundness = plane.roundness_um
    if roundness is None and isinstance(last, GaugePin) and surface in (None, "pin"):
        roundness = last.roundness_um
    stated = request.expanded_uncertainty_um
    own = None if derived is None else pin_readings_um(derived, plane.distance_mm)
    pin = request.pin_tir_um if own is None else math.hypot(*own)
    return Means(
        request.instrument,
        None if stated is None else stated / request.coverage_factor,
        # a vector anywhere within a disc spreads by half its radius along each axis
        None if pin is None else pin / 4.0,
        surface,
        roundness,
        last.teeth if isinstance(last, Cutter) else None,
        obstacle,
    )


def _surface(plane: Plane, derived: StackAnalysis | None) -> tuple[ReadSurface | None, str | None]:
    """Return what is read in a plane, and what stands against it; the stack says what there is."""
    stated = plane.surface
    if derived is None or isinstance(derived.geometry.last_clamping_face, Missing):
        return stated, None
    place = surface_at(derived.chain, derived.geometry, derived.geometry.last_clamping_face + plane.distance_mm)
    last, at = derived.chain.members[-1].part, f"{_number(plane.distance_mm, 'mm')} mm"
    if place == "none":
        return stated, f"{last.id} ends before {at}: there is nothing to read."
    if place == "clamped":
        return stated, f"At {at} {last.id} is clamped: there is nothing to read."
    if place == "flutes":
        if stated == "plain_shank" or stated == "pin":
            return stated, f"At {at} there are the flutes of {last.id}, no {stated.replace('_', ' ')}."
        return stated or "flutes", None
    found: ReadSurface | None = None if place is None else "pin" if isinstance(last, GaugePin) else "plain_shank"
    if found is not None and stated is not None and stated != found:
        return stated, f"At {at} there is the {found.replace('_', ' ')} of {last.id}, no {stated.replace('_', ' ')}."
    return stated or found, None


def _limit_here(request: ReadingRequest, derived: StackAnalysis | None, first: Prediction | None) -> float | None:
    """Return the limit at the first plane; None if it is for another one and cannot be converted."""
    limit, at = request.limit_um, request.limit_at_mm
    if limit is None or at is None or abs(at - request.planes[0].distance_mm) <= _SAME_PLANE_MM:
        return limit
    if first is None or derived is None:
        return None
    face = derived.geometry.last_clamping_face
    if isinstance(face, Missing):
        return None
    there = budget_at(face + at, derived.contributors.known, None).assemblies.p95_um
    return limit * first.budget.assemblies.p95_um / there if there > 0.0 else None


_SAME_PLANE_MM: Final = 0.5
"""Planes closer than this are read as one (common practice)."""


def _derived(request: ReadingRequest, catalogue: Catalogue) -> tuple[StackAnalysis | None, list[MissingQuantity]]:
    """Return the properties of the stack, if one is stated, or its undefined components."""
    if request.stack is None:
        return None, []
    check = CheckRequest(
        stack=request.stack, components=request.components, machine=request.machine, policy=request.policy
    )
    resolved = resolve(check, catalogue.definitions)
    if resolved.broken:
        return None, [MissingQuantity(quantity="component", unit=None, at=list(resolved.lacking))]
    return analyse(resolved.request), []


def _trial(
    request: ReadingRequest, first: PlaneFit, means: Means, derived: StackAnalysis | None
) -> tuple[TrialResult | None, list[str]]:
    if request.trial is None:
        return None, []
    return evaluate_trial(request.trial, first, means, None if derived is None else derived.chain)


def _pin(request: ReadingRequest, first: PlaneFit, derived: StackAnalysis | None) -> Tir | None:
    """Return the permitted runout of the pin: that of the pin in the stack, else as stated in the request."""
    own = None if derived is None else pin_readings_um(derived, first.distance_mm)
    if own is not None:
        return Tir(sum(own))
    return None if request.pin_tir_um is None else Tir(request.pin_tir_um)


def _tip_distance(derived: StackAnalysis | None) -> float | None:
    if derived is None:
        return None
    tip, face = derived.geometry.tip, derived.geometry.last_clamping_face
    return None if isinstance(tip, Missing) or isinstance(face, Missing) else tip - face
