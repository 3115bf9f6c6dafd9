"""Reading the gauge: readings go in; what they tell, what was to be expected and what to do next comes out."""

from __future__ import annotations

from rules.answer.provenance import cautions, general_cautions, provenance, requested_thresholds
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.facts.derive import Derived, derive
from rules.quantities.missing import Lack
from rules.quantities.models import LackingFact
from rules.reporting.reading_decision import decide, excess_over, pin_may_explain
from rules.reporting.reading_next_step import Reading, next_step
from rules.reporting.reading_planes import PlaneFit, axis_through, fit_plane, plane_notes, plane_reading
from rules.reporting.reading_prediction import lacking, pin_tir_um, predict
from rules.reporting.reading_trial import TrialResult, evaluate_trial
from rules.rulebook.book import Rulebook
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve

__all__ = ["read_gauge"]


def read_gauge(request: ReadingRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> ReadingReport:
    """Say what a reading tells of a stack.

    No rule is judged; the book is named as what was in force, so that answers to one stack can be put side by side.
    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    requested_thresholds(request.policy, book)
    derived, undefined = _derived(request, catalogue)
    planes = [fit_plane(plane) for plane in request.planes]
    trial, trial_notes = _trial(request, planes[0], derived)
    predictions = [None if derived is None else predict(derived, fit) for fit in planes]
    decision = excess = None
    if request.limit_um is not None:
        decision = decide(planes[0], request.limit_um, request.expanded_uncertainty_um)
        excess = excess_over(planes[0].judged_um, request.limit_um, request.expanded_uncertainty_um)
    pin = _pin(request, planes[0], derived)
    explained = pin_may_explain(excess, pin)
    return ReadingReport(
        planes=[plane_reading(fit) for fit in planes],
        axis=axis_through(planes, _tip_distance(derived)),
        prediction=[None if prediction is None else prediction.report() for prediction in predictions],
        not_stated=undefined if derived is None else lacking(derived),
        trial=None if trial is None else trial.report(),
        decision=decision,
        pin_may_explain=explained,
        notes=[*plane_notes(planes), *trial_notes],
        next_step=next_step(Reading(planes, predictions, trial, decision, excess, pin, explained, derived)),
        cautions=general_cautions() if derived is None else cautions(derived),
        provenance=provenance(request, request.policy, book, catalogue.digest),
    )


def _derived(request: ReadingRequest, catalogue: Catalogue) -> tuple[Derived | None, list[LackingFact]]:
    """Return what follows of the stack, where one is stated; or which components of it are not defined."""
    if request.stack is None:
        return None, []
    check = CheckRequest(
        stack=request.stack,
        components=request.components,
        operation=None,
        machine=request.machine,
        policy=request.policy,
    )
    resolved = resolve(check, catalogue.definitions)
    if resolved.broken:
        return None, [LackingFact(fact="component", fields=list(resolved.lacking))]
    return derive(resolved.request), []


def _trial(request: ReadingRequest, first: PlaneFit, derived: Derived | None) -> tuple[TrialResult | None, list[str]]:
    if request.trial is None:
        return None, []
    return evaluate_trial(request.trial, first, None if derived is None else derived.chain)


def _pin(request: ReadingRequest, first: PlaneFit, derived: Derived | None) -> float | None:
    """What the pin may read: by the stack's own pin, else as the request says."""
    stated = None if derived is None else pin_tir_um(derived, first.distance_mm)
    return request.pin_tir_um if stated is None else stated


def _tip_distance(derived: Derived | None) -> float | None:
    if derived is None:
        return None
    tip, face = derived.geometry.tip, derived.geometry.last_clamping_face
    return None if isinstance(tip, Lack) or isinstance(face, Lack) else tip - face
