"""Probability that one resultant is smaller than another, for many pairs.

Each law is tabulated once, and every pair is computed from the tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.kernel import Law
from rules.random_vectors.random_sum import RandomClocking

__all__ = ["Chance", "chance_of_less", "chance_of_less_than", "chances_of_less", "probability_less"]


STEP: Final = "step"
"""Kind of the law of one fixed resultant."""


def chance_of_less(first: Law, second: Law) -> float:
    """Return P(R₁ < R₂) = ∫ F₁ dF₂ of two independent resultants; 0 for two equal steps.

    Parameters
    ----------
    first : Law
        Law F₁ of the first resultant.
    second : Law
        Law F₂ of the second resultant.

    Returns
    -------
    float
        P(R₁ < R₂) = ∫ F₁ dF₂ of two independent resultants.
    """
    if first.kind == STEP:
        if second.kind == STEP:
            return float(first.lower < second.lower)
        return 1.0 - second.cdf((first.lower,))[0]
    if second.kind == STEP:
        return first.cdf((second.lower,))[0]
    return first.less(second)


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
    # equal laws share one object, and with it their table
    by_key: dict[object, Law] = {}
    scaled = []
    for law in laws:
        key = (tuple(sorted(law.amplitudes)), law.sigma, tuple(sorted(law.discs)), law.bands)
        if key not in by_key:
            by_key[key] = law.law_in(scale)
        scaled.append(by_key[key])

    found = []
    for i, j in pairs:
        first, second = scaled[i], scaled[j]
        if first.kind == STEP or second.kind == STEP:
            found.append(_with_step(first, second))
        elif first.upper <= second.lower or second.upper <= first.lower:
            found.append(Chance(1.0 if first.upper <= second.lower else 0.0, False))
        else:
            found.append(Chance(first.less(second), False))
    return found


def _with_step(first: Law, second: Law) -> Chance:
    if first.kind == second.kind and math.isclose(first.lower, second.lower, rel_tol=_SAME_STEP):
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
