"""Eccentricities at random angles: how large their vector sum is, and how likely.

The axis of a stack is displaced by vectors whose angles nobody chose. With amplitudes a_i known (or
taken at their limits) and angles independent and uniform, the resultant R = |Σ a_i·exp(jθ_i) + g|
follows Kluyver's law (1906); g is a plane Gaussian of standard deviation sigma per axis, for the
vectors whose amplitude itself varies. All lengths are in one unit, any unit; R is an amplitude, so a
total indicator reading is twice R. Everything is computed, nothing drawn at random, and every probability
is within 1e-6 of the exact one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.mechanics.resultant_compare import chance_of_less
from rules.mechanics.resultant_law import resultant_law
from rules.mechanics.resultant_quantile import law_quantiles

__all__ = [
    "best_clocking",
    "gaussian_sigma",
    "probability_less",
    "resultant_cdf",
    "resultant_cdf_many",
    "resultant_quantiles",
    "variance_shares",
    "worst_case",
]

FloatArray = NDArray[np.float64]


def resultant_cdf(radius: float, amplitudes: Sequence[float], sigma: float = 0.0) -> float:
    """Return the probability that the resultant is at most a radius.

    P(R ≤ r) = r·∫₀^∞ J₁(rt)·exp(−σ²t²/2)·Π J₀(a_i t) dt

    Parameters: radius; amplitudes ≥ 0, any number, in any order; sigma ≥ 0, per axis; one unit. Returns a
    probability, within 1e-6; 0 below the least possible resultant and 1 from the greatest on when sigma
    is 0. No vector, or one alone, gives a step: 1 at the amplitude itself and beyond. Raises
    ValueError for NaN, for an infinite or negative amplitude or sigma. Source: Kluyver, Proc. KNAW 8
    (1906); Barakat, Optica Acta 21 (1974).

    >>> round(resultant_cdf(1.0, [1.0, 1.0]), 12)
    0.333333333333
    >>> round(resultant_cdf(4.0, [3.0, 2.0, 2.5, 1.0, 1.2]), 5)
    0.48486
    """
    return float(resultant_cdf_many([radius], amplitudes, sigma)[0])


def resultant_cdf_many(radii: ArrayLike, amplitudes: Sequence[float], sigma: float = 0.0) -> FloatArray:
    """Return P(R ≤ r) for an array of radii: `resultant_cdf`, the law worked out once.

    Parameters: radii of any shape; amplitudes and sigma as there. Returns the same shape.

    >>> resultant_cdf_many([0.0, 5.0, 7.0], [3.0, 4.0]).round(12).tolist()
    [0.0, 0.5, 1.0]
    """
    parts, deviation = _checked(amplitudes, sigma)
    wanted = np.asarray(radii, dtype=np.float64)
    if np.isnan(wanted).any():
        raise ValueError("a radius must be a number")
    scale = _greatest(parts) + deviation
    if scale == 0.0:
        return np.where(wanted >= 0.0, 1.0, 0.0)
    law = resultant_law(parts / scale, deviation / scale)
    values = law.cdf(wanted.ravel() / scale).reshape(wanted.shape)
    if deviation == 0.0:  # rounding of the unit must not move the ends
        values = np.where(wanted >= _greatest(parts), 1.0, np.where(wanted < _least(parts), 0.0, values))
    return values


def resultant_quantiles(
    probabilities: Sequence[float] | FloatArray, amplitudes: Sequence[float], sigma: float = 0.0
) -> FloatArray:
    """Return the radii that the resultant stays below with given probabilities.

    P(R ≤ r_p) = p, the inverse of `resultant_cdf`

    Parameters: probabilities in [0, 1], below 1 when sigma > 0 (the resultant then has no bound);
    amplitudes and sigma as in `resultant_cdf`. Returns one radius for each, ascending with p, never
    outside [`best_clocking`, `worst_case`] when sigma is 0; p = 0 and p = 1 give those two. The
    probability of a returned radius is within 1e-6 of p, except on a step (one vector, or vectors
    narrower than rounding beside it), where the radius is exact. Raises ValueError outside the domain.
    Source: as `resultant_cdf`.

    >>> resultant_quantiles([0.5, 1.0], [3.0, 4.0]).round(12).tolist()
    [5.0, 7.0]
    >>> resultant_quantiles([0.95], [], 1.0).round(6).tolist()
    [2.447747]
    """
    parts, deviation = _checked(amplitudes, sigma)
    wanted = np.asarray(probabilities, dtype=np.float64)
    if wanted.ndim != 1:
        raise ValueError("probabilities must be a flat list")
    if not ((wanted >= 0.0) & (wanted <= 1.0)).all():
        raise ValueError("a probability must lie between 0 and 1")
    if deviation > 0.0 and (wanted == 1.0).any():
        raise ValueError("probability 1 has no radius: a Gaussian contributor has no bound")
    scale = _greatest(parts) + deviation
    if scale == 0.0:
        return np.zeros(wanted.shape)
    radii = law_quantiles(resultant_law(parts / scale, deviation / scale), wanted) * scale
    if deviation == 0.0:
        radii = np.clip(radii, _least(parts), _greatest(parts))
    return radii


def probability_less(first: Sequence[float], first_sigma: float, second: Sequence[float], second_sigma: float) -> float:
    """Return the probability that one resultant is smaller than another, independent one.

    P(R₁ < R₂) = ∫ F₁(r) dF₂(r)

    Parameters: amplitudes and sigma of either, as in `resultant_cdf`, one unit for all. Returns a
    probability, within 1e-6; two equal steps (one vector each, of one amplitude) give 0. Raises
    ValueError as `resultant_cdf`. Source: first principles.

    >>> round(probability_less([1.0, 1.0], 0.0, [1.0, 1.0, 1.0], 0.0), 6)
    0.6
    """
    parts, deviation = _checked(first, first_sigma)
    other_parts, other_deviation = _checked(second, second_sigma)
    scale = max(_greatest(parts) + deviation, _greatest(other_parts) + other_deviation)
    if scale == 0.0:
        return 0.0
    return chance_of_less(
        resultant_law(parts / scale, deviation / scale),
        resultant_law(other_parts / scale, other_deviation / scale),
    )


def worst_case(amplitudes: Sequence[float]) -> float:
    """Return the greatest possible resultant, all vectors in line: Σ a_i.

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the triangle
    inequality.

    >>> worst_case([1.5, 2.0, 0.5])
    4.0
    """
    return _greatest(_checked(amplitudes, 0.0)[0])


def best_clocking(amplitudes: Sequence[float]) -> float:
    """Return the least possible resultant, the largest vector against the rest: max(0, a_max − Σ others).

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the polygon
    inequality: vectors close to a polygon unless one is longer than all others together.

    >>> best_clocking([4.0, 1.0, 0.5])
    2.5
    """
    return _least(_checked(amplitudes, 0.0)[0])


def variance_shares(amplitudes: Sequence[float], sigmas: Sequence[float]) -> FloatArray:
    """Return each contributor's share of the mean square of the resultant.

    E[R²] = Σ (a_i² + 2σ_i²), share_i = (a_i² + 2σ_i²)/E[R²]

    Parameters: two lists of equal length, ≥ 0: the fixed amplitude of each contributor and the standard
    deviation per axis of its plane Gaussian, 0 where it has none; one unit. Returns shape (n,), of sum 1,
    or all zeros when nothing contributes. Raises ValueError outside the domain or for unequal lengths.
    Source: first principles; the angles are independent, so the cross terms vanish.

    >>> variance_shares([3.0, 1.0, 0.0], [0.0, 0.0, 1.0]).round(6).tolist()
    [0.75, 0.083333, 0.166667]
    """
    fixed = _checked(amplitudes, 0.0)[0]
    spread = _checked(sigmas, 0.0, "a sigma")[0]
    if fixed.shape != spread.shape:
        raise ValueError("amplitudes and sigmas must be lists of equal length")
    largest = max(fixed.max(initial=0.0), spread.max(initial=0.0))
    if largest == 0.0:
        return np.zeros(fixed.shape)
    squares = (fixed / largest) ** 2 + 2.0 * (spread / largest) ** 2
    return np.asarray(squares / squares.sum())


def gaussian_sigma(limit_amplitude: float, probability: float = 0.95) -> float:
    """Return the standard deviation per axis of the plane Gaussian that stays within a limit.

    σ = a/√(−2·ln(1 − p)), so that P(R ≤ a) = p; a/2.4477 at 95 %

    Parameters: limit_amplitude a ≥ 0; probability p, above 0 and below 1. Returns σ in the unit of a. Raises
    ValueError outside the domain. Source: Rayleigh distribution.

    >>> round(gaussian_sigma(2.447746831), 9)
    1.0
    """
    _checked([limit_amplitude], 0.0)
    if not 0.0 < probability < 1.0:
        raise ValueError("the probability must lie between 0 and 1, ends excluded")
    return limit_amplitude / math.sqrt(-2.0 * math.log1p(-probability))


def _checked(amplitudes: Sequence[float], sigma: float, name: str = "an amplitude") -> tuple[FloatArray, float]:
    parts = np.asarray(amplitudes, dtype=np.float64)
    if parts.ndim != 1:
        raise ValueError(f"{name} must be one number in a flat list")
    if not ((parts >= 0.0) & (parts < math.inf)).all():
        raise ValueError(f"{name} must be a finite number, zero or more")
    deviation = float(sigma)
    if not 0.0 <= deviation < math.inf:
        raise ValueError("sigma must be a finite number, zero or more")
    with np.errstate(over="ignore"):
        if not float(parts.sum()) + deviation < math.inf:
            raise ValueError("the amplitudes are too large to add up")
    return parts, deviation


def _greatest(parts: FloatArray) -> float:
    return float(math.fsum(parts.tolist()))  # the same in any order


def _least(parts: FloatArray) -> float:
    if parts.size == 0:
        return 0.0
    ordered: list[float] = sorted(parts.tolist())
    return max(0.0, ordered[-1] - math.fsum(ordered[:-1]))
