"""Evaluation of gauge readings of a stack: result, expected runout and the next step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.analysis import StackAnalysis, analyse, cautions_of
from rules.answer.provenance import general_cautions, provenance, refuse_assumptions, threshold_overrides
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.quantities.missing import Missing
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded_for_people
from rules.reading.expectation import (
    Prediction,
    TrialResult,
    evaluate_trial,
    joint_to_try,
    lacking,
    pin_tir_um,
    predict,
)
from rules.reading.planes import (
    PlaneFit,
    axis_through,
    decide,
    excess_over,
    fit_plane,
    pin_may_explain,
    plane_notes,
    plane_reading,
)
from rules.rulebook.book import Rulebook
from rules.runout.formulas import Tir
from rules.schema.reading import DecisionReport, NextStep, ReadingReport, ReadingRequest
from rules.schema.report import JointEnds
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve

__all__ = ["read_gauge"]


_SENSE: Final = "against the direction in which the spindle is turned for reading"


@dataclass(frozen=True, slots=True)
class Reading:
    """All readings and results, before they are put into words."""

    planes: Sequence[PlaneFit]
    predictions: Sequence[Prediction | None]
    trial: TrialResult | None
    decision: DecisionReport | None
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


def _outside(reading: Reading) -> NextStep | None:
    for fit, prediction in zip(reading.planes, reading.predictions, strict=True):
        if prediction is None or not prediction.outside:
            continue
        worst = prediction.budget.worst_case_um
        if worst is not None and fit.judged_um > worst:
            exceeded = f"the worst case of {_um(worst)}"
        else:
            exceeded = f"the 99th percentile of {_um(prediction.budget.assemblies.p99_um)}"
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
    return _step(
        "accept",
        f"The reading of {reading.read}, with an expanded uncertainty of"
        f" {_um(decision.expanded_uncertainty_um or 0.0)}, is"
        f" within the limit of {_um(decision.limit_um)}.",
    )


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
    limit, uncertainty = decision.limit_um, decision.expanded_uncertainty_um
    over = f"the limit of {_um(limit)}"
    if uncertainty:
        over = f"the acceptance limit of {_um(limit - uncertainty)} (limit {_um(limit)} less the uncertainty)"
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
            f"The reading of {reading.read} does not cover a full turn. Measure in three or more directions, well"
            " apart.",
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
    _outside,
    _conforms,
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
    derived, undefined = _derived(request, catalogue)
    planes = [fit_plane(plane) for plane in request.planes]
    trial, trial_notes = _trial(request, planes[0], derived)
    predictions = [
        None if derived is None else predict(derived, fit, number) for number, fit in enumerate(planes, start=1)
    ]
    decision = excess = None
    if request.limit_um is not None:
        decision = decide(planes[0], request.limit_um, request.expanded_uncertainty_um)
        excess = excess_over(planes[0].judged_um, request.limit_um, request.expanded_uncertainty_um)
    pin = _pin(request, planes[0], derived)
    explained = pin_may_explain(excess, pin)
    return ReadingReport(
        planes=[plane_reading(fit) for fit in planes],
        axis=axis_through(planes, _tip_distance(derived)),
        prediction=[
            None if prediction is None or derived is None else prediction.report(derived) for prediction in predictions
        ],
        not_stated=undefined if derived is None else lacking(derived),
        trial=None if trial is None else trial.report(),
        decision=decision,
        pin_may_explain=explained,
        notes=[*plane_notes(planes), *trial_notes],
        next_step=next_step(Reading(planes, predictions, trial, decision, excess, pin, explained, derived)),
        cautions=general_cautions() if derived is None else cautions_of(derived),
        provenance=provenance(request, request.policy, book, catalogue.digests),
    )


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
    request: ReadingRequest, first: PlaneFit, derived: StackAnalysis | None
) -> tuple[TrialResult | None, list[str]]:
    if request.trial is None:
        return None, []
    return evaluate_trial(request.trial, first, None if derived is None else derived.chain)


def _pin(request: ReadingRequest, first: PlaneFit, derived: StackAnalysis | None) -> Tir | None:
    """Return the permitted runout of the pin: that of the pin in the stack, else as stated in the request."""
    stated = None if derived is None else pin_tir_um(derived, first.distance_mm)
    return stated if stated is not None or request.pin_tir_um is None else Tir(request.pin_tir_um)


def _tip_distance(derived: StackAnalysis | None) -> float | None:
    if derived is None:
        return None
    tip, face = derived.geometry.tip, derived.geometry.last_clamping_face
    return None if isinstance(tip, Missing) or isinstance(face, Missing) else tip - face
