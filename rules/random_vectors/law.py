"""Law of the resultant of vectors at random angles, and the choice of its computation.

A law has a support, `lower` to `upper` in the unit of the amplitudes, and a distribution function `cdf`; some laws also
have a closed inverse, `quantile`. Amplitudes have been checked before. Closed laws serve no vector, one vector, two
vectors and a plane Gaussian alone. Other laws are a series (`rules.random_vectors.series`) or a table: piecewise
polynomials, with pieces halved until each is smooth.

If one vector (or two, or three) is much larger than the rest, the law of the resultant has narrow features that no
series of reasonable length resolves. The largest vector a is then added to the law of the rest. The disc of radius r
about −a, seen from the origin of the rest, has the boundary (ρ, α). Every direction of the rest is equally likely, so
by Green's theorem the probability inside that disc is

    F(r) = (1/2π)·∮ F_rest(ρ) dα = (1/π)·∫₀^{π/2} F_rest(ρ)·(1 + (r² − a²)/ρ²) dχ,
    ρ² = (r − a)² + 4·a·r·sin²χ.

This needs only the distribution function of the rest, not its density.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rules.quantities.work_limit import charge
from rules.random_vectors.series import MOST_TERMS, series_law

__all__ = [
    "DEGREE",
    "AddedVectorLaw",
    "GaussianLaw",
    "RadialTable",
    "ResultantLaw",
    "StepLaw",
    "TwoVectorLaw",
    "chebyshev_values",
    "resultant_law",
    "table_of",
    "tabulate",
]


FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StepLaw:
    """Resultant of no vector (radius 0) or of one vector: P(R ≤ r) = 1 for r ≥ radius, else 0."""

    radius: float

    @property
    def lower(self) -> float:
        """Least possible resultant."""
        return self.radius

    @property
    def upper(self) -> float:
        """Greatest possible resultant."""
        return self.radius

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii: the step is exact, 1 at the radius itself."""
        return np.where(radii >= self.radius, 1.0, 0.0)

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return the radius for every probability."""
        return np.full(probabilities.shape, self.radius)


@dataclass(frozen=True, slots=True)
class TwoVectorLaw:
    """Resultant of two vectors a ≥ b > 0 at a random angle.

    R² = a² + b² + 2ab·cos θ with θ uniform, so P(R ≤ r) = acos((a² + b² − r²)/(2ab))/π. `cdf` and `quantile` use
    half angles, which keep all digits near the ends of the support.
    """

    larger: float
    smaller: float

    @property
    def lower(self) -> float:
        """Least possible resultant, a − b."""
        return self.larger - self.smaller

    @property
    def upper(self) -> float:
        """Greatest possible resultant, a + b."""
        return self.larger + self.smaller

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) = (2/π)·atan2(√(r² − (a−b)²), √((a+b)² − r²))."""
        inside = np.clip(radii, self.lower, self.upper)
        above = (inside - self.lower) * (inside + self.lower)
        below = (self.upper - inside) * (self.upper + inside)
        return np.asarray(np.arctan2(np.sqrt(above), np.sqrt(below)) * (2.0 / np.pi))

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = √((a−b)²·cos²(πp/2) + (a+b)²·sin²(πp/2))."""
        half = probabilities * (np.pi / 2.0)
        radii = np.hypot(self.lower * np.cos(half), self.upper * np.sin(half))
        return np.clip(radii, self.lower, self.upper)


@dataclass(frozen=True, slots=True)
class GaussianLaw:
    """Resultant of a plane Gaussian alone, σ per axis: P(R ≤ r) = 1 − exp(−r²/(2σ²)) (Rayleigh).

    The support is unbounded; `upper` is the radius exceeded with a probability below 1e-15.
    """

    sigma: float

    @property
    def lower(self) -> float:
        """Least possible resultant, 0."""
        return 0.0

    @property
    def upper(self) -> float:
        """Radius exceeded with a probability below 1e-15."""
        return 8.5 * self.sigma

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""
        ratio = np.minimum(np.maximum(radii, 0.0) / self.sigma, 1e3)
        return np.asarray(-np.expm1(-0.5 * ratio * ratio))

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = σ·√(−2·ln(1 − p)), p < 1."""
        return np.asarray(self.sigma * np.sqrt(-2.0 * np.log1p(-probabilities)))


DEGREE = 12
_CLOSE_TO_ZERO = 10  # most first pieces; each is a quarter as wide as the next one up
_DEEPEST = 46
_ROUNDING = 4e-15  # relative uncertainty of a radius after a few additions

_ANGLES = np.pi * np.arange(DEGREE + 1) / DEGREE
_POINTS = np.cos(_ANGLES)
_ENDS = np.where(np.isin(np.arange(DEGREE + 1), (0, DEGREE)), 0.5, 1.0)
# values at the Chebyshev–Lobatto points -> Chebyshev coefficients
_TRANSFORM = (2.0 / DEGREE) * _ENDS[:, None] * np.cos(np.outer(np.arange(DEGREE + 1), _ANGLES)) * _ENDS


