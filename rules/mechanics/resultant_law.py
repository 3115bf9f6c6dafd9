"""The law of the resultant of vectors at random angles: which computation serves which stack."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rules.mechanics.radial_table import RadialTable, tabulate
from rules.mechanics.resultant_nested import AddedVectorLaw
from rules.mechanics.resultant_series import series_law
from rules.mechanics.resultant_small import GaussianLaw, StepLaw, TwoVectorLaw
from rules.mechanics.series_length import MOST_TERMS
from rules.quantities.work_limit import spend

__all__ = ["ResultantLaw", "resultant_law", "table_of"]

FloatArray = NDArray[np.float64]

_NEGLIGIBLE = 1e-15  # share of the sum below which a vector is lost in rounding anyway
_TABLE_ERROR = 1e-8
_STEPS = 10_000  # about what setting up and asking a plain law costs
_MOST_TERMS_IN_TABLE = 768  # of one that is evaluated a thousand times for a table


class ResultantLaw(Protocol):
    """What every law of a resultant offers: its support and its distribution function."""

    @property
    def lower(self) -> float:
        """Least possible resultant."""

    @property
    def upper(self) -> float:
        """Greatest possible resultant, or a radius that all but 1e-15 stay below."""

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""


def resultant_law(amplitudes: Sequence[float], sigma: float) -> ResultantLaw:
    """Return the law of |Σ a_i·exp(jθ_i) + g|.

    Parameters: amplitudes ≥ 0 and finite; sigma ≥ 0, standard deviation of the plane Gaussian g
    per axis, same unit. Closed where there are at most two vectors or the Gaussian alone; a series,
    with its rest in closed form for three to six vectors, for every balanced stack; where few vectors
    dwarf the rest, the largest is added to the law of the others.
    """
    spend(_STEPS)
    # a handful of numbers: lists are quicker than arrays until the series begins
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
    """Return the table of a law that is not a step."""
    return tabulate(law.cdf, law.lower, law.upper, _TABLE_ERROR)
