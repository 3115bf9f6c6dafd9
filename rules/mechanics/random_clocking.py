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
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.mechanics.resultant_compare import chance_of_less
from rules.mechanics.resultant_law import ResultantLaw, resultant_law
from rules.mechanics.resultant_quantile import law_quantiles, rows_of_quantiles

__all__ = [
    "RandomClocking",
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


class RandomClocking:
    """The law of one resultant, worked out once for any number of questions.

    `amplitudes` are the vectors as given, `least` and `greatest` the ends of what they can reach without the
    Gaussian of deviation `sigma`; `scale` is the unit the law is worked out in. Parameters, domain and errors of
    the constructor as `resultant_cdf`.
    """

    def __init__(self, amplitudes: Sequence[float], sigma: float = 0.0) -> None:
        _check_each(amplitudes, "an amplitude")
        _check_each([sigma], "sigma")
        try:
            self.greatest = math.fsum(amplitudes)
        except OverflowError:
            self.greatest = math.inf
        if not self.greatest + sigma < math.inf:
            raise ValueError("the amplitudes are too large to add up")
        self.least = _least(amplitudes)
        self.amplitudes, self.sigma = tuple(float(amplitude) for amplitude in amplitudes), float(sigma)
        self.scale = self.greatest + self.sigma

    @cached_property
    def _law(self) -> ResultantLaw:
        return self.law_in(self.scale)

    def cdf(self, radii: ArrayLike) -> FloatArray:
        """Return P(R ≤ r) for an array of radii; see `resultant_cdf`."""
        wanted = np.asarray(radii, dtype=np.float64)
        if np.isnan(wanted).any():
            raise ValueError("a radius must be a number")
        if self.scale == 0.0:
            return np.where(wanted >= 0.0, 1.0, 0.0)
        if self.sigma > 0.0:
            return self._law.cdf(wanted.ravel() / self.scale).reshape(wanted.shape)
        # rounding of the unit must not move the ends; between them alone is the law needed
        values = np.where(wanted >= self.greatest, 1.0, 0.0)
        inside = (wanted < self.greatest) & (wanted >= self.least)
        if inside.any():
            values[inside] = self._law.cdf(wanted[inside] / self.scale)
        return values

    def quantiles(self, probabilities: Sequence[float] | FloatArray) -> FloatArray:
        """Return the radii that the resultant stays below with given probabilities; see `resultant_quantiles`."""
        wanted = np.asarray(probabilities, dtype=np.float64)
        if wanted.ndim != 1:
            raise ValueError("probabilities must be a flat list")
        # few numbers: Python is quicker than array operations here
        for probability in wanted.tolist():
            if not 0.0 <= probability <= 1.0:
                raise ValueError("a probability must lie between 0 and 1")
            if self.sigma > 0.0 and probability == 1.0:
                raise ValueError("probability 1 has no radius: a Gaussian contributor has no bound")
        if self.scale == 0.0:
            return np.zeros(wanted.shape)
        radii = [radius * self.scale for radius in law_quantiles(self._law, wanted).tolist()]
        if self.sigma == 0.0:
            radii = [min(max(radius, self.least), self.greatest) for radius in radii]
        return np.array(radii)

    @staticmethod
    def quantiles_of(laws: Sequence[RandomClocking], probabilities: Sequence[float]) -> list[list[float]]:
        """Return the quantiles of several resultants, one row each; as `quantiles`, with less work for like ones.

        Probabilities above 0 and below 1.
        """
        if not all(0.0 < probability < 1.0 for probability in probabilities):
            raise ValueError("a probability must lie between 0 and 1, ends excluded")
        known = [law for law in laws if law.scale > 0.0]
        rows = iter(rows_of_quantiles([law._law for law in known], np.array(probabilities, dtype=np.float64)))
        return [
            [law._bounded(radius * law.scale) for radius in next(rows)]
            if law.scale > 0.0
            else [0.0] * len(probabilities)
            for law in laws
        ]

    def _bounded(self, radius: float) -> float:
        return radius if self.sigma > 0.0 else min(max(radius, self.least), self.greatest)

    def probability(self, radius: float) -> float:
        """Return P(R ≤ r) for one radius; see `resultant_cdf`."""
        if self.sigma == 0.0 and radius >= self.greatest:
            return 1.0
        return float(self.cdf([radius])[0])

    def chance_of_less_than(self, other: RandomClocking) -> float:
        """Return the probability that this resultant is the smaller one; see `probability_less`."""
        scale = max(self.scale, other.scale)
        if scale == 0.0:
            return 0.0
        return chance_of_less(self.law_in(scale), other.law_in(scale))

    def law_in(self, scale: float) -> ResultantLaw:
        """Return the law with lengths in another unit."""
        return resultant_law([part / scale for part in self.amplitudes], self.sigma / scale)


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
    return RandomClocking(amplitudes, sigma).probability(radius)


def resultant_cdf_many(radii: ArrayLike, amplitudes: Sequence[float], sigma: float = 0.0) -> FloatArray:
    """Return P(R ≤ r) for an array of radii: `resultant_cdf`, the law worked out once.

    Parameters: radii of any shape; amplitudes and sigma as there. Returns the same shape.

    >>> resultant_cdf_many([0.0, 5.0, 7.0], [3.0, 4.0]).round(12).tolist()
    [0.0, 0.5, 1.0]
    """
    return RandomClocking(amplitudes, sigma).cdf(radii)


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
    return RandomClocking(amplitudes, sigma).quantiles(probabilities)


def probability_less(first: Sequence[float], first_sigma: float, second: Sequence[float], second_sigma: float) -> float:
    """Return the probability that one resultant is smaller than another, independent one.

    P(R₁ < R₂) = ∫ F₁(r) dF₂(r)

    Parameters: amplitudes and sigma of either, as in `resultant_cdf`, one unit for all. Returns a
    probability, within 1e-6; two equal steps (one vector each, of one amplitude) give 0. Raises
    ValueError as `resultant_cdf`. Source: first principles.

    >>> round(probability_less([1.0, 1.0], 0.0, [1.0, 1.0, 1.0], 0.0), 6)
    0.6
    """
    return RandomClocking(first, first_sigma).chance_of_less_than(RandomClocking(second, second_sigma))


def worst_case(amplitudes: Sequence[float]) -> float:
    """Return the greatest possible resultant, all vectors in line: Σ a_i.

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the triangle
    inequality.

    >>> worst_case([1.5, 2.0, 0.5])
    4.0
    """
    _check_each(amplitudes, "an amplitude")
    return math.fsum(amplitudes)


def best_clocking(amplitudes: Sequence[float]) -> float:
    """Return the least possible resultant, the largest vector against the rest: max(0, a_max − Σ others).

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the polygon
    inequality: vectors close to a polygon unless one is longer than all others together.

    >>> best_clocking([4.0, 1.0, 0.5])
    2.5
    """
    _check_each(amplitudes, "an amplitude")
    return _least(amplitudes)


def variance_shares(
    amplitudes: Sequence[complex], sigmas: Sequence[float], sums: Sequence[complex] | None = None
) -> FloatArray:
    """Return each contributor's share of the mean square of the resultant.

    E[R²] = Σ (Re(a_i·S_i*) + 2σ_i²), share_i = (Re(a_i·S_i*) + 2σ_i²)/E[R²]

    Parameters: lists of equal length: the amplitude of each contributor and the standard deviation per axis of its
    plane Gaussian, each 0 where it has none; S_i, the sum of the vectors whose directions to a_i are known, a_i
    among them; one unit. Without sums every vector stands alone, S_i = a_i, and amplitudes are real and ≥ 0.
    Returns shape (n,), of sum 1, negative where a known direction takes away, or all zeros when nothing
    contributes. Raises ValueError outside the domain or for unequal lengths. Source: first principles; angles
    of different groups are independent, so their cross terms vanish.

    >>> variance_shares([3.0, 1.0, 0.0], [0.0, 0.0, 1.0]).round(6).tolist()
    [0.75, 0.083333, 0.166667]
    >>> variance_shares([3.0, -1.0], [0.0, 0.0], [2.0, 2.0]).tolist()
    [1.5, -0.5]
    """
    if sums is None:
        _check_each([abs(a) if isinstance(a, complex) else a for a in amplitudes], "an amplitude")
        sums = amplitudes
    _check_each(sigmas, "a sigma")
    if not len(amplitudes) == len(sigmas) == len(sums):
        raise ValueError("amplitudes and sigmas must be lists of equal length")
    # scaled by the largest, since squares of extreme amplitudes would overflow
    largest = max((*map(abs, amplitudes), *map(abs, sums), *sigmas), default=0.0)
    if largest == 0.0:
        return np.zeros(len(amplitudes))
    squares = [
        ((a / largest) * (total / largest).conjugate()).real + 2.0 * (sigma / largest) ** 2
        for a, sigma, total in zip(amplitudes, sigmas, sums, strict=True)
    ]
    whole = math.fsum(squares)
    return np.array([square / whole for square in squares]) if whole > 0.0 else np.zeros(len(amplitudes))


def gaussian_sigma(limit_amplitude: float, probability: float = 0.95) -> float:
    """Return the standard deviation per axis of the plane Gaussian that stays within a limit.

    σ = a/√(−2·ln(1 − p)), so that P(R ≤ a) = p; a/2.4477 at 95 %

    Parameters: limit_amplitude a ≥ 0; probability p, above 0 and below 1. Returns σ in the unit of a. Raises
    ValueError outside the domain. Source: Rayleigh distribution.

    >>> round(gaussian_sigma(2.447746831), 9)
    1.0
    """
    _check_each([limit_amplitude], "an amplitude")
    if not 0.0 < probability < 1.0:
        raise ValueError("the probability must lie between 0 and 1, ends excluded")
    return limit_amplitude / math.sqrt(-2.0 * math.log1p(-probability))


def _check_each(values: Sequence[float], name: str) -> None:
    for value in values:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"{name} must be a finite number, zero or more")


def _least(amplitudes: Sequence[float]) -> float:
    ordered = sorted(amplitudes)  # the same in any order
    return max(0.0, ordered[-1] - math.fsum(ordered[:-1])) if ordered else 0.0