@dataclass(frozen=True, slots=True)
class RadialTable:
    """Distribution function on [edges[0], edges[-1]], 0 below and 1 above.

    `edges` has shape (P+1,), ascending. `coefficients` has shape (P, DEGREE+1): Chebyshev coefficients in the local
    variable, −1 to 1.
    """

    edges: FloatArray
    coefficients: FloatArray

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return the distribution function at an array of radii."""
        piece = np.clip(np.searchsorted(self.edges, radii, side="right") - 1, 0, self.edges.size - 2)
        low, high = self.edges[piece], self.edges[piece + 1]
        local = np.clip((2.0 * radii - low - high) / (high - low), -1.0, 1.0)
        values = np.clip(chebyshev_values(self.coefficients[piece], local), 0.0, 1.0)
        return np.where(radii >= self.edges[-1], 1.0, np.where(radii < self.edges[0], 0.0, values))


def chebyshev_values(coefficients: FloatArray, local: FloatArray) -> FloatArray:
    """Return Σ c_k·T_k(x) by Clenshaw's recurrence; the last axis of `coefficients` runs over k.

    Parameters
    ----------
    coefficients : FloatArray
        Chebyshev coefficients; the last axis runs over k.
    local : FloatArray
        Position x in [−1, 1], of a shape that broadcasts with the coefficients.

    Returns
    -------
    FloatArray
        Σ c_k·T_k(x) by Clenshaw's recurrence.
    """
    twice = 2.0 * local
    ahead = np.zeros_like(local)
    value = np.zeros_like(local)
    for order in range(coefficients.shape[-1] - 1, 0, -1):
        value, ahead = coefficients[..., order] + twice * value - ahead, value
    return np.asarray(coefficients[..., 0] + local * value - ahead)


def tabulate(cdf: Callable[[FloatArray], FloatArray], lower: float, upper: float, tolerance: float) -> RadialTable:
    """Return the table of a continuous distribution function on a support.

    A piece is halved until its highest coefficients are below the tolerance. A piece of width w has a tolerance larger
    by √(width of the support/w): the table is integrated over the radius later, where that piece contributes at most
    √w.

    Parameters
    ----------
    cdf : Callable[[FloatArray], FloatArray]
        Distribution function, of an array of radii.
    lower : float
        Lower end of the support, below the upper one.
    upper : float
        Upper end of the support.
    tolerance : float
        Largest error in probability.

    Returns
    -------
    RadialTable
        Table of the distribution function.
    """
    width = upper - lower
    inner: list[float] = []
    for depth in range(1, _CLOSE_TO_ZERO + 1):
        inner.append(lower + width * 4.0**-depth)
        if float(cdf(np.array(inner[-1:]))[0]) < tolerance:
            break
    edges = np.unique([lower, *inner, upper])
    low, high = edges[:-1], edges[1:]
    done_low: list[FloatArray] = []
    done_high: list[FloatArray] = []
    done_coefficients: list[FloatArray] = []
    for depth in range(_DEEPEST + 1):
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        values = cdf((middle[:, None] + half[:, None] * _POINTS).ravel()).reshape(low.size, DEGREE + 1)
        coefficients = values @ _TRANSFORM.T
        size = np.abs(coefficients)
        rounding = _ROUNDING * high / (high - low) * size[:, 1:].sum(axis=1)
        smooth = size[:, -4:].max(axis=1) <= tolerance * np.sqrt(width / (high - low)) + rounding
        smooth |= (middle <= low) | (middle >= high)  # no float in between
        if depth == _DEEPEST:
            smooth[:] = True
        done_low.append(low[smooth])
        done_high.append(high[smooth])
        done_coefficients.append(coefficients[smooth])
        rough = ~smooth
        if not rough.any():
            break
        low, high = (
            np.concatenate((low[rough], middle[rough])),
            np.concatenate((middle[rough], high[rough])),
        )
    starts = np.concatenate(done_low)
    order = np.argsort(starts, kind="stable")
    ends = np.concatenate(done_high)
    return RadialTable(np.append(starts[order], ends.max()), np.concatenate(done_coefficients)[order])


_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_BLOCK = 200_000


@dataclass(frozen=True, slots=True)
class AddedVectorLaw:
    """Resultant of a vector of amplitude `added` > 0 at a random angle and the resultant `rest`."""

    added: float
    rest: RadialTable
    lower: float
    upper: float

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii, in the unit of the amplitudes."""
        values = np.where(radii >= self.upper, 1.0, 0.0)
        inside = np.flatnonzero((radii > self.lower) & (radii < self.upper) & (radii > 0.0))
        points = self.rest.edges.size * _ABSCISSAE.size
        step = max(1, _BLOCK // points)
        for start in range(0, inside.size, step):
            block = inside[start : start + step]
            charge(4 * block.size * points)  # one step of Clenshaw's recurrence each
            values[block] = np.clip(self._inside(radii[block]), 0.0, 1.0)
        return values

    def _inside(self, radii: FloatArray) -> FloatArray:
        near = np.abs(radii - self.added)  # lower end of ρ
        far = radii + self.added  # upper end of ρ
        product = 4.0 * self.added * radii
        sense = np.sign(radii - self.added)
        edges = self.rest.edges
        reach = np.clip(edges, near[:, None], far[:, None])
        sine = np.sqrt((reach - near[:, None]) * (reach + near[:, None]) / product[:, None])
        chi = np.arcsin(np.minimum(sine, 1.0))

        half = 0.5 * np.diff(chi, axis=1)
        middle = 0.5 * (chi[:, 1:] + chi[:, :-1])
        angles = middle[..., None] + half[..., None] * _ABSCISSAE
        square = (near * near)[:, None, None] + product[:, None, None] * np.sin(angles) ** 2
        low, high = edges[:-1, None], edges[1:, None]
        local = np.clip((2.0 * np.sqrt(square) - low - high) / (high - low), -1.0, 1.0)
        share = chebyshev_values(self.rest.coefficients[:, None, :], local)
        turn = sense * near * far  # r² − a² without cancellation
        with np.errstate(invalid="ignore", divide="ignore"):
            kernel = 1.0 + turn[:, None, None] / square
        kernel = np.where(half[..., None] > 0.0, kernel, 0.0)
        within = ((share * kernel) @ _WEIGHTS * half).sum(axis=1)

        # beyond the support of the rest, F_rest = 1 and the integral has a closed form
        last = chi[:, -1]
        closed = 0.5 * np.pi - last
        closed += sense * (0.5 * np.pi - np.arctan2(far * np.sin(last), near * np.cos(last)))
        return np.asarray((within + closed) / np.pi)


_NEGLIGIBLE = 1e-15  # share of the sum below which a vector is within rounding
_TABLE_ERROR = 1e-8
_STEPS = 10_000  # approximate work to set up and evaluate a law without a table
_MOST_TERMS_IN_TABLE = 768  # limit for a law that is evaluated a thousand times for a table


class ResultantLaw(Protocol):
    """Interface of every law of a resultant: its support and its distribution function."""

    @property
    def lower(self) -> float:
        """Least possible resultant."""

    @property
    def upper(self) -> float:
        """Greatest possible resultant, or a radius exceeded with a probability below 1e-15."""

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""


def resultant_law(amplitudes: Sequence[float], sigma: float) -> ResultantLaw:
    """Return the law of |Σ a_i·exp(jθ_i) + g|.

    The law is closed for at most two vectors or the Gaussian alone. For vectors of similar size it is a series, with
    the remaining terms in closed form for three to six vectors. If a few vectors are much larger than the rest, the
    largest is added to the law of the others.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes a_i ≥ 0, finite, in one unit.
    sigma : float
        Standard deviation σ ≥ 0 of the plane Gaussian g per axis, same unit.

    Returns
    -------
    ResultantLaw
        Law of |Σ a_i·exp(jθ_i) + g|.
    """
    charge(_STEPS)
    # lists are quicker than arrays for these few numbers
    total = math.fsum(amplitudes)
    least = _NEGLIGIBLE * max(total, sigma)
    ordered = sorted((a for a in amplitudes if a > least), reverse=True)
    if sigma <= _NEGLIGIBLE * total:
        sigma = 0.0
    if sigma > 0.0:
        return _with_gaussian(ordered, sigma, MOST_TERMS)
    return _without_gaussian(ordered, MOST_TERMS)


def _with_gaussian(ordered: list[float], sigma: float, most_terms: int) -> ResultantLaw:
    if not ordered:
        return GaussianLaw(sigma)
    found = series_law(ordered, sigma, 0.0, math.fsum(ordered), most_terms)
    if found is not None:
        return found
    rest = table_of(_with_gaussian(ordered[1:], sigma, _MOST_TERMS_IN_TABLE))
    largest = ordered[0]
    lower = max(0.0, largest - float(rest.edges[-1]))
    return AddedVectorLaw(largest, rest, lower, largest + float(rest.edges[-1]))


def _without_gaussian(ordered: list[float], most_terms: int) -> ResultantLaw:
    total = math.fsum(ordered)
    if len(ordered) < 2:
        return StepLaw(total)
    largest = ordered[0]
    if len(ordered) == 2:
        return TwoVectorLaw(largest, ordered[1])
    lower = max(0.0, largest - math.fsum(ordered[1:]))
    found = series_law(ordered, 0.0, lower, total, most_terms)
    if found is not None:
        return found
    rest = table_of(_without_gaussian(ordered[1:], _MOST_TERMS_IN_TABLE))
    return AddedVectorLaw(largest, rest, lower, total)


def table_of(law: ResultantLaw) -> RadialTable:
    """Return the table of a law that is not a step.

    Parameters
    ----------
    law : ResultantLaw
        Law of the resultant.

    Returns
    -------
    RadialTable
        Table of a law that is not a step.
    """
    return tabulate(law.cdf, law.lower, law.upper, _TABLE_ERROR)
