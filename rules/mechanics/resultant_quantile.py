"""From a probability to a resultant: the law of the resultant turned round.

A series is turned round by `resultant_figures`. Anything else, and whatever that cannot vouch for, is bracketed and
refined on the law itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.mechanics.resultant_figures import Asked, in_order, series_figures
from rules.mechanics.resultant_law import ResultantLaw
from rules.mechanics.resultant_series import SeriesLaw
from rules.mechanics.resultant_small import GaussianLaw, StepLaw, TwoVectorLaw
from rules.mechanics.series_length import MOST_TERMS

__all__ = ["law_quantiles"]

FloatArray = NDArray[np.float64]

_ERROR = 2e-7  # of the probability
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
    radii = iter(_inner_quantiles(law, inner) if inner else [])
    return np.array([next(radii) if 0.0 < p < 1.0 else law.lower if p <= 0.0 else law.upper for p in wanted])


def _inner_quantiles(law: ResultantLaw, probabilities: list[float]) -> list[float]:
    series = law if isinstance(law, SeriesLaw) else None
    while series is not None and series.terms <= MOST_TERMS:
        found = series_figures([Asked(series, probabilities, ())])[0]
        if found is not None:
            return found.quantiles
        series = series.longer if series.orders else None  # small radii need more terms
    return in_order(law, probabilities, _from_bracket(law, np.array(probabilities)).tolist())


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
