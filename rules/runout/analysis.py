"""The runout budget: sum of the contributors at a plane under random clocking."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from rules.quantities.missing import Missing, OrMissing, when_known
from rules.random_vectors.random_sum import (
    Answer,
    Question,
    RandomClocking,
    best_clocking,
    gaussian_sigma,
    variance_shares,
)
from rules.rulebook.fact import Properties
from rules.runout.contributors import Contributor
from rules.runout.formulas import Eccentricity, Tir, eccentricity_of, tir_of
from rules.schema.request import Operation

__all__ = [
    "PlaneBudget",
    "PlaneLaw",
    "Vector",
    "budget_at",
    "law_at",
    "law_of",
    "plane_law",
    "runout_properties",
    "spread_of",
    "vectors_at",
]


_LEVELS: Final = (0.5, 0.8, 0.95, 0.99)


class Vector(NamedTuple):
    """Contribution of one contributor at one plane: half of its reading, as a vector."""

    amplitude: complex
    capability: bool
    """Whether its size varies from part to part; otherwise it is as stated."""
    group: int | None
    """Vectors of one group have known relative directions; None for a random direction."""


class PlaneBudget(NamedTuple):
    """Predicted total indicator reading at one plane, µm."""

    z_mm: float
    p50_um: Tir
    p80_um: Tir
    p95_um: Tir
    p99_um: Tir
    best_clocking_um: Tir
    worst_case_um: Tir | None
    probability_within_limit: float | None
    own_tir_um: tuple[Tir, ...]
    """Reading of each contributor alone at this plane."""
    shares: tuple[float, ...]
    """Share of each contributor in the mean square reading; negative where a known direction reduces it."""


def vectors_at(z_mm: float, contributors: Iterable[Contributor]) -> list[Vector]:
    """Return the contributions at z."""
    return [Vector(item.line.at(z_mm), item.law == "capability", item.group) for item in contributors]


def _sums(vectors: Sequence[Vector]) -> tuple[list[float], list[float], dict[int, complex]]:
    """Return fixed amplitudes (one per group), Gaussian sigmas, and the sum of each group."""
    groups: dict[int, complex] = {}
    hard, sigmas = [], []
    for vector in vectors:
        if vector.capability:
            sigmas.append(gaussian_sigma(abs(vector.amplitude)))
        elif vector.group is None:
            hard.append(abs(vector.amplitude))
        else:
            groups[vector.group] = groups.get(vector.group, 0j) + vector.amplitude
    hard.extend(abs(total) for total in groups.values())
    return [amplitude for amplitude in hard if amplitude > 0.0], sigmas, groups


def law_of(vectors: Sequence[Vector]) -> RandomClocking:
    """Return the law of the sum of vectors, with random clocking between groups."""
    hard, sigmas, _ = _sums(vectors)
    return RandomClocking(hard, math.hypot(*sigmas))


def spread_of(vectors: Sequence[Vector]) -> tuple[float, float]:
    """Return the root mean square of the sum of vectors, and the largest sum of the fixed ones.

    Clocking between groups is random, so there are no cross terms: √(Σ a² + 2·Σ σ²).
    """
    hard, sigmas, _ = _sums(vectors)
    return math.hypot(*hard, *(math.sqrt(2.0) * sigma for sigma in sigmas)), math.fsum(hard)


def law_at(z_mm: float, contributors: Iterable[Contributor]) -> RandomClocking:
    """Return the law of the eccentricity at z, µm."""
    return law_of(vectors_at(z_mm, contributors))


class PlaneLaw(NamedTuple):
    """Contributors at one plane, and the figures required of their sum."""

    z_mm: float
    vectors: list[Vector]
    hard: list[float]
    groups: dict[int, complex]
    law: RandomClocking
    limit_um: Tir | None

    def question(self) -> Question:
        """Return the figures for the budget: median, 95th percentile, and the share within the limit."""
        return Question(self.law, _LEVELS, () if self.limit_um is None else (eccentricity_of(self.limit_um),))

    def budget(self, answer: Answer) -> PlaneBudget:
        """Return the budget from the answer; sums are eccentricities, the budget is in readings."""
        p50, p80, p95, p99 = (tir_of(Eccentricity(radius)) for radius in answer.quantiles)
        varying = [abs(vector.amplitude) for vector in self.vectors if vector.capability]
        return PlaneBudget(
            self.z_mm,
            p50,
            p80,
            p95,
            p99,
            tir_of(Eccentricity(best_clocking([*self.hard, *varying]))),
            None if varying else tir_of(Eccentricity(self.law.greatest)),
            answer.chances[0] if answer.chances else None,
            tuple(tir_of(Eccentricity(abs(vector.amplitude))) for vector in self.vectors),
            _shares(self.vectors, self.groups),
        )


def plane_law(z_mm: float, contributors: Sequence[Contributor], limit_um: Tir | None) -> PlaneLaw:
    """Return the contributors at z and the figures required of their sum."""
    vectors = vectors_at(z_mm, contributors)
    hard, sigmas, groups = _sums(vectors)
    return PlaneLaw(z_mm, vectors, hard, groups, RandomClocking(hard, math.hypot(*sigmas)), limit_um)


def budget_at(z_mm: float, contributors: Sequence[Contributor], limit_um: Tir | None) -> PlaneBudget:
    """Return the budget at z; for several budgets `RandomClocking.figures_of` is quicker."""
    plane = plane_law(z_mm, contributors, limit_um)
    return plane.budget(RandomClocking.figures_of([plane.question()])[0])


def _shares(vectors: Sequence[Vector], groups: dict[int, complex]) -> tuple[float, ...]:
    """Return the share of each contributor in the mean square reading."""
    fixed = [0j if vector.capability else vector.amplitude for vector in vectors]
    sigmas = [gaussian_sigma(abs(vector.amplitude)) if vector.capability else 0.0 for vector in vectors]
    sums = [one if vector.group is None else groups[vector.group] for one, vector in zip(fixed, vectors, strict=True)]
    return variance_shares(fixed, sigmas, sums)


def runout_properties(
    fact: Properties, operation: Operation, at_limit: OrMissing[PlaneBudget], at_tip: OrMissing[PlaneBudget]
) -> None:
    """Add runout, its limit and its ratio to the feed per tooth."""
    if operation.runout_limit_um is not None:
        fact.add("runout_limit_um", operation.runout_limit_um)
        fact.add("runout_plane", "the tip" if operation.runout_limit_at == "tip" else "the gauge plane")
        fact.add("runout_p95_um", when_known(lambda b: b.p95_um, at_limit))
        if isinstance(at_limit, Missing) or at_limit.worst_case_um is not None:
            fact.add("runout_worst_um", when_known(lambda b: b.worst_case_um, at_limit))
    if operation.feed_per_tooth_mm is not None:
        feed = operation.feed_per_tooth_mm
        fact.add("feed_per_tooth_mm", feed)
        fact.add("tip_runout_p95_um", when_known(lambda b: b.p95_um, at_tip))
        fact.add("runout_to_feed_percent", when_known(lambda b: b.p95_um / (feed * 1000.0) * 100.0, at_tip))
