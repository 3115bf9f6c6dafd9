"""Distribution of the vector sum of eccentricities at random angles.

Each eccentricity displaces the axis of a stack in a random direction; the angles are independent and uniform. Four
kinds of vectors are added. A ring has a known amplitude a_i, or one at its limit; rings alone follow Kluyver's law
(1906). A disc is a vector uniform over the disc of radius d_i, known only to be within that limit. A band has an
amplitude uniform between two bounds. The last is a plane Gaussian of standard deviation sigma per axis. All lengths are
in the same unit. R is an amplitude, so a total indicator reading is twice R. Nothing is sampled: every probability is
computed within 1e-6 of the exact value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.kernel import Law
from rules.quantities.work_limit import charge
from rules.random_vectors.moments import (
    best_clocking,
    check_each,
    gaussian_sigma,
    least_resultant,
    variance_shares,
    worst_case,
)

__all__ = [
    "Answer",
    "Question",
    "RandomClocking",
    "best_clocking",
    "gaussian_sigma",
    "resultant_cdf",
    "resultant_cdf_many",
    "resultant_quantiles",
    "variance_shares",
    "worst_case",
]


FloatArray = NDArray[np.float64]


class RandomClocking:
    """Law of one resultant, computed once for any number of figures.

    `amplitudes`, `discs` and `bands` are those given; `least` and `greatest` bound their resultant without the Gaussian
    of standard deviation `sigma`. `scale` is the unit in which the law is computed. Parameters, domain and errors of
    the constructor are those of `resultant_cdf`.
    """

    def __init__(
        self,
        amplitudes: Sequence[float],
        sigma: float = 0.0,
        discs: Sequence[float] = (),
        bands: Sequence[tuple[float, float]] = (),
    ) -> None:
        check_each(amplitudes, "an amplitude")
        check_each(discs, "a radius")
        check_each([sigma], "sigma")
        for low, high in bands:
            check_each([low, high - low, high], "an end of a band and its width")
        try:
            self.greatest = math.fsum([*amplitudes, *discs, *(high for _, high in bands)])
        except OverflowError:
            self.greatest = math.inf
        if not self.greatest + sigma < math.inf:
            raise ValueError("the amplitudes are too large to add up")
        self.least = _least(amplitudes, discs, bands)
        self.amplitudes, self.sigma = tuple(map(float, amplitudes)), float(sigma)
        self.discs = tuple(map(float, discs))
        self.bands = tuple([(float(low), float(high)) for low, high in bands])
        self.scale = self.greatest + self.sigma
        self._known: Law | None = None

    @property
    def _law(self) -> Law:
        law = self._known
        if law is None:
            law = self._known = self.law_in(self.scale)
        return law

    def cdf(self, radii: ArrayLike) -> FloatArray:
        """Return P(R ≤ r) for an array of radii; see `resultant_cdf`."""
        wanted = np.asarray(radii, dtype=np.float64)
        if np.isnan(wanted).any():
            raise ValueError("a radius must be a number")
        if self.scale == 0.0:
            return np.where(wanted >= 0.0, 1.0, 0.0)
        if self.sigma > 0.0:
            return np.array(self._law.cdf((wanted.ravel() / self.scale).tolist())).reshape(wanted.shape)
        # rounding by the scale must not move the ends; evaluate the law only between them
        values = np.where(wanted >= self.greatest, 1.0, 0.0)
        inside = (wanted < self.greatest) & (wanted >= self.least)
        if inside.any():
            values[inside] = self._law.cdf((wanted[inside] / self.scale).tolist())
        return values

    def quantiles(self, probabilities: Sequence[float] | FloatArray) -> FloatArray:
        """Return the quantiles of the resultant; see `resultant_quantiles`."""
        wanted = np.asarray(probabilities, dtype=np.float64)
        if wanted.ndim != 1:
            raise ValueError("probabilities must be a flat list")
        return np.array(self._quantiles(wanted.tolist()))

    def _quantiles(self, probabilities: Sequence[float]) -> list[float]:
        for probability in probabilities:
            if not 0.0 <= probability <= 1.0:
                raise ValueError("a probability must lie between 0 and 1")
            if self.sigma > 0.0 and probability == 1.0:
                raise ValueError("probability 1 has no radius: a Gaussian contributor has no bound")
        if self.scale == 0.0 or not probabilities:
            return [0.0] * len(probabilities)
        radii = [radius * self.scale for radius in self._law.quantiles(probabilities)]
        # rounding must leave the quantiles within the support, rising with their probabilities
        low, high = (self.least, self.greatest) if self.sigma == 0.0 else (0.0, math.inf)
        for n in sorted(range(len(radii)), key=probabilities.__getitem__):
            radii[n] = low = min(max(radii[n], low), high)
        return radii

    @staticmethod
    def figures_of(questions: Sequence[Question]) -> list[Answer]:
        """Return the quantiles and probabilities of several resultants.

        Errors are those of `quantiles` and `probability`.

        >>> law = RandomClocking([3.0, 2.0, 2.5, 1.0, 1.2])
        >>> [answer] = RandomClocking.figures_of([Question(law, [0.48486], [4.0])])
        >>> [round(answer.quantiles[0], 4), round(answer.chances[0], 5)]
        [4.0, 0.48486]
        """
        return [
            Answer(tuple(law._quantiles(probabilities)), tuple([law.probability(radius) for radius in radii]))
            for law, probabilities, radii in questions
        ]

    def probability(self, radius: float) -> float:
        """Return P(R ≤ r) for one radius; see `resultant_cdf`."""
        if math.isnan(radius):
            raise ValueError("a radius must be a number")
        if self.sigma == 0.0:
            # rounding by the scale must not move the ends
            if radius >= self.greatest:
                return 1.0
            if radius < self.least:
                return 0.0
        return self._law.cdf((radius / self.scale,))[0]

    def law_in(self, scale: float) -> Law:
        """Return the law with lengths in another unit."""
        return Law(
            [part / scale for part in self.amplitudes],
            self.sigma / scale,
            [radius / scale for radius in self.discs],
            [low / scale for low, _ in self.bands],
            [high / scale for _, high in self.bands],
            charge,
        )

    @property
    def key(self) -> _Vectors:
        """Return what the law depends on."""
        return self.amplitudes, self.sigma, self.discs, self.bands


def _least(amplitudes: Sequence[float], discs: Sequence[float], bands: Sequence[tuple[float, float]]) -> float:
    """Return the least possible resultant; a disc can have any length up to its radius."""
    if not discs and not bands:
        return least_resultant(amplitudes)
    ordered = sorted([*amplitudes, *(high for _, high in bands), *discs])
    total = math.fsum(ordered)
    longest = max([2.0 * a for a in amplitudes] + [low + high for low, high in bands], default=0.0)
    return max(0.0, longest - total)


class Question(NamedTuple):
    """Figures required of one resultant: quantiles of probabilities, and P(R ≤ r) of radii."""

    law: RandomClocking
    probabilities: Sequence[float] = ()
    radii: Sequence[float] = ()


class Answer(NamedTuple):
    """Quantiles and probabilities P(R ≤ r) of one resultant, in the order required."""

    quantiles: tuple[float, ...]
    chances: tuple[float, ...]


_Vectors: TypeAlias = tuple[tuple[float, ...], float, tuple[float, ...], tuple[tuple[float, float], ...]]


def resultant_cdf(radius: float, amplitudes: Sequence[float], sigma: float = 0.0, discs: Sequence[float] = ()) -> float:
    """Return the probability that the resultant is at most a radius.

    P(R ≤ r) = r·∫₀^∞ J₁(rt)·exp(−σ²t²/2)·Π J₀(a_i t)·Π 2J₁(d_i t)/(d_i t) dt

    Parameters
    ----------
    radius : float
        Radius r, any number.
    amplitudes : Sequence[float]
        Amplitudes a_i ≥ 0, any number, in any order.
    sigma : float, default 0.0
        Standard deviation σ ≥ 0 of the plane Gaussian per axis, same unit.
    discs : Sequence[float], default ()
        Radii d_i ≥ 0 of the discs over which further vectors are uniform, same unit.

    Returns
    -------
    float
        Probability, within 1e-6. If sigma is 0, it is 0 below the least possible resultant and 1 from the greatest. No
        vector, or one, gives a step: 1 from its amplitude.

    Raises
    ------
    ValueError
        For NaN, and for an infinite or negative amplitude or sigma.

    Notes
    -----
    Source: Kluyver, Proc. KNAW 8 (1906); Barakat, Optica Acta 21 (1974); a disc is the law of greatest entropy of a
    vector within a limit, as the rectangular law of JCGM 100:2008, 4.3.7, is on a line (from memory).

    Examples
    --------
    >>> round(resultant_cdf(1.0, [1.0, 1.0]), 12)
    0.333333333333
    >>> round(resultant_cdf(1.0, [], discs=[1.0, 1.0]), 7)
    0.5865033
    >>> round(resultant_cdf(4.0, [3.0, 2.0, 2.5, 1.0, 1.2]), 5)
    0.48486
    """
    return RandomClocking(amplitudes, sigma, discs).probability(radius)


def resultant_cdf_many(radii: ArrayLike, amplitudes: Sequence[float], sigma: float = 0.0) -> FloatArray:
    """Return P(R ≤ r) for an array of radii; the law is computed once.

    Parameters
    ----------
    radii : ArrayLike
        Radii, of any shape.
    amplitudes : Sequence[float]
        Amplitudes ≥ 0, as in `resultant_cdf`.
    sigma : float, default 0.0
        Standard deviation σ ≥ 0 per axis, same unit.

    Returns
    -------
    FloatArray
        P(R ≤ r) for an array of radii, the same shape.

    Examples
    --------
    >>> resultant_cdf_many([0.0, 5.0, 7.0], [3.0, 4.0]).round(12).tolist()
    [0.0, 0.5, 1.0]
    """
    return RandomClocking(amplitudes, sigma).cdf(radii)


def resultant_quantiles(
    probabilities: Sequence[float] | FloatArray, amplitudes: Sequence[float], sigma: float = 0.0
) -> FloatArray:
    """Return the quantiles of the resultant.

    P(R ≤ r_p) = p, the inverse of `resultant_cdf`

    Parameters
    ----------
    probabilities : Sequence[float] | FloatArray
        Probabilities p in [0, 1], below 1 when sigma > 0, since the resultant then has no bound.
    amplitudes : Sequence[float]
        Amplitudes ≥ 0, as in `resultant_cdf`.
    sigma : float, default 0.0
        Standard deviation σ ≥ 0 per axis, same unit.

    Returns
    -------
    FloatArray
        One radius per probability, ascending with p. If sigma is 0, all are within [`best_clocking`, `worst_case`], the
        quantiles of p = 0 and p = 1. The probability of a returned radius is within 1e-6 of p. On a step (one vector,
        all others below rounding) the radius is exact.

    Raises
    ------
    ValueError
        Outside the domain.

    Notes
    -----
    Source: as `resultant_cdf`.

    Examples
    --------
    >>> resultant_quantiles([0.5, 1.0], [3.0, 4.0]).round(12).tolist()
    [5.0, 7.0]
    >>> resultant_quantiles([0.95], [], 1.0).round(6).tolist()
    [2.447747]
    """
    return RandomClocking(amplitudes, sigma).quantiles(probabilities)
