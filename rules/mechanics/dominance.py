"""Which alternatives are beaten in everything: Pareto dominance over criteria that may not be known."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["dominators", "non_dominated"]

Row = Sequence[float | None]


def dominators(rows: Sequence[Row], higher_is_better: Sequence[bool], classes: Sequence[int]) -> list[tuple[int, ...]]:
    """Return for each alternative the indices of those that dominate it.

    a dominates b: class a ≤ class b, no criterion worse, at least one better

    Parameters: rows, one per alternative, of one value per criterion, None where it is not known;
    higher_is_better per criterion; classes, one per alternative: whoever is in a higher one dominates nobody
    in a lower one. Unknown is not comparable: who lacks a criterion neither dominates nor is dominated; a
    criterion that nobody's value is known of is left out. Dominance is therefore a strict partial order, and someone
    is always left undominated. Raises ValueError for NaN and for lengths that differ. Source: Pareto order, first
    principles.

    >>> dominators([[1.0, 5.0], [2.0, 5.0], [None, 9.0]], [False, True], [0, 0, 0])
    [(), (0,), ()]
    """
    if len(classes) != len(rows) or any(len(row) != len(higher_is_better) for row in rows):
        raise ValueError("one class per alternative and one value per criterion")
    if any(value is not None and math.isnan(value) for row in rows for value in row):
        raise ValueError("a value must be a number or None")
    used = [n for n in range(len(higher_is_better)) if any(row[n] is not None for row in rows)]
    costs = [_costs(row, used, higher_is_better) for row in rows]
    return [
        tuple(
            a
            for a, theirs in enumerate(costs)
            if own is not None and theirs is not None and classes[a] <= classes[b] and _beats(theirs, own)
        )
        for b, own in enumerate(costs)
    ]


def non_dominated(rows: Sequence[Row], higher_is_better: Sequence[bool], classes: Sequence[int]) -> list[int]:
    """Return the indices of the alternatives that nobody dominates; parameters and errors as `dominators`.

    >>> non_dominated([[1.0, 5.0], [2.0, 5.0], [None, 9.0]], [False, True], [0, 0, 0])
    [0, 2]
    """
    return [n for n, found in enumerate(dominators(rows, higher_is_better, classes)) if not found]


def _costs(row: Row, used: Sequence[int], higher_is_better: Sequence[bool]) -> tuple[float, ...] | None:
    """Return the values turned so that less is better, or None where one is not known."""
    values = [(-value if higher_is_better[n] else value) for n in used if (value := row[n]) is not None]
    return tuple(values) if len(values) == len(used) else None


def _beats(first: tuple[float, ...], second: tuple[float, ...]) -> bool:
    return first != second and all(a <= b for a, b in zip(first, second, strict=True))
