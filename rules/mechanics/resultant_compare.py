"""Chance that one resultant is smaller than another, from the tables of both laws."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.mechanics.radial_table import DEGREE, RadialTable, chebyshev_values
from rules.mechanics.resultant_law import ResultantLaw, table_of
from rules.mechanics.resultant_small import StepLaw

__all__ = ["chance_of_less", "less_by_tables"]

FloatArray = NDArray[np.float64]

# exact for the product of a polynomial and the derivative of another
_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(DEGREE)


def chance_of_less(first: ResultantLaw, second: ResultantLaw) -> float:
    """Return P(R₁ < R₂) = ∫ F₁ dF₂ of two independent resultants; a tie of two steps counts as no."""
    if isinstance(first, StepLaw):
        if isinstance(second, StepLaw):
            return float(first.radius < second.radius)
        return 1.0 - float(second.cdf(np.array([first.radius]))[0])
    if isinstance(second, StepLaw):
        return float(first.cdf(np.array([second.radius]))[0])
    return min(max(less_by_tables(table_of(first), table_of(second)), 0.0), 1.0)


def less_by_tables(weight: RadialTable, measure: RadialTable) -> float:
    """Return ∫ weight d(measure) of two tables, exact for the polynomials they hold."""
    start = max(weight.edges[0], measure.edges[0])
    stop = min(weight.edges[-1], measure.edges[-1])
    above = 1.0 - float(measure.cdf(weight.edges[-1:])[0])  # there `weight` is 1
    if start >= stop:
        return above
    edges = np.unique(np.clip(np.concatenate((weight.edges, measure.edges)), start, stop))
    middle, half = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
    points: FloatArray = middle[:, None] + half[:, None] * _ABSCISSAE
    piece = np.clip(np.searchsorted(measure.edges, middle) - 1, 0, measure.edges.size - 2)
    low, width = measure.edges[piece], np.diff(measure.edges)[piece]
    local = 2.0 * (points - low[:, None]) / width[:, None] - 1.0
    slopes = np.asarray(np.polynomial.chebyshev.chebder(measure.coefficients, axis=1), dtype=np.float64)
    density = chebyshev_values(slopes[piece][:, None, :], local) * (2.0 / width)[:, None]
    return above + float(np.sum((weight.cdf(points) * density) @ _WEIGHTS * half))
