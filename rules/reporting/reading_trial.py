"""What a trial turn tells: both sides of the joint, and the turn that leaves least."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.mechanics.trial_turn import best_further_turn, split_by_turn, turn_error_ratio
from rules.quantities.rounding import rounded
from rules.reporting.reading_planes import PlaneFit, fit_plane
from rules.runout.contributors import positions_of
from rules.schema.reading import Trial, TrialReport
from rules.stack.chain import Chain

__all__ = ["TrialResult", "evaluate_trial"]

_MOST_ERROR: Final = 10.0
"""A turn that magnifies errors of reading more than this, against half a turn, tells nothing: below 11.5°."""


@dataclass(frozen=True, slots=True)
class TrialResult:
    """A trial before rounding."""

    upper: str
    lower: str
    before_um: float
    beyond_um: float
    turn_deg: float
    leaves_um: float
    """Total indicator reading to expect after the best further turn."""

    @property
    def joint(self) -> str:
        """The joint as people read it."""
        return f"{self.upper}/{self.lower}"

    def report(self) -> TrialReport:
        """Tell it."""
        return TrialReport(
            joint=self.joint,
            before_joint_um=rounded(self.before_um, "um"),
            beyond_joint_um=rounded(self.beyond_um, "um"),
            turn_deg=self.turn_deg,
            leaves_tir_um=rounded(self.leaves_um, "um"),
        )


def evaluate_trial(trial: Trial, first: PlaneFit, chain: Chain | None) -> tuple[TrialResult | None, list[str]]:
    """Evaluate a trial turn against the first plane; where it tells nothing, a note says why."""
    name = f"{trial.upper}/{trial.lower}"
    positions = 0 if chain is None else _positions(trial, chain)
    second = fit_plane(trial.plane)
    if positions is None:
        return None, [f"The trial tells nothing: {name} is no joint of the stack."]
    if not first.directed or not second.directed:
        return None, ["The trial tells nothing: a total indicator reading alone has no direction."]
    if first.eccentricity is None or second.eccentricity is None:
        return None, ["The trial tells nothing: the readings don't go round."]
    if abs(second.distance_mm - first.distance_mm) > 1e-3:
        return None, ["The trial tells nothing: it was not read at the distance of the first plane."]
    if turn_error_ratio(trial.turned_deg) > _MOST_ERROR:
        return None, [f"The trial tells nothing: a turn by {trial.turned_deg:.10g}° is none, or nearly none."]
    notes = []
    if positions == 1:
        notes.append(f"By its coupling {name} is not known to fit in other positions; its turn is told as if it did.")
    split = split_by_turn(first.eccentricity, second.eccentricity, trial.turned_deg)
    turn = best_further_turn(split, trial.turned_deg, 0 if positions == 1 else positions)
    result = TrialResult(
        trial.upper,
        trial.lower,
        abs(split.before),
        abs(split.beyond),
        rounded(turn.angle_deg, "deg") % 360.0,
        2.0 * turn.eccentricity,
    )
    return result, notes


def _positions(trial: Trial, chain: Chain) -> int | None:
    """In how many positions the joint fits, 0 for any; None where the stack has no such joint."""
    for case, positions in zip((chain.spindle_joint, *chain.joints), positions_of(chain), strict=True):
        if case is not None and (case.upper_name, case.lower.part.id) == (trial.upper, trial.lower):
            return positions
    return None
