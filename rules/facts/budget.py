"""The runout budget: the contributors summed at a plane under random clocking."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rules.facts.contributors import Contributor
from rules.mechanics.random_clocking import RandomClocking, best_clocking, gaussian_sigma, variance_shares

__all__ = ["PlaneBudget", "Vector", "budget_at", "budgets_at", "law_at", "law_of", "vectors_at"]


@dataclass(frozen=True, slots=True)
class Vector:
    """One contribution at one plane: half of a reading, as a vector."""

    amplitude: complex
    capability: bool
    """Its size varies from part to part; otherwise it is as large as stated."""
    group: int | None
    """Vectors of one group have known directions to each other; None for a direction of its own."""


@dataclass(frozen=True, slots=True)
class PlaneBudget:
    """Predicted total indicator reading at one plane, µm."""

    z_mm: float
    p50_um: float
    p95_um: float
    best_clocking_um: float
    worst_case_um: float | None
    probability_within_limit: float | None
    own_tir_um: tuple[float, ...]
    """Each contributor's own reading there."""
    shares: tuple[float, ...]
    """Each contributor's share of the mean square reading; negative where a known direction takes away."""


def vectors_at(z_mm: float, contributors: Iterable[Contributor]) -> list[Vector]:
    """Return the contributions at z."""
    return [Vector(item.line.at(z_mm), item.law == "capability", item.group) for item in contributors]


def _sums(vectors: Sequence[Vector]) -> tuple[list[float], list[float], dict[int, complex]]:
    """Return hard amplitudes (groups as one), Gaussian sigmas, and the sum of each group."""
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
    """Return the law of the sum of vectors, groups clocked at random against each other."""
    hard, sigmas, _ = _sums(vectors)
    return RandomClocking(hard, math.hypot(*sigmas))


def law_at(z_mm: float, contributors: Iterable[Contributor]) -> RandomClocking:
    """Return the law of the eccentricity at z, µm; a total indicator reading is twice that."""
    return law_of(vectors_at(z_mm, contributors))


def budget_at(z_mm: float, contributors: Sequence[Contributor], limit_um: float | None) -> PlaneBudget:
    """Sum the contributors at z: exact law of randomly clocked vectors, doubled to a TIR."""
    return budgets_at([z_mm], contributors, limit_um)[0]


def budgets_at(
    planes: Sequence[float], contributors: Sequence[Contributor], limit_um: float | None
) -> list[PlaneBudget]:
    """Sum the contributors at several planes, which share much of the work."""
    vectors = [vectors_at(z, contributors) for z in planes]
    sums = [_sums(one) for one in vectors]
    laws = [RandomClocking(hard, math.hypot(*sigmas)) for hard, sigmas, _ in sums]
    quantiles = RandomClocking.quantiles_of(laws, (0.5, 0.95))
    return [
        PlaneBudget(
            z,
            2.0 * p50,
            2.0 * p95,
            2.0 * best_clocking([*hard, *(abs(vector.amplitude) for vector in own if vector.capability)]),
            None if sigmas else 2.0 * law.greatest,
            None if limit_um is None else law.probability(limit_um / 2.0),
            tuple(2.0 * abs(vector.amplitude) for vector in own),
            _shares(own, groups),
        )
        for z, own, (hard, sigmas, groups), law, (p50, p95) in zip(planes, vectors, sums, laws, quantiles, strict=True)
    ]


def _shares(vectors: Sequence[Vector], groups: dict[int, complex]) -> tuple[float, ...]:
    """Return each contributor's share of the mean square reading."""
    fixed = [0j if vector.capability else vector.amplitude for vector in vectors]
    sigmas = [gaussian_sigma(abs(vector.amplitude)) if vector.capability else 0.0 for vector in vectors]
    sums = [one if vector.group is None else groups[vector.group] for one, vector in zip(fixed, vectors, strict=True)]
    return tuple(variance_shares(fixed, sigmas, sums).tolist())
