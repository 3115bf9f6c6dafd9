"""How many orders of the inventory there are, and how many begin with a given end: counted, not walked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from math import factorial

__all__ = ["OrderCount", "arrangements"]


@lru_cache(maxsize=4096)
def arrangements(quantities: tuple[tuple[int, int], ...], places: int) -> int:
    """Return the ways to fill so many places in order from parts of which a limited number is on hand.

    ``quantities`` pairs a number of pieces with how many different parts have it. The exponential generating
    function of one part of quantity q is Σ xᵗ/t!, t = 0 … q; the ways are places! times the coefficient of their
    product (Stanley, Enumerative Combinatorics, chapter 5, from memory).

    >>> arrangements(((1, 3),), 2), arrangements(((2, 1),), 2), arrangements(((2, 1),), 3)
    (6, 1, 0)
    """
    product = [Fraction(1)] + [Fraction(0)] * places
    for quantity, count in quantities:
        one = [Fraction(1, factorial(t)) if t <= quantity else Fraction(0) for t in range(places + 1)]
        for _ in range(count):
            product = [sum((product[k] * one[n - k] for k in range(n + 1)), Fraction(0)) for n in range(places + 1)]
    return int(product[places] * factorial(places))


class OrderCount:
    """Counts orders of an inventory: so many different endings at the spindle, parts between with their quantities."""

    def __init__(self, quantities: Sequence[int], endings: int) -> None:
        self._pieces = tuple(quantities)
        self._all = Counter(quantities)
        self._endings = endings

    def above(self, used: Sequence[int], room: int) -> int:
        """Return the orders that go on from an end, with ``room`` for so many more components, a holder among them.

        ``used`` are the parts between that are in it already, by their place in the quantities.
        """
        if room < 1:
            return 0
        left = Counter(self._all)
        for place, count in Counter(used).items():
            left[self._pieces[place]] -= 1
            left[self._pieces[place] - count] += 1
        kinds = tuple(sorted((quantity, count) for quantity, count in left.items() if count and quantity))
        return self._endings * sum(arrangements(kinds, places) for places in range(room))
