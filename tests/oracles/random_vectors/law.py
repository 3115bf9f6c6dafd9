"""Law of the resultant of vectors at random angles, and the choice of its computation.

Vectors are of three kinds, each with a direction at random: a ring has a known amplitude a; a disc is uniform over the
disc of radius a; a band has an amplitude uniform between b and a. A plane Gaussian may be added to them.

A law has a support, `lower` to `upper` in the unit of the amplitudes, and a distribution function `cdf`; closed laws
also have an inverse, `quantile`. Amplitudes have been checked before. Closed laws serve no vector, one vector, two
rings or discs, and a plane Gaussian alone. Other laws are a series (`tests.oracles.random_vectors.series`) or a table:
piecewise polynomials, with pieces halved until each is smooth.

If one vector (or two, or three) is much larger than the rest, the law of the resultant has narrow features that no
series of reasonable length resolves. The largest vector is then added to the law of the rest, F_rest(ρ). For a ring a,
the disc of radius r about −a, seen from the origin of the rest, has the boundary (ρ, α). Every direction of the rest is
equally likely, so by Green's theorem the probability inside that disc is

    F(r) = (1/2π)·∮ F_rest(ρ) dα = (1/π)·∫₀^{π/2} F_rest(ρ)·(1 + (r² − a²)/ρ²) dχ,
    ρ² = (r − a)² + 4·a·r·sin²χ.

For a disc a, the probability at a given ρ is the overlap of two circles, r and a, at the distance ρ, over π·a². Its
derivative is minus their common chord, so by parts

    F(r) = (1/π)·∫₀^{π/2} F_rest(ρ)·4r²·sin²2χ/ρ² dχ.

Neither needs the density of the rest. Nor does a band, which is a mean of rings (`AddedBandLaw`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import elliprd, elliprf

from rules.quantities.work_limit import charge
from tests.oracles.random_vectors.series import MOST_TERMS, series_law

__all__ = [
    "DEGREE",
    "AddedBandLaw",
    "AddedVectorLaw",
    "BandLaw",
    "ClosedLaw",
    "DiscLaw",
    "DiscRingLaw",
    "GaussianLaw",
    "RadialTable",
    "ResultantLaw",
    "StepLaw",
    "TwoDiscLaw",
    "TwoVectorLaw",
    "chebyshev_values",
    "overlap",
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


def overlap(first: float, second: float, apart: float) -> float:
    """Return the area common to two circles, over π·(second radius)².

    Parameters
    ----------
    first : float
        Radius r ≥ 0 of the first circle.
    second : float
        Radius a > 0 of the second circle.
    apart : float
        Distance d ≥ 0 of their centres.

    Returns
    -------
    float
        Common area over π·a², 0 to 1.

    Notes
    -----
    Source: two circular segments, first principles; half angles keep all digits where the circles nearly touch.

    Examples
    --------
    >>> round(overlap(5.0, 5.0, 5.0), 7)
    0.3910022
    """
    near, far = abs(first - second), first + second
    if apart >= far:
        return 0.0
    if apart <= near:
        return 1.0 if first >= second else (first / second) ** 2
    # half angles at the centres, from the sides of the triangle r, a, d
    total, rest = far + apart, far - apart
    short, long = apart + first - second, apart - first + second
    at_first = 2.0 * math.atan2(math.sqrt(rest * long), math.sqrt(total * short))
    at_second = 2.0 * math.atan2(math.sqrt(rest * short), math.sqrt(total * long))
    ratio = first / second
    chord = 0.5 * math.sqrt(total * rest) * math.sqrt(short * long) / second**2
    return min(max((ratio * ratio * at_first + at_second - chord) / math.pi, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class DiscLaw:
    """Resultant of one vector uniform over a disc: P(R ≤ r) = (r/a)²."""

    radius: float

    @property
    def lower(self) -> float:
        """Least possible resultant, 0."""
        return 0.0

    @property
    def upper(self) -> float:
        """Greatest possible resultant, a."""
        return self.radius

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""
        return np.asarray((np.clip(radii, 0.0, self.radius) / self.radius) ** 2)

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = a·√p."""
        return np.asarray(self.radius * np.sqrt(probabilities))


