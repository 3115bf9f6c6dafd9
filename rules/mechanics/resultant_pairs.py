"""Many resultants against each other: each law is tabulated once, and every pair answered from the tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rules.mechanics.radial_table import RadialTable
from rules.mechanics.random_clocking import RandomClocking
from rules.mechanics.resultant_compare import chance_of_less, less_by_tables
from rules.mechanics.resultant_law import ResultantLaw, table_of
from rules.mechanics.resultant_small import StepLaw

__all__ = ["Chance", "chances_of_less"]

_SAME_STEP = 1e-12  # two steps as close as that differ by rounding alone


@dataclass(frozen=True, slots=True)
class Chance:
    """How two independent resultants compare."""

    less: float
    """Probability that the first is the smaller one."""
    equal: bool
    """Both are one and the same fixed amount, so neither is smaller."""


def chances_of_less(laws: Sequence[RandomClocking], pairs: Iterable[tuple[int, int]]) -> list[Chance]:
    """Return P(R_i < R_j) for pairs of independent resultants.

    P(R₁ < R₂) = ∫ F₁(r) dF₂(r)

    Parameters: laws in one unit; pairs of their indices. Returns one chance a pair, within 1e-6, as
    `RandomClocking.chance_of_less_than` gives; two equal steps (one vector each, of one amplitude, or none)
    are equal and 0. Source: first principles.

    >>> laws = [RandomClocking([1.0] * n) for n in (2, 3)]
    >>> [round(chance.less, 6) for chance in chances_of_less(laws, [(0, 1), (1, 0)])]
    [0.6, 0.4]
    """
    scale = max((law.scale for law in laws), default=0.0)
    if scale == 0.0:
        return [Chance(0.0, True) for _ in pairs]
    scaled = [law.law_in(scale) for law in laws]
    tables: dict[int, RadialTable] = {}
    same: dict[tuple[tuple[float, ...], float], int] = {}  # laws of the same vectors share a table
    keys = [same.setdefault((tuple(sorted(law.amplitudes)), law.sigma), n) for n, law in enumerate(laws)]

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
