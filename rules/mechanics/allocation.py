"""How small contributors must be for the sum to reach a target."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from scipy.optimize import brentq

from rules.random_vectors.random_sum import RandomClocking

__all__ = ["equal_effort_factor"]

_LARGEST_FACTOR: Final = 1e6
"""Beyond it the scaled contributors do not matter: there is no factor to tell."""


def equal_effort_factor(
    target: float, fixed: Sequence[float], scaled: Sequence[float], scaled_sigma: float = 0.0, probability: float = 0.95
) -> float | None:
    """Return the one factor on the scaled contributors with which a quantile of the sum equals a target.

    Solves q_p(fixed, λ·scaled, λ·σ) = target for λ; with nothing fixed the law scales, so λ = target/q_p exactly.
    Parameters: target ≥ 0 and amplitudes ≥ 0, one unit; scaled_sigma, the plane Gaussian's σ per axis; probability
    above 0 and below 1. Returns None when the fixed part alone exceeds the target, or nothing is scaled. Raises
    ValueError for a target that is not finite or negative, and as `resultant_quantiles`. Source: first principles.

    >>> round(equal_effort_factor(5.0, [], [3.0, 4.0], probability=0.5), 12)
    1.0
    """
    if not 0.0 <= target < math.inf:
        raise ValueError("a target must be finite, zero or more")

    def excess(factor: float) -> float:
        law = RandomClocking([*fixed, *(factor * a for a in scaled)], factor * scaled_sigma)
        return float(law.quantiles((probability,))[0]) - target

    full = excess(1.0) + target
    if not any(scaled) and scaled_sigma == 0.0:
        return None
    if not any(fixed):
        return target / full
    if excess(0.0) > 0.0:
        return None
    high = 1.0
    while excess(high) < 0.0:
        high *= 2.0
        if high > _LARGEST_FACTOR:
            return None
    return float(brentq(excess, 0.0, high, xtol=1e-9, rtol=1e-9))