@dataclass(frozen=True, slots=True)
class BandLaw:
    """Resultant of one vector of amplitude uniform between b and a: P(R ≤ r) = (r − b)/(a − b)."""

    lower: float
    upper: float

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""
        return np.asarray((np.clip(radii, self.lower, self.upper) - self.lower) / (self.upper - self.lower))

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = b + (a − b)·p."""
        return np.asarray(self.lower + (self.upper - self.lower) * probabilities)


class _PairLaw:
    """Base of the laws of two vectors, of which at least one is a disc: scalar closed form, inverse by a bracket."""

    __slots__ = ()
    lower: float
    upper: float

    def at(self, radius: float) -> float:
        """Return P(R ≤ r) of one radius inside the support."""
        raise NotImplementedError

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""
        charge(20 * radii.size)
        flat = [0.0 if r <= self.lower else 1.0 if r >= self.upper else self.at(r) for r in radii.ravel().tolist()]
        return np.array(flat, dtype=np.float64).reshape(radii.shape)

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return the radius for every probability."""
        return np.array([self._radius(p) for p in probabilities.tolist()], dtype=np.float64)

    def _radius(self, probability: float) -> float:
        if probability <= 0.0:
            return self.lower
        if probability >= 1.0:
            return self.upper
        # Imported here: few sums have so few contributors, and the import takes longer than a check.
        from scipy.optimize import brentq

        charge(400)
        start, end = self.lower, self.upper
        return float(brentq(lambda r: self.at(r) - probability, start, end, xtol=1e-13 * end, rtol=1e-12))


@dataclass(frozen=True, slots=True)
class DiscRingLaw(_PairLaw):
    """Resultant of a disc a and a ring b: overlap of the circles r and a at the distance b, over π·a²."""

    disc: float
    ring: float
    lower: float
    upper: float

    def at(self, radius: float) -> float:
        """Return P(R ≤ r) of one radius."""
        return overlap(radius, self.disc, self.ring)


@dataclass(frozen=True, slots=True)
class TwoDiscLaw(_PairLaw):
    """Resultant of two discs a ≥ b.

    With F_rest = (ρ/b)² up to b, the integral over the larger disc is closed:
    F(r) = overlap(r, a; b)/(π·a²) + r²/(π·b²)·(2χ − ½·sin 4χ), sin²χ = (b² − (r − a)²)/(4ar) in 0…1.
    """

    larger: float
    smaller: float
    lower: float
    upper: float

    def at(self, radius: float) -> float:
        """Return P(R ≤ r) of one radius."""
        a, b = self.larger, self.smaller
        away = radius - a
        above = (b - away) * (b + away)
        if above <= 0.0:
            return min((radius / a) ** 2, 1.0)
        chi = math.asin(min(math.sqrt(above / (4.0 * a * radius)), 1.0))
        inner = (radius / b) ** 2 * (2.0 * chi - 0.5 * math.sin(4.0 * chi)) / math.pi
        return min(overlap(radius, a, b) + inner, 1.0)


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


ClosedLaw = StepLaw | TwoVectorLaw | GaussianLaw | DiscLaw | BandLaw | DiscRingLaw | TwoDiscLaw
"""Laws with a closed distribution function and their own inverse."""

_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_BLOCK = 200_000


