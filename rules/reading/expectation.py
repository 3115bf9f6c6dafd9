"""Expected runout at a measuring plane, the position of a reading in it, and the result of a trial turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.analysis import StackAnalysis
from rules.quantities.missing import Missing
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded
from rules.reading.formulas import best_further_turn, split_by_turn, turn_error_ratio
from rules.reading.planes import NEGLIGIBLE_UM, Means, PlaneFit, fit_plane
from rules.runout.analysis import PlaneBudget, budget_at, law_at
from rules.runout.contributors import Contributor, positions_of
from rules.runout.formulas import Eccentricity, Tir, eccentricity_of, tir_of
from rules.runout.report import not_stated, plane_figures
from rules.schema.components import GaugePin
from rules.schema.reading import DecisionReport, PredictedPlane, Trial, TrialReport
from rules.schema.report import JointEnds
from rules.stack.chain import Chain, StackJoint

__all__ = ["Prediction", "TrialResult", "evaluate_trial", "joint_to_try", "lacking", "pin_readings_um", "predict"]


@dataclass(frozen=True, slots=True)
class Prediction:
    """Prediction for one plane and position of the reading in it, before rounding."""

    number: int
    """Number of the plane in the request, from 1."""
    budget: PlaneBudget
    share_below: float
    outside: bool
    """Whether the reading exceeds that of 99 of 100 assemblies; it exceeds every one if it is above the worst case."""

    def report(self, derived: StackAnalysis) -> PredictedPlane:
        """Return the prediction for the answer."""
        name = f"plane_{self.number}"
        return PredictedPlane(
            **plane_figures(name, self.budget.z_mm, derived.chain, derived.geometry, self.budget),
            share_below=rounded(self.share_below, "ratio"),
            above_p99=self.outside,
        )


def lacking(derived: StackAnalysis) -> list[MissingQuantity]:
    """Return the missing fields of a prediction, since a partial sum of contributors predicts nothing."""
    lacks = not_stated(derived.contributors)
    face = derived.geometry.last_clamping_face
    if isinstance(face, Missing):
        lacks.append(MissingQuantity(quantity="last_clamping_face", unit="mm", at=list(face.fields)))
    return lacks


def predict(derived: StackAnalysis, fit: PlaneFit, number: int) -> Prediction | None:
    """Return the predicted reading of a plane from the whole stack; None while data is missing."""
    face, contributors = derived.geometry.last_clamping_face, derived.contributors
    if isinstance(face, Missing) or contributors.lacking is not None:
        return None
    z_mm = face + fit.distance_mm
    budget = budget_at(z_mm, contributors.known, None)
    share_below = law_at(z_mm, contributors.known).probability(eccentricity_of(fit.judged_um))
    return Prediction(number, budget, share_below, fit.judged_um > budget.assemblies.p99_um + NEGLIGIBLE_UM)


def pin_readings_um(derived: StackAnalysis, distance_mm: float) -> list[Tir] | None:
    """Return what each error of the gauge pin alone reads at a distance from its clamp; None where unknown."""
    members, face = derived.chain.members, derived.geometry.last_clamping_face
    if len(members) < 2 or not isinstance(members[-1].part, GaugePin) or isinstance(face, Missing):
        return None
    # the clearance of its joint has the pin's name too, but it displaces the whole pin
    own = [
        item
        for item in derived.contributors.known
        if item.component == members[-1].part.id and item.displaces_from >= len(members)
    ]
    at = face + distance_mm
    return [tir_of(Eccentricity(abs(item.line.at(at)))) for item in own] or None


def joint_to_try(
    derived: StackAnalysis, budget: PlaneBudget | None, but_not: JointEnds | None
) -> tuple[StackJoint, int] | None:
    """Return the joint for a trial turn, with its positions: that of the largest contributor that can be turned.

    If some contributors are unknown, it is the last joint, the clamp of the tool. Joints already tried are left out;
    None if no joint is left.
    """
    chain = derived.chain
    every = zip(chain.joints, positions_of(chain)[1:], strict=True)
    open_to_turn = [(case, positions) for case, positions in every if positions != 1 and case.ends_named != but_not]
    if budget is not None:
        known = sorted(zip(budget.own_tir_um, derived.contributors.known, strict=True), key=lambda pair: -pair[0])
        for _, item in known:
            place = _joint_of(item, chain)
            for case, positions in open_to_turn:
                if case is place:
                    return case, positions
    return open_to_turn[-1] if open_to_turn else None


def _joint_of(item: Contributor, chain: Chain) -> StackJoint | None:
    """Return the joint that turns a contributor relative to the parts before it; the first one for the spindle."""
    if not chain.joints:
        return None
    owner = min(item.displaces_from, len(chain.members)) - 1
    if owner >= 0 and chain.members[owner].part.id != item.component:
        owner += 1  # a clearance displaces the component itself, not only the parts beyond it
    return chain.joints[max(0, min(owner, len(chain.joints)) - 1)]


_MOST_ERROR: Final = 10.0
"""Largest magnification of reading errors of a usable trial turn, relative to half a turn; exceeded below 11.5°."""


@dataclass(frozen=True, slots=True)
class TrialResult:
    """Result of a trial turn, before rounding."""

    joint: JointEnds
    before_um: Eccentricity
    beyond_um: Eccentricity
    turn_deg: float
    leaves_um: Tir
    """Expected runout after the best further turn."""
    second: PlaneFit
    """The plane as read in the trial position."""

    def report(self, decision: DecisionReport | None) -> TrialReport:
        """Return it as in the report, with the decision on the trial position."""
        return TrialReport(
            joint=self.joint,
            before_joint_um=rounded(self.before_um, "um"),
            beyond_joint_um=rounded(self.beyond_um, "um"),
            turn_deg=self.turn_deg,
            leaves_tir_um=rounded(self.leaves_um, "um"),
            decision=decision,
        )


def evaluate_trial(
    trial: Trial, first: PlaneFit, means: Means, chain: Chain | None
) -> tuple[TrialResult | None, list[str]]:
    """Return the result of a trial turn at the first plane; without a result, a note gives the reason."""
    name = f"{trial.upper}/{trial.lower}"
    positions = 0 if chain is None else _positions(trial, chain)
    second = fit_plane(trial.plane, means)
    if positions is None:
        return None, [f"The trial turn gives no result: {name} is not a joint of the stack."]
    if not first.directed or not second.directed:
        return None, ["The trial turn gives no result: a total indicator reading has no direction."]
    if first.eccentricity is None or second.eccentricity is None:
        return None, ["The trial turn gives no result: the readings do not cover a full turn."]
    if abs(second.distance_mm - first.distance_mm) > 1e-3:
        return None, ["The trial turn gives no result: it was not measured at the distance of the first plane."]
    if turn_error_ratio(trial.turned_deg) > _MOST_ERROR:
        return None, [f"The trial turn gives no result: a turn by {trial.turned_deg:.10g}° is too small."]
    notes = []
    if positions == 1:
        notes.append(f"Whether joint {name} fits in other positions is not stated; the result assumes that it does.")
    split = split_by_turn(first.eccentricity, second.eccentricity, trial.turned_deg)
    turn = best_further_turn(split, trial.turned_deg, 0 if positions == 1 else positions)
    result = TrialResult(
        JointEnds(upper=trial.upper, lower=trial.lower),
        Eccentricity(abs(split.before)),
        Eccentricity(abs(split.beyond)),
        rounded(turn.angle_deg, "deg") % 360.0,
        tir_of(turn.eccentricity),
        second,
    )
    return result, notes


def _positions(trial: Trial, chain: Chain) -> int | None:
    """Return the number of positions of a joint, 0 for any angle; None if the stack has no such joint."""
    for case, positions in zip((chain.spindle_joint, *chain.joints), positions_of(chain), strict=True):
        if case is not None and (case.upper_name, case.lower.part.id) == (trial.upper, trial.lower):
            return positions
    return None
