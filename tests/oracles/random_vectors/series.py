"""Law of the resultant as a Fourier–Bessel series on a disc that contains every resultant.

F(r) = Σ_k 2r·φ(λ_k)·J₁(λ_k r)/(λ_k·J₁(λ_k)²), λ_k the zeros of J₀, φ the product of the factors of all vectors,
lengths in units of the radius of the disc (Barakat 1974; the integral is Kluyver's, 1906). A ring a has the factor
J₀(at), a disc 2J₁(at)/(at), a band ∫_b^a J₀(ut) du/(a − b), the Gaussian exp(−σ²t²/2). `series_length` gives the number
of terms beforehand. For few rings alone the terms beyond the last are added in closed form (`tail_sum`).

The number of terms follows from |J₀(x)| ≤ √(2/(πx)): the terms beyond T sum to at most

    B_m(T) = ∫_T^∞ √(2/(πt))·Π_{i≤m} √(2/(π·a_i·t)) dt = b_m·T^(−p)/p, p = (m − 1)/2,

for every m ≥ 2, where the m largest rings bound the product. With the tail added in closed form, the error is the
first order of 1/T left out of the tail, relative to that bound.

With discs or bands the bound is proven: each factor is at most c·t^(−q), with c = 1.6501·a^(−3/2), q = 3/2 for a disc
(√x·|J₁| ≤ 0.82504), c = 0.7979·a^(−1/2), q = 1/2 for a ring, and c = 1.4703/(a − b), q = 1 for a band (∫₀^x J₀ lies
between 0 and 1.4703). Since λ·J₁(λ)² ≥ 2/π and the zeros are at least 3.1153 apart, the terms beyond T sum to at most

    0.8251·1.0085·Π c·T^(1−p)/(p − 1), p = ½ + Σ q,

for any subset of the factors with p > 1, times exp(−σ²T²/2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import itj0y0, j0, j1

from rules.quantities.work_limit import charge
from tests.oracles.random_vectors.series_rest import (
    DEEP,
    MOST_VECTORS,
    SHALLOW,
    end_of_sum,
    nodes,
    products_of_factors,
    tail_size,
    tail_sum,
)

__all__ = [
    "MOST_TERMS",
    "LaterTerms",
    "SeriesLaw",
    "SeriesLength",
    "coefficient_rows",
    "later_terms",
    "least_position",
    "mixed_length",
    "series_law",
    "series_length",
]


_ROOT = math.sqrt(2.0 / math.pi)

MOST_TERMS = 16384  # longer series cost more than the other computations

_PLAIN_ERROR = 4e-7  # bound of the terms left out, without a tail
_TAIL_ERROR = 2e-7  # first order left out of the tail
_TAIL_SIZE = 3e-4  # bound of the tail itself
_SERIES_SIGMAS = 5.6  # exp(−σ²t²/2) is 1.5e-7 at t = 5.6/σ
_TAIL_COST = {SHALLOW: 1200, DEEP: 4000}  # in evaluations of J₀
_LEAST_TERMS = {SHALLOW: 16, DEEP: 96}
_LEAST_PHASE = {SHALLOW: 2.0, DEEP: 3.0}  # a_i·T below which no expansion holds


_MIXED_ERROR = 4e-8  # bound of the terms left out where there are discs or bands
_ENVELOPE = 0.8251 * 1.0085


class SeriesLength(NamedTuple):
    """Number of terms, and number of orders of 1/T in the tail; 0 for no tail."""

    terms: int
    orders: int


def series_length(amplitudes: list[float], sigma: float) -> SeriesLength:
    """Return the cheapest length for vectors and a plane Gaussian on the unit disc.

    Parameters
    ----------
    amplitudes : list[float]
        Amplitudes > 0, descending.
    sigma : float
        Standard deviation σ ≥ 0 per axis.

    Returns
    -------
    SeriesLength
        Number of terms and orders of the tail; more than MOST_TERMS terms where no reasonable length is enough.

    Examples
    --------
    >>> series_length([0.05] * 20, 0.0)
    SeriesLength(terms=24, orders=0)
    >>> series_length([0.25] * 4, 0.0)
    SeriesLength(terms=64, orders=1)
    """
    end = _SERIES_SIGMAS / sigma if sigma > 0.0 else math.inf
    bound = _ROOT
    bounds = []
    for amplitude in amplitudes:
        bound *= _ROOT / math.sqrt(amplitude)
        if bound > 1e150:
            break
        bounds.append(bound)
    for used in range(len(bounds), 1, -1):
        power = 0.5 * (used - 1)
        end = min(end, (bounds[used - 1] / (power * _PLAIN_ERROR)) ** (1.0 / power))
        if amplitudes[used - 1] * end > 1.0:  # this vector still shortens the series
            break
    best = SeriesLength(_terms(end, 16), 0)
    count = len(amplitudes)
    if sigma > 0.0 or not 3 <= count <= MOST_VECTORS or bound > 1e150:
        return best
    power = 0.5 * (count - 1)
    cost = count * best.terms
    for orders in (SHALLOW, DEEP):
        if cost <= _TAIL_COST[orders] + count * _LEAST_TERMS[orders]:
            break
        share, degree = _left_out(amplitudes, orders)
        end = (bound * share / (power * _TAIL_ERROR)) ** (1.0 / (power + degree))
        end = max(end, _LEAST_PHASE[orders] / amplitudes[-1])
        if count > 4:  # with a few more terms, one Newton step on a quantile is enough
            end = max(end, (bound / (power * _TAIL_SIZE)) ** (1.0 / power))
        terms = _terms(end, _LEAST_TERMS[orders])
        if count * terms + _TAIL_COST[orders] < cost:
            best, cost = SeriesLength(terms, orders), count * terms + _TAIL_COST[orders]
    return best


def mixed_length(
    rings: Sequence[float], discs: Sequence[float], bands: Sequence[tuple[float, float]], sigma: float
) -> SeriesLength:
    """Return the length of a series with discs or bands on the unit disc, by the proven bound.

    Parameters
    ----------
    rings : Sequence[float]
        Amplitudes > 0 of the rings.
    discs : Sequence[float]
        Radii > 0 of the discs.
    bands : Sequence[tuple[float, float]]
        Least and greatest amplitude of each band.
    sigma : float
        Standard deviation σ ≥ 0 per axis.

    Returns
    -------
    SeriesLength
        Number of terms, without a tail; more than MOST_TERMS where no reasonable length is enough.

    Examples
    --------
    >>> mixed_length([], [0.2] * 5, [], 0.0)
    SeriesLength(terms=24, orders=0)
    """
    factors = [(1.6501 * a**-1.5, 1.5) for a in discs]
    factors += [(_ROOT * a**-0.5, 0.5) for a in rings]
    factors += [(1.4703 / (high - low), 1.0) for low, high in bands]
    factors.sort(key=lambda one: one[0] ** (1.0 / one[1]))  # by the t from which each is below 1
    bound, power = _ENVELOPE, -0.5
    ends = []
    if sigma > 0.0:
        ends.append(math.sqrt(-2.0 * math.log(_MIXED_ERROR)) / sigma)
    for constant, degree in factors:
        bound, power = bound * constant, power + degree
        if bound > 1e150:
            break
        if power > 0.0:
            ends.append((bound / (power * _MIXED_ERROR)) ** (1.0 / power))
    return SeriesLength(_terms(min(ends, default=math.inf), 16), 0)


def least_position(amplitudes: list[float], length: SeriesLength) -> float:
    """Return the smallest r at which the expansion of J₁(rt) beyond T is accurate; 0 without a tail.

    The error is the first order left out, √r·B(T)·c/(rT)^d.

    Parameters
    ----------
    amplitudes : list[float]
        Amplitude of each vector, shape (n,).
    length : SeriesLength
        Number of terms of the sum, and orders of its tail.

    Returns
    -------
    float
        Smallest r, in units of the radius of the disc; 0 without a tail.
    """
    if length.orders == 0:
        return 0.0
    end = end_of_sum(length.terms)
    bound = _ROOT
    for amplitude in amplitudes:
        bound *= _ROOT / math.sqrt(amplitude)
    power = 0.5 * (len(amplitudes) - 1)
    share, degree = (0.3, 3.0) if length.orders == SHALLOW else (0.4, 5.0)
    short: float = (share * bound / (power * _TAIL_ERROR) * end ** (-power - degree)) ** (1.0 / (degree - 0.5))
    return max(4.0 / end, short)


def _left_out(amplitudes: list[float], orders: int) -> tuple[float, int]:
    """Return (c, d): the first order left out of the tail, c·T^(−d), relative to the bound."""
    inverses = [1.0 / amplitude for amplitude in amplitudes]
    first = 0.125 * sum(inverses)
    second = 0.0625 * sum([each * each for each in inverses])
    if orders == SHALLOW:
        return second + 0.5 * first * first, 2
    fifth = sum([each**5 for each in inverses])
    return 0.25 * fifth + first**5 / 60.0 + first * second * second + first**3 * second / 3.0, 5


def _terms(end: float, least: int) -> int:
    terms = min(end / math.pi, 2.0 * MOST_TERMS)
    return max(least, 8 * math.ceil(terms / 8.0))


FloatArray = NDArray[np.float64]

_NEGLIGIBLE = 2.5e-7  # probability below which an approximation is enough
_SIGMAS = 8.5  # the disc holds all but 1e-15 of the plane Gaussian
_BLOCK = 400_000


@dataclass(eq=False)
class SeriesLaw:
    """Law of the resultant by a series of `terms` terms on the disc of radius `scale`.

    `amplitudes` of rings, descending, `discs`, `bands` and `sigma` are in units of `scale`; `lower` and `upper` bound
    the support. `orders` is the number of orders in the tail, 0 for no tail. The tail begins at T = `end` and has the
    factor `tail_size`; it is accurate from `least` = r/scale, 0 without a tail.
    """

    scale: float
    lower: float
    upper: float
    amplitudes: list[float]
    sigma: float
    terms: int
    orders: int
    discs: Sequence[float] = ()
    bands: Sequence[tuple[float, float]] = ()
    known: FloatArray | None = field(default=None, repr=False)
    """The coefficients, once computed."""
    end: float = field(init=False, repr=False)
    tail_size: float = field(init=False, repr=False)
    least: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Compute the figures that every law needs; cached properties would cost more than the figures."""
        if self.orders:
            self.end = end_of_sum(self.terms)
            self.tail_size = tail_size(self.amplitudes, self.end)
            self.least = least_position(self.amplitudes, SeriesLength(self.terms, self.orders))
        else:
            self.end, self.tail_size, self.least = math.inf, 0.0, 0.0

    @property
    def smoothness(self) -> int:
        """Number of rings of a law as smooth as this one; a disc counts as three, a band as two."""
        return len(self.amplitudes) + 3 * len(self.discs) + 2 * len(self.bands)

    @property
    def coefficients(self) -> FloatArray:
        """Return the weights times φ, shape (terms,)."""
        known = self.known
        if known is None:
            known = self.known = coefficient_rows([self], self.terms)[0]
        return known

    def rest(self, positions: FloatArray, known: int) -> tuple[FloatArray, FloatArray]:
        """Return the sum of the terms beyond the first `known` at r/scale, shape (m,), and its slope."""
        value = slope = np.zeros(positions.shape)
        if known < self.terms:
            rows = later_terms([LaterTerms(self, known, position) for position in positions.tolist()])
            value, slope = np.array(rows).T
        if self.orders:
            tail, tail_slope = tail_sum(positions, np.array(self.amplitudes), self.end, self.orders)
            return value + tail, slope + tail_slope
        return value, slope

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii, in the unit of the amplitudes."""
        values = np.where(radii >= self.upper, 1.0, 0.0)
        inside = np.flatnonzero((radii > self.lower) & (radii < self.upper) & (radii > 0.0))
        if inside.size:
            values[inside] = np.clip(self._by_level(radii[inside] / self.scale), 0.0, 1.0)
        return values

    def _by_level(self, positions: FloatArray) -> FloatArray:
        """Evaluate with as many terms as each position needs; F ∝ r² where F(r) is negligible."""
        values = np.empty(positions.shape)
        waiting = np.ones(positions.shape, dtype=bool)
        law = self
        while True:
            ready = waiting & (positions >= law.least)
            if ready.any():
                values[ready] = law._sum(positions[ready])
                waiting &= ~ready
            if not waiting.any():
                return values
            # toward zero, F falls at least in proportion to r
            ratio = positions / law.least
            ready = waiting & ((law.edge * ratio < _NEGLIGIBLE) | (law.edge < 4.0 * _NEGLIGIBLE))
            values[ready] = law.edge * ratio[ready] ** 2
            waiting &= ~ready
            if not waiting.any():
                return values
            law = law.longer

    def _sum(self, positions: FloatArray) -> FloatArray:
        zeros = nodes(self.terms)[0]
        sums = np.empty(positions.shape)
        step = max(1, _BLOCK // self.terms)
        for start in range(0, positions.size, step):
            block = positions[start : start + step]
            charge(block.size * self.terms)
            waves = j1(block[:, None] * zeros)
            sums[start : start + step] = block * (waves @ self.coefficients) + self.rest(block, self.terms)[0]
        return sums

    @cached_property
    def edge(self) -> float:
        """Return P(R ≤ r) at the smallest radius for which the terms are enough."""
        return float(self._sum(np.array([self.least]))[0])

    @cached_property
    def longer(self) -> SeriesLaw:
        """Return the same law with four times as many terms, for smaller radii."""
        return replace(self, terms=4 * self.terms, known=None)


def series_law(
    amplitudes: Sequence[float],
    sigma: float,
    lower: float,
    upper: float,
    most_terms: int,
    discs: Sequence[float] = (),
    bands: Sequence[tuple[float, float]] = (),
) -> SeriesLaw | None:
    """Return the law of the resultant as a series, or None if that needs more than `most_terms` terms.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes > 0 of the rings, descending.
    sigma : float
        Standard deviation σ ≥ 0 of the plane Gaussian per axis.
    lower : float
        Lower end of the support of the vectors' own resultant.
    upper : float
        Upper end of the support of the vectors' own resultant.
    most_terms : int
        Largest number of terms, at most MOST_TERMS.
    discs : Sequence[float], default ()
        Radii > 0 of the discs.
    bands : Sequence[tuple[float, float]], default ()
        Least and greatest amplitude of each band.

    Returns
    -------
    SeriesLaw | None
        Law of the resultant; None if it needs more than `most_terms` terms.
    """
    if sigma > 0.0:
        lower, upper = 0.0, upper + _SIGMAS * sigma
    scale = upper
    parts = [amplitude / scale for amplitude in amplitudes]
    deviation = sigma / scale
    if not discs and not bands:
        length = series_length(parts, deviation)
        if length.terms > most_terms:
            return None
        return SeriesLaw(scale, lower, upper, parts, deviation, length.terms, length.orders)
    radii = [radius / scale for radius in discs]
    ends = [(low / scale, high / scale) for low, high in bands]
    length = mixed_length(parts, radii, ends, deviation)
    if length.terms > most_terms:
        return None
    return SeriesLaw(scale, lower, upper, parts, deviation, length.terms, 0, radii, ends)


class LaterTerms(NamedTuple):
    """A row of `later_terms`: a law, the number of its terms already summed, and r/scale > 0."""

    law: SeriesLaw
    known: int
    position: float


def later_terms(rows: Sequence[LaterTerms]) -> list[tuple[float, float]]:
    """Return the sum of the terms beyond those already summed, and its slope, one pair per row.

    All rows are computed together to save array operations; the figures of a row do not depend on the others.

    Parameters
    ----------
    rows : Sequence[LaterTerms]
        One row for each law and position.

    Returns
    -------
    list[tuple[float, float]]
        Sum of the terms and its slope, one pair per row.
    """
    zeros = [nodes(law.terms)[0][known:] for law, known, _ in rows]
    counts = [each.size for each in zeros]
    starts = np.cumsum([0, *counts[:-1]])
    every_zero = np.concatenate(zeros)
    positions = np.array([row.position for row in rows])
    angles = every_zero * np.repeat(positions, counts)
    coefficients = np.concatenate([law.coefficients[known:] for law, known, _ in rows])
    values = np.add.reduceat(coefficients * j1(angles), starts)
    slopes = np.add.reduceat(coefficients * every_zero * j0(angles), starts)
    return list(zip((positions * values).tolist(), (positions * slopes).tolist(), strict=True))


def coefficient_rows(laws: Sequence[SeriesLaw], terms: int) -> FloatArray:
    """Return the coefficients of several laws, 0 beyond the terms of each law.

    All laws are computed together to save array operations.

    Parameters
    ----------
    laws : Sequence[SeriesLaw]
        Laws of the resultants.
    terms : int
        Number of terms.

    Returns
    -------
    FloatArray
        Coefficients, shape (laws, terms).
    """
    zeros, weights = nodes(terms)
    rows = products_of_factors([law.amplitudes for law in laws], [law.discs for law in laws], terms)
    rows *= weights
    for n, law in enumerate(laws):
        if law.terms < terms:
            rows[n, law.terms :] = 0.0
        if law.sigma > 0.0:
            rows[n] *= np.exp(-0.5 * (law.sigma * zeros) ** 2)
        for low, high in law.bands:
            rows[n] *= (itj0y0(high * zeros)[0] - itj0y0(low * zeros)[0]) / ((high - low) * zeros)
    return rows
