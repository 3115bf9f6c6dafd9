"""All sums of randomly clocked vectors that a check asks for, worked out in one go: alone each costs more."""

from __future__ import annotations

from typing import NamedTuple

from rules.balance.analysis import (
    CoupleSum,
    UnbalanceSum,
    UnbalanceVectors,
    couple_sum,
    unbalance_question,
    unbalance_sum,
)
from rules.quantities.missing import Lack, Maybe
from rules.random_vectors.random_sum import Question, RandomClocking
from rules.runout.analysis import PlaneBudget, plane_law
from rules.runout.contributors import Contributors

__all__ = ["RandomSums", "random_sums_of"]


class RandomSums(NamedTuple):
    """Runout at two planes, unbalance and couple."""

    gauge_plane: Maybe[PlaneBudget]
    tip: Maybe[PlaneBudget]
    unbalance: Maybe[UnbalanceSum]
    couple: Maybe[CoupleSum]


def random_sums_of(
    gauge_plane: Maybe[float],
    tip: Maybe[float],
    contributors: Contributors,
    vectors: Maybe[UnbalanceVectors],
    limit_um: float | None,
) -> RandomSums:
    """Sum the contributors at gauge plane and tip (mm from the gauge line), and the vectors of unbalance."""
    planes = [
        place if isinstance(place, Lack) else plane_law(place, contributors.known, limit_um)
        for place in (gauge_plane, tip)
    ]
    questions: list[Question] = [plane.question() for plane in planes if not isinstance(plane, Lack)]
    if not isinstance(vectors, Lack):
        questions.append(unbalance_question(vectors.static))
    answers = iter(RandomClocking.figures_of(questions))
    at_gauge_plane, at_tip = [plane if isinstance(plane, Lack) else plane.budget(next(answers)) for plane in planes]
    if isinstance(vectors, Lack):
        return RandomSums(at_gauge_plane, at_tip, vectors, vectors)
    unbalance = unbalance_sum(vectors.static, questions[-1], next(answers))
    return RandomSums(at_gauge_plane, at_tip, unbalance, couple_sum(vectors.couple))
