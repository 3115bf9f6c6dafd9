"""From a probability to a resultant: the law of the resultant turned round.

A series of ordinary length is summed on a few points about each answer, from Bessel functions worked out
once for all stacks, and turned round by a cubic through four neighbours. Anything else, and whatever
the quick way cannot vouch for, is bracketed and refined on the law itself.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import j1

from rules.mechanics.resultant_law import ResultantLaw
from rules.mechanics.resultant_series import SeriesLaw, bessel_nodes
from rules.mechanics.resultant_small import GaussianLaw, StepLaw, TwoVectorLaw
from rules.mechanics.resultant_tail import SHALLOW, end_of_sum, tail_sum
from rules.mechanics.series_length import MOST_TERMS

__all__ = ["law_quantiles", "rows_of_quantiles"]

FloatArray = NDArray[np.float64]

_ERROR = 2e-7  # of the probability
_TERMS = 512  # terms that are looked up
_CELLS = 2048  # fine points on the disc's radius
_COARSE = 32  # fine points between two coarse ones
_MARGIN = 16  # fine points looked at beyond a coarse cell, on either side
_WINDOW = np.arange(0, _COARSE + 2 * _MARGIN + 1)
_MOST_TURNS = 8
_MOST_STEPS = 100


def law_quantiles(law: ResultantLaw, probabilities: FloatArray) -> FloatArray:
    """Return the radii r with P(R ≤ r) = p, ascending with p.

    Parameters: a law; probabilities (m,) in [0, 1], below 1 where the law includes a Gaussian. Returns
    shape (m,): |P(R ≤ r) − p| < 1e-6 wherever the law has no step.
    """
    if isinstance(law, StepLaw | TwoVectorLaw | GaussianLaw):
        return law.quantile(probabilities)
    wanted: list[float] = probabilities.tolist()
    inner = [p for p in wanted if 0.0 < p < 1.0]
    found = _from_series(law, inner) if isinstance(law, SeriesLaw) and inner else None
    if found is None:
        found = _from_bracket(law, np.array(inner)).tolist() if inner else []
    # rounding must not turn the order round
    radius = dict(zip(inner, found, strict=True))
    highest = law.lower
    for p in sorted(radius):
        highest = radius[p] = min(max(radius[p], highest), law.upper)
    return np.array([radius[p] if 0.0 < p < 1.0 else law.lower if p <= 0.0 else law.upper for p in wanted])


def rows_of_quantiles(laws: Sequence[ResultantLaw], probabilities: FloatArray) -> list[list[float]]:
    """Return the quantiles of several laws, one row a law, as `law_quantiles` gives each.

    Laws alike enough, such as one stack at two planes, share the array operations, whose number is what costs.
    """
    wanted: list[float] = probabilities.tolist()
    alike = [law for law in laws if isinstance(law, SeriesLaw) and _may_share(law)]
    if len(laws) > 1 and len(alike) == len(laws) and all(0.0 < p < 1.0 for p in wanted):
        first = alike[0]
        if all((law.orders, law.amplitudes.size) == (first.orders, first.amplitudes.size) for law in alike):
            found = _from_like_series(alike, wanted)
            if found is not None:
                return found
    return [law_quantiles(law, probabilities).tolist() for law in laws]


def _may_share(law: SeriesLaw) -> bool:
    return law.terms <= _TERMS and law.orders in (0, SHALLOW)


@cache
def _waves() -> tuple[FloatArray, FloatArray]:
    """Return ρ·J₁(λ_k ρ) on the fine points and, per term, its share in the interpolation's error."""
    zeros = bessel_nodes(_TERMS)[0]
    points = np.arange(-_MARGIN, _CELLS + _MARGIN + 1) / _CELLS
    waves = points[:, None] * j1(points[:, None] * zeros)
    share = 0.0235 * np.sqrt(2.0 / np.pi / zeros) * (zeros / _CELLS) ** 4
    return waves, share


