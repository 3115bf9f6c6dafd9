"""Ends of what vectors at random angles can add up to, and what amplitudes are taken at all."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["best_clocking", "check_each", "least_resultant", "worst_case"]


def worst_case(amplitudes: Sequence[float]) -> float:
    """Return the greatest possible resultant, all vectors in line: Σ a_i.

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the triangle
    inequality.

    >>> worst_case([1.5, 2.0, 0.5])
    4.0
    """
    check_each(amplitudes, "an amplitude")
    return math.fsum(amplitudes)


def best_clocking(amplitudes: Sequence[float]) -> float:
    """Return the least possible resultant, the largest vector against the rest: max(0, a_max − Σ others).

    Parameters: amplitudes ≥ 0. Raises ValueError for a negative or non-finite one. Source: the polygon
    inequality: vectors close to a polygon unless one is longer than all others together.

    >>> best_clocking([4.0, 1.0, 0.5])
    2.5
    """
    check_each(amplitudes, "an amplitude")
    return least_resultant(amplitudes)


def least_resultant(amplitudes: Sequence[float]) -> float:
    """Return `best_clocking` of amplitudes known to be good."""
    ordered = sorted(amplitudes)  # the same in any order
    return max(0.0, ordered[-1] - math.fsum(ordered[:-1])) if ordered else 0.0


def check_each(values: Sequence[float], name: str) -> None:
    """Raise ValueError unless every value is finite and zero or more; `name` says what they are."""
    for value in values:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"{name} must be a finite number, zero or more")
