"""How many terms the series of a resultant's law needs, known before the first is computed.

Everything rests on |J₀(x)| ≤ √(2/(πx)): the terms beyond T sum to at most

    B_m(T) = ∫_T^∞ √(2/(πt))·Π_{i≤m} √(2/(π·a_i·t)) dt = b_m·T^(−p)/p, p = (m − 1)/2,

for every m ≥ 2, the m largest vectors alone bounding the product. Where the rest is added in closed form
(`resultant_tail`), what counts is the first order of 1/T left out there, relative to that bound.
Lengths are in units of the disc's radius.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from rules.mechanics.resultant_tail import DEEP, MOST_VECTORS, SHALLOW, end_of_sum

__all__ = ["MOST_TERMS", "SeriesLength", "least_position", "series_length"]

_ROOT = math.sqrt(2.0 / math.pi)

MOST_TERMS = 16384  # beyond which a series is never worth its time

_PLAIN_ERROR = 4e-7  # bound of the terms left out, no tail added
_TAIL_ERROR = 2e-7  # first order left out of the tail
_TAIL_SIZE = 3e-4  # bound of the tail itself
_SIGMAS = 5.6  # exp(−σ²t²/2) is 1.5e-7 at t = 5.6/σ
_TAIL_COST = {SHALLOW: 1200, DEEP: 4000}  # in evaluations of J₀
_LEAST_TERMS = {SHALLOW: 16, DEEP: 96}
_LEAST_PHASE = {SHALLOW: 2.0, DEEP: 3.0}  # a_i·T below which no expansion holds


class SeriesLength(NamedTuple):
    """Number of terms, and how many orders of 1/T the tail takes: 0 for no tail at all."""

    terms: int
    orders: int


def series_length(amplitudes: list[float], sigma: float) -> SeriesLength:
    """Return the cheapest length for vectors and a plane Gaussian on the unit disc.

    Parameters: amplitudes > 0, descending; sigma ≥ 0, σ per axis. Returns more than MOST_TERMS terms where no
    reasonable length would do.

    >>> series_length([0.05] * 20, 0.0)
    SeriesLength(terms=24, orders=0)
    >>> series_length([0.25] * 4, 0.0)
    SeriesLength(terms=64, orders=1)
    """
    end = _SIGMAS / sigma if sigma > 0.0 else math.inf
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
        if amplitudes[used - 1] * end > 1.0:  # a vector that still shortens the series
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
        if count > 4:  # a few more terms make Newton's first step on a quantile the last one
            end = max(end, (bound / (power * _TAIL_SIZE)) ** (1.0 / power))
        terms = _terms(end, _LEAST_TERMS[orders])
        if count * terms + _TAIL_COST[orders] < cost:
            best, cost = SeriesLength(terms, orders), count * terms + _TAIL_COST[orders]
    return best


def least_position(amplitudes: list[float], length: SeriesLength) -> float:
    """Return the smallest r at which the expansion of J₁(rt) beyond T is good enough, 0 without a tail.

    √r·B(T)·c/(rT)^d, the first order left out, against the error allowed.
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