@dataclass(frozen=True, slots=True)
class AddedVectorLaw:
    """Resultant of a ring, or a disc, of amplitude `added` > 0 and the resultant `rest`."""

    added: float
    rest: RadialTable
    lower: float
    upper: float
    disc: bool = False

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii, in the unit of the amplitudes."""
        values = np.where(radii >= self.upper, 1.0, 0.0)
        inside = np.flatnonzero((radii > self.lower) & (radii < self.upper) & (radii > 0.0))
        there = radii[inside]
        values[inside] = _with_added(there, np.full(there.shape, self.added), self.rest, disc=self.disc)
        return values


def _with_added(radii: FloatArray, added: FloatArray, rest: RadialTable, *, disc: bool = False) -> FloatArray:
    """Return P(R ≤ r) of radii above 0, each with a ring or disc added to the rest, in blocks."""
    values = np.empty(radii.shape)
    points = rest.edges.size * _ABSCISSAE.size
    step = max(1, _BLOCK // points)
    for start in range(0, radii.size, step):
        block = slice(start, start + step)
        charge(4 * radii[block].size * points)  # one step of Clenshaw's recurrence each
        values[block] = np.clip(_green(radii[block], added[block], rest, disc=disc), 0.0, 1.0)
    return values


def _green(radii: FloatArray, added: FloatArray, rest: RadialTable, *, disc: bool) -> FloatArray:
    near = np.abs(radii - added)  # lower end of ρ
    far = radii + added  # upper end of ρ
    product = 4.0 * added * radii
    sense = np.sign(radii - added)
    edges = rest.edges
    reach = np.clip(edges, near[:, None], far[:, None])
    sine = np.sqrt((reach - near[:, None]) * (reach + near[:, None]) / product[:, None])
    # beside a small vector, rounding of the sine would leave a gap before the end
    chi = np.where(edges >= far[:, None], 0.5 * np.pi, np.arcsin(np.minimum(sine, 1.0)))

    half = 0.5 * np.diff(chi, axis=1)
    middle = 0.5 * (chi[:, 1:] + chi[:, :-1])
    angles = middle[..., None] + half[..., None] * _ABSCISSAE
    square = (near * near)[:, None, None] + product[:, None, None] * np.sin(angles) ** 2
    low, high = edges[:-1, None], edges[1:, None]
    local = np.clip((2.0 * np.sqrt(square) - low - high) / (high - low), -1.0, 1.0)
    share = chebyshev_values(rest.coefficients[:, None, :], local)
    turn = sense * near * far  # r² − a² without cancellation
    with np.errstate(invalid="ignore", divide="ignore"):
        if disc:
            kernel = (2.0 * radii[:, None, None] * np.sin(2.0 * angles)) ** 2 / square
        else:
            kernel = 1.0 + turn[:, None, None] / square
    kernel = np.where(half[..., None] > 0.0, kernel, 0.0)
    within = ((share * kernel) @ _WEIGHTS * half).sum(axis=1)
    if disc:
        reached = float(edges[-1])
        beyond = [overlap(r, a, reached) for r, a in zip(radii.tolist(), added.tolist(), strict=True)]
        return np.asarray(within / np.pi + np.array(beyond))

    # beyond the support of the rest, F_rest = 1 and the integral has a closed form
    last = chi[:, -1]
    closed = 0.5 * np.pi - last
    closed += sense * (0.5 * np.pi - np.arctan2(far * np.sin(last), near * np.cos(last)))
    return np.asarray((within + closed) / np.pi)


@dataclass(frozen=True, slots=True)
class AddedBandLaw:
    """Resultant of a band, of amplitude uniform between `low` and `high`, and the resultant `rest`.

    K(ρ) is the share of the band within r if the rest is ρ long. By parts F(r) = K(ρ̂) + ∫ F_rest(ρ)·M(ρ) dρ, with the
    reach ρ̂ of the rest and M = −dK/dρ, which is an elliptic integral (`_falling`). M has square roots where r and the
    rest just touch an end of the band, and a logarithm at ρ = r if the band begins at 0. The integral is cut there and
    at the edges of the table, and each part is stretched at both ends.
    """

    low: float
    high: float
    rest: RadialTable
    lower: float
    upper: float

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii, in the unit of the amplitudes."""
        values = [0.0 if r <= self.lower else 1.0 if r >= self.upper else self._at(r) for r in radii.ravel().tolist()]
        return np.array(values, dtype=np.float64).reshape(radii.shape)

    def _at(self, r: float) -> float:
        low, high, edges = self.low, self.high, self.rest.edges
        reach = float(edges[-1])
        first, last = max(low, abs(r - reach)), min(high, r + reach)
        within = max(0.0, min(high, r - reach) - low)  # so far from the middle the whole ring is within r
        if last > first:
            rings, widths = _stretched(np.array([first]), np.array([last]))
            above, below = r * r - (rings - reach) ** 2, (rings + reach) ** 2 - r * r
            share = np.arctan2(np.sqrt(np.maximum(above, 0.0)), np.sqrt(np.maximum(below, 0.0))) * (2.0 / np.pi)
            within += float(share @ widths)
        kinks = np.clip([abs(r - low), r + low, abs(r - high), r + high, r], edges[0], reach)
        cuts = np.unique(np.concatenate((edges, kinks)))
        charge(20 * cuts.size * _STRETCHED.size)
        rho, widths = _stretched(cuts[:-1], cuts[1:])
        within += float((self.rest.cdf(rho) * _falling(r, rho, low, high)) @ widths)
        return min(max(within / (high - low), 0.0), 1.0)


