"""The runout budget: the contributors summed at a plane under random clocking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rules.facts.contributors import Contributor
from rules.mechanics.random_clocking import (
    RandomClocking,
    best_clocking,
    gaussian_sigma,
    variance_shares,
)

__all__ = ["PlaneBudget", "budget_at", "split_law"]


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
    """Each contributor's share of the mean square reading; zeros where nothing contributes."""


def split_law(amplitudes: Sequence[tuple[float, bool]]) -> tuple[list[float], list[float]]:
    """Split (amplitude, is_capability) into hard amplitudes and Gaussian sigmas, zeros where of the other law."""
    hard = [0.0 if capable else amplitude for amplitude, capable in amplitudes]
    sigmas = [gaussian_sigma(amplitude) if capable else 0.0 for amplitude, capable in amplitudes]
    return hard, sigmas


def budget_at(z_mm: float, contributors: Sequence[Contributor], limit_um: float | None) -> PlaneBudget:
    """Sum the contributors at z: exact law of randomly clocked vectors, doubled to a TIR."""
    amplitudes = [(abs(item.line.at(z_mm)), item.law == "capability") for item in contributors]
    hard, sigmas = split_law(amplitudes)
    sigma = math.sqrt(sum(s * s for s in sigmas))
    present = [a for a in hard if a > 0.0]
    law = RandomClocking(present, sigma)
    p50, p95 = (2.0 * radius for radius in law.quantiles((0.5, 0.95)).tolist())
    within = None if limit_um is None else law.probability(limit_um / 2.0)
    return PlaneBudget(
        z_mm,
        p50,
        p95,
        2.0 * best_clocking([a for a, _ in amplitudes]),
        2.0 * law.greatest if sigma == 0.0 else None,
        within,
        tuple(2.0 * a for a, _ in amplitudes),
        tuple(float(s) for s in variance_shares(hard, sigmas)) if any(a for a, _ in amplitudes) else (0.0,) * len(hard),
    )