def _from_series(law: SeriesLaw, wanted: list[float]) -> list[float] | None:
    """Return the quantiles of a series by Newton's rule, or None where they are not sure."""
    if law.terms > MOST_TERMS:
        return None
    waves, share = _waves()
    known = min(law.terms, _TERMS)
    error = np.cumsum(np.abs(law.coefficients[:known]) * share[:known])
    allowed = 2.0 * _ERROR  # of a bound that no phase reaches
    step = next((step for step in (8, 4, 2) if error[-1] * step**4 <= allowed), 1)
    if error[-1] > allowed:
        known = int(np.searchsorted(error, allowed))
    coefficients = law.coefficients[:known]
    waves = waves[:, :known]
    coarse = np.maximum.accumulate(waves[_MARGIN::_COARSE] @ coefficients)
    cells = coarse[1:-1].searchsorted(wanted, side="right")
    first = _COARSE * cells  # row of the window's start, a margin below the cell
    rows = first[:, None] + _WINDOW[::step]
    windows: list[list[float]] = (waves[rows] @ coefficients).tolist()
    starts: list[int] = (first - _MARGIN).tolist()
    targets = wanted
    complete = known == law.terms
    sure = complete and law.orders == 0
    for _ in range(_MOST_TURNS):
        # the known terms meet p − rest(r), the rest taken at the last r and along its slope
        found = [_crossing(values, target) for values, target in zip(windows, targets, strict=True)]
        at = [(start + step * cell) / _CELLS for start, (cell, _) in zip(starts, found, strict=True)]
        if not all(0.0 <= each <= 1.0 for each in at):  # NaN fails as well
            return None
        if min(at) < law.least:
            return _from_series(law.longer, wanted)
        if sure:
            return [each * law.scale for each in at]
        rest, bend = law.rest(np.array(at), known)
        misses = [t + r - w for t, r, w in zip(targets, rest.tolist(), wanted, strict=True)]
        worst = max(map(abs, misses))
        if worst < _ERROR:
            return [each * law.scale for each in at]
        targets = [
            target - miss / max(1.0 + more * step / _CELLS / slope, 0.2)
            for target, miss, more, (_, slope) in zip(targets, misses, bend.tolist(), found, strict=True)
        ]
        sure = complete and _after_newton(worst, law.amplitudes.size) < _ERROR
    return None


def _from_like_series(laws: Sequence[SeriesLaw], wanted: list[float]) -> list[list[float]] | None:
    """Return the quantiles of like series by Newton's rule, or None where one of them is not sure.

    The same steps as `_from_series`, with all terms looked up, for every pair of a law and a probability.
    """
    waves, share = _waves()
    terms = max(law.terms for law in laws)
    coefficients = np.zeros((len(laws), terms))
    for row, law in zip(coefficients, laws, strict=True):
        row[: law.terms] = law.coefficients
    waves = waves[:, :terms]
    error = float(np.max(np.abs(coefficients) @ share[:terms]))
    allowed = 2.0 * _ERROR
    if error > allowed:
        return None
    step = next((step for step in (8, 4, 2) if error * step**4 <= allowed), 1)
    coarse = np.maximum.accumulate(waves[_MARGIN::_COARSE] @ coefficients.T, axis=0)
    cells = np.array([coarse[1:-1, n].searchsorted(wanted, side="right") for n in range(len(laws))])
    first = _COARSE * cells
    rows = first[:, :, None] + _WINDOW[::step]
    windows: list[list[float]] = (
        np.matmul(waves[rows], coefficients[:, None, :, None]).reshape(-1, rows.shape[2]).tolist()
    )
    starts: list[int] = (first - _MARGIN).ravel().tolist()
    owners = [law for law in laws for _ in wanted]
    goals = wanted * len(laws)
    targets = goals
    sure = laws[0].orders == 0
    amplitudes = np.repeat(np.array([law.amplitudes for law in laws]), len(wanted), axis=0)
    ends = np.array([[end_of_sum(law.terms)] for law in owners])
    for _ in range(_MOST_TURNS):
        found = [_crossing(values, target) for values, target in zip(windows, targets, strict=True)]
        at = [(start + step * cell) / _CELLS for start, (cell, _) in zip(starts, found, strict=True)]
        if not all(law.least <= each <= 1.0 for law, each in zip(owners, at, strict=True)):  # NaN fails as well
            return None
        if not sure:
            rest, bend = tail_sum(np.array(at), amplitudes, ends, SHALLOW)
            misses = [t + r - w for t, r, w in zip(targets, rest.tolist(), goals, strict=True)]
            worst = max(map(abs, misses))
            sure = worst < _ERROR
        if sure:
            radii = [each * law.scale for law, each in zip(owners, at, strict=True)]
            return [radii[n : n + len(wanted)] for n in range(0, len(radii), len(wanted))]
        targets = [
            target - miss / max(1.0 + more * step / _CELLS / slope, 0.2)
            for target, miss, more, (_, slope) in zip(targets, misses, bend.tolist(), found, strict=True)
        ]
        sure = _after_newton(worst, laws[0].amplitudes.size) < _ERROR
    return None