def _stretched(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights of a rule on several intervals, for roots and logarithms at their ends."""
    width = high - low
    near = low[:, None] + width[:, None] * _STRETCHED
    far = high[:, None] - width[:, None] * _STRETCHED[::-1]
    nodes = np.where(_STRETCHED < 0.5, near, far)
    return nodes.ravel(), (width[:, None] * _STRETCHED_WEIGHTS).ravel()


def _falling(r: float, rho: FloatArray, low: float, high: float) -> FloatArray:
    """Return −dK/dρ times the width of the band.

    With u² = (r − ρ)² + 4rρ·sin²θ it is (2r/π)·∫ cos 2θ/u dθ over the amplitudes u of the band, and in s = sin²θ a sum
    of Carlson's R_F and R_D (DLMF 19.29.4, 19.29.7), without cancellation in a narrow band.
    """
    away = np.abs(r - rho)
    square, span = away * away, 4.0 * r * rho
    start, stop = (np.clip((end - away) * (end + away) / span, 0.0, 1.0) for end in (low, high))
    inside = (stop > start) & (away > 0.0)
    y, x = np.where(inside, start, 0.25), np.where(inside, stop, 0.75)
    x1, x2, x3 = np.sqrt(x), np.sqrt(1.0 - x), np.sqrt(square + span * x)
    y1, y2, y3 = np.sqrt(y), np.sqrt(1.0 - y), np.sqrt(square + span * y)
    u12, u13, u23 = (
        ((one + other) / (x - y)) ** 2
        for one, other in ((x1 * x2 * y3, y1 * y2 * x3), (x1 * x3 * y2, y1 * y3 * x2), (x2 * x3 * y1, y2 * y3 * x1))
    )
    u23 = np.maximum(u23, 1e-300)
    whole = elliprf(u12, u13, u23) - 2.0 * (square * elliprd(u12, u13, u23) / 3.0 + x1 * y1 / np.sqrt(u23))
    return np.asarray(np.where(inside, 2.0 * r / np.pi * whole, 0.0))


_TURNS, _TURN_WEIGHTS = np.polynomial.legendre.leggauss(24)
_TURNS = 0.5 * (1.0 + _TURNS)
_STRETCHED = _TURNS**3 * (10.0 + _TURNS * (6.0 * _TURNS - 15.0))
_STRETCHED_WEIGHTS = 15.0 * (_TURNS * (1.0 - _TURNS)) ** 2 * _TURN_WEIGHTS

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


def resultant_law(
    amplitudes: Sequence[float],
    sigma: float,
    discs: Sequence[float] = (),
    bands: Sequence[tuple[float, float]] = (),
) -> ResultantLaw:
    """Return the law of |Σ a_i·exp(jθ_i) + Σ d_i + Σ b_i + g|.

    The law is closed for at most two rings or discs, one band, or the Gaussian alone. For vectors of similar size it is
    a series, with the remaining terms in closed form for three to six rings. If a few vectors are much larger than the
    rest, the largest is added to the law of the others.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes a_i ≥ 0 of the rings, finite, in one unit.
    sigma : float
        Standard deviation σ ≥ 0 of the plane Gaussian g per axis, same unit.
    discs : Sequence[float], default ()
        Radii ≥ 0 of the discs, same unit.
    bands : Sequence[tuple[float, float]], default ()
        Least and greatest amplitude of each band, 0 ≤ least ≤ greatest, same unit.

    Returns
    -------
    ResultantLaw
        Law of the resultant.
    """
    charge(_STEPS)
    # lists are quicker than arrays for these few numbers
    total = math.fsum(amplitudes) + math.fsum(discs) + math.fsum([high for _, high in bands])
    least = _NEGLIGIBLE * max(total, sigma)
    narrow = [high for low, high in bands if high - low <= _NARROW * high]
    rings = sorted((a for a in (*amplitudes, *narrow) if a > least), reverse=True)
    wide = sorted((b for b in bands if b[1] > least and b[1] - b[0] > _NARROW * b[1]), key=lambda b: -b[1])
    parts = _Parts(rings, sorted((a for a in discs if a > least), reverse=True), wide)
    return _law(parts, 0.0 if sigma <= _NEGLIGIBLE * total else sigma, MOST_TERMS)


_NARROW = 1e-9  # width of a band over its amplitude below which it is a ring


class _Parts(NamedTuple):
    """Vectors of one resultant, the largest of each kind first."""

    rings: list[float]
    discs: list[float]
    bands: list[tuple[float, float]]

    def total(self) -> float:
        return math.fsum([*self.rings, *self.discs, *(high for _, high in self.bands)])

    def least(self) -> float:
        """Return the least possible resultant: what the others cannot close of the longest ring or band."""
        total = self.total()
        longest = max([2.0 * a for a in self.rings[:1]] + [low + high for low, high in self.bands], default=0.0)
        return max(0.0, longest - total)


def _law(parts: _Parts, sigma: float, most_terms: int) -> ResultantLaw:
    rings, discs, bands = parts
    if sigma == 0.0:
        closed = _closed(parts)
        if closed is not None:
            return closed
    elif not rings and not discs and not bands:
        return GaussianLaw(sigma)
    lower = 0.0 if sigma > 0.0 else parts.least()
    found = series_law(rings, sigma, lower, parts.total(), most_terms, discs, bands)
    if found is not None:
        return found
    kind = _largest(parts)
    without = _Parts(
        rings[1:] if kind == "ring" else rings,
        discs[1:] if kind == "disc" else discs,
        bands[1:] if kind == "band" else bands,
    )
    rest = table_of(_law(without, sigma, _MOST_TERMS_IN_TABLE))
    reach = float(rest.edges[-1])
    if kind == "band":
        low, high = bands[0]
        return AddedBandLaw(low, high, rest, max(0.0, low - reach), high + reach)
    largest = rings[0] if kind == "ring" else discs[0]
    if sigma > 0.0 and kind == "ring":
        lower = max(0.0, largest - reach)
    upper = parts.total() if sigma == 0.0 else largest + reach
    return AddedVectorLaw(largest, rest, lower, upper, kind == "disc")


def _largest(parts: _Parts) -> str:
    """Return the kind of the largest ring or disc; a band where there is neither, since it takes the most time."""
    ring, disc = (max(sizes, default=0.0) for sizes in (parts.rings, parts.discs))
    return "band" if ring == disc == 0.0 else "ring" if ring >= disc else "disc"


def _closed(parts: _Parts) -> ResultantLaw | None:
    """Return the closed law of few vectors without a Gaussian; None where there is none."""
    rings, discs, bands = parts
    lower, upper = parts.least(), parts.total()
    match len(rings), len(discs), len(bands):
        case (0 | 1, 0, 0):
            return StepLaw(upper)
        case (2, 0, 0):
            return TwoVectorLaw(rings[0], rings[1])
        case (0, 1, 0):
            return DiscLaw(upper)
        case (1, 1, 0):
            return DiscRingLaw(discs[0], rings[0], lower, upper)
        case (0, 2, 0):
            return TwoDiscLaw(discs[0], discs[1], lower, upper)
        case (0, 0, 1):
            return BandLaw(lower, upper)
    return None


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
