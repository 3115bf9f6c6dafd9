"""Probability that one resultant is smaller than another, for many pairs.

Each law is tabulated once, and every pair is computed from the tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.random_vectors.law import DEGREE, RadialTable, ResultantLaw, StepLaw, chebyshev_values, table_of
from rules.random_vectors.random_sum import RandomClocking

__all__ = ["Chance", "chance_of_less", "chance_of_less_than", "chances_of_less", "probability_less"]


FloatArray = NDArray[np.float64]

# exact for a polynomial times the derivative of another
_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(DEGREE)


def chance_of_less(first: ResultantLaw, second: ResultantLaw) -> float:
    """Return P(R₁ < R₂) = ∫ F₁ dF₂ of two independent resultants; 0 for two equal steps.

    Parameters
    ----------
    first : ResultantLaw
        Law F₁ of the first resultant.
    second : ResultantLaw
        Law F₂ of the second resultant.

    Returns
    -------
    float
        P(R₁ < R₂) = ∫ F₁ dF₂ of two independent resultants.
    """
    if isinstance(first, StepLaw):
        if isinstance(second, StepLaw):
            return float(first.radius < second.radius)
        return 1.0 - float(second.cdf(np.array([first.radius]))[0])
    if isinstance(second, StepLaw):
        return float(first.cdf(np.array([second.radius]))[0])
    return min(max(less_by_tables(table_of(first), table_of(second)), 0.0), 1.0)


def less_by_tables(weight: RadialTable, measure: RadialTable) -> float:
    """Return ∫ weight d(measure) of two tables, exact for the polynomials they hold.

    Parameters
    ----------
    weight : RadialTable
        Table of the integrand.
    measure : RadialTable
        Table of the measure.

    Returns
    -------
    float
        ∫ weight d(measure) of two tables, exact for the polynomials they hold.
    """
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


_SAME_STEP = 1e-12  # two steps this close differ by rounding only


@dataclass(frozen=True, slots=True)
class Chance:
    """How two independent resultants compare."""

    less: float
    """Probability that the first resultant is smaller."""
    equal: bool
    """Both are the same fixed value, so neither is smaller."""


def chances_of_less(laws: Sequence[RandomClocking], pairs: Iterable[tuple[int, int]]) -> list[Chance]:
    """Return P(R_i < R_j) for pairs of independent resultants.

    P(R₁ < R₂) = ∫ F₁(r) dF₂(r)

    Parameters
    ----------
    laws : Sequence[RandomClocking]
        Laws of the resultants, in one unit.
    pairs : Iterable[tuple[int, int]]
        Pairs of indices into the laws.

    Returns
    -------
    list[Chance]
        One chance per pair, within 1e-6, the same as by `chance_of_less_than`. For two equal steps (one vector each, of
        the same amplitude, or none), `equal` is true and `less` is 0.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> laws = [RandomClocking([1.0] * n) for n in (2, 3)]
    >>> [round(chance.less, 6) for chance in chances_of_less(laws, [(0, 1), (1, 0)])]
    [0.6, 0.4]
    """
    scale = max((law.scale for law in laws), default=0.0)
    if scale == 0.0:
        return [Chance(0.0, True) for _ in pairs]
    scaled = [law.law_in(scale) for law in laws]
    tables: dict[int, RadialTable] = {}
    same: dict[object, int] = {}  # equal laws share a table
    keys = [
        same.setdefault((tuple(sorted(law.amplitudes)), law.sigma, tuple(sorted(law.discs)), law.bands), n)
        for n, law in enumerate(laws)
    ]

    def table(index: int) -> RadialTable:
        key = keys[index]
        if key not in tables:
            tables[key] = table_of(scaled[key])
        return tables[key]

    found = []
    for i, j in pairs:
        first, second = scaled[i], scaled[j]
        if isinstance(first, StepLaw) or isinstance(second, StepLaw):
            found.append(_with_step(first, second))
        elif first.upper <= second.lower or second.upper <= first.lower:
            found.append(Chance(1.0 if first.upper <= second.lower else 0.0, False))
        else:
            found.append(Chance(min(max(less_by_tables(table(i), table(j)), 0.0), 1.0), False))
    return found


def _with_step(first: ResultantLaw, second: ResultantLaw) -> Chance:
    if (
        isinstance(first, StepLaw)
        and isinstance(second, StepLaw)
        and math.isclose(first.radius, second.radius, rel_tol=_SAME_STEP)
    ):
        return Chance(0.0, True)
    return Chance(chance_of_less(first, second), False)


def chance_of_less_than(first: RandomClocking, second: RandomClocking) -> float:
    """Return the probability that the first resultant is smaller; see `probability_less`.

    Parameters
    ----------
    first : RandomClocking
        Law of the first resultant.
    second : RandomClocking
        Law of the second resultant.

    Returns
    -------
    float
        Probability that the first resultant is smaller.
    """
    scale = max(first.scale, second.scale)
    if scale == 0.0:
        return 0.0
    return chance_of_less(first.law_in(scale), second.law_in(scale))


def probability_less(first: Sequence[float], first_sigma: float, second: Sequence[float], second_sigma: float) -> float:
    """Return the probability that one resultant is smaller than another, independent one.

    P(R₁ < R₂) = ∫ F₁(r) dF₂(r). Amplitudes and sigmas are as in `resultant_cdf`, all in one unit.

    Parameters
    ----------
    first : Sequence[float]
        Amplitudes of the first resultant.
    first_sigma : float
        Standard deviation of the Gaussian part of the first resultant.
    second : Sequence[float]
        Amplitudes of the second resultant.
    second_sigma : float
        Standard deviation of the Gaussian part of the second resultant.

    Returns
    -------
    float
        Probability, within 1e-6; 0 for two equal steps (one vector each, of the same amplitude).

    Raises
    ------
    ValueError
        As `resultant_cdf`.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> round(probability_less([1.0, 1.0], 0.0, [1.0, 1.0, 1.0], 0.0), 6)
    0.6
    """
    return chance_of_less_than(RandomClocking(first, first_sigma), RandomClocking(second, second_sigma))