def _after_newton(miss: float, count: int) -> float:
    """Return how large a miss may be left after a step, given the kink of |x|^((n−1)/2) in the law."""
    if count > 4:
        return 4.0 * miss * miss
    return 4.0 * miss**1.5 if count == 4 else 0.25 * miss


def _crossing(values: list[float], target: float) -> tuple[float, float]:
    """Return where the cubic through four neighbours meets the target, and its slope there; NaN outside."""
    at = bisect_right(values, target) - 1
    if not 1 <= at < len(values) - 2:
        return math.nan, 1.0
    v0, v1, v2, v3 = values[at - 1 : at + 3]
    third = (v3 - v0) / 6.0 + 0.5 * (v1 - v2)
    second = 0.5 * (v0 + v2) - v1
    first = v2 - v1 - second - third
    u = (target - v1) / (v2 - v1)
    for _ in range(6):
        slope = first + u * (2.0 * second + 3.0 * u * third)
        if slope <= 0.0:
            break
        move = (target - v1 - u * (first + u * (second + u * third))) / slope
        u += move
        if -1e-5 < move < 1e-5:  # the next one would be its square
            return at + u, slope
    return math.nan, 1.0


def _from_bracket(law: ResultantLaw, probabilities: FloatArray) -> FloatArray:
    """Return the quantiles by Chandrupatla's rule (1997) on the law itself."""
    low = np.full(probabilities.shape, law.lower)
    high = np.full(probabilities.shape, law.upper)
    low_miss, high_miss = -probabilities, 1.0 - probabilities
    third, third_miss = low.copy(), low_miss.copy()
    part = np.full(probabilities.shape, 0.5)
    best = high.copy()
    for _ in range(_MOST_STEPS):
        trial = low + part * (high - low)
        miss = law.cdf(trial) - probabilities
        same = np.sign(miss) == np.sign(low_miss)
        third = np.where(same, low, high)
        third_miss = np.where(same, low_miss, high_miss)
        high = np.where(same, high, low)
        high_miss = np.where(same, high_miss, low_miss)
        low, low_miss = trial, miss
        closer = np.abs(low_miss) <= np.abs(high_miss)
        best = np.where(closer, low, high)
        width = np.abs(high - low)
        rounding = 4e-16 * np.maximum(np.abs(low), np.abs(high))
        if np.all((np.minimum(np.abs(low_miss), np.abs(high_miss)) <= 0.5 * _ERROR) | (width <= rounding)):
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            xi = (low - high) / (third - high)
            phi = (low_miss - high_miss) / (third_miss - high_miss)
            inverse = (phi * phi < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
            quadratic = low_miss / (high_miss - low_miss) * third_miss / (high_miss - third_miss) + (third - low) / (
                high - low
            ) * low_miss / (third_miss - low_miss) * high_miss / (third_miss - high_miss)
            part = np.where(inverse & np.isfinite(quadratic), quadratic, 0.5)
        least = np.minimum(0.5, 0.5 * rounding / np.maximum(width, 1e-300))
        part = np.clip(part, least, 1.0 - least)
    return best
