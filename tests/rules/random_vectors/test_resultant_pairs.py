"""Comparisons of many resultants equal those of single pairs; ties of fixed values."""

from __future__ import annotations

from itertools import product

import pytest

from rules.random_vectors.comparison import Chance, chance_of_less_than, chances_of_less
from rules.random_vectors.random_sum import RandomClocking

LAWS = [
    RandomClocking([]),
    RandomClocking([2.0]),
    RandomClocking([3.0, 1.0]),
    RandomClocking([1.6, 2.3, 1.9, 1.5]),
    RandomClocking([1.5, 1.9, 2.3, 1.6]),
    RandomClocking([0.5, 0.4, 0.3], 0.7),
    RandomClocking([], 1.2),
    RandomClocking([40.0, 1.0, 2.0]),
]
PAIRS = list(product(range(len(LAWS)), repeat=2))


def test_each_pair_is_as_by_itself() -> None:
    """First principles: sharing tables and the unit changes nothing beyond the accuracy of the law."""
    for (i, j), chance in zip(PAIRS, chances_of_less(LAWS, PAIRS), strict=True):
        assert chance.less == pytest.approx(chance_of_less_than(LAWS[i], LAWS[j]), abs=1e-6), (i, j)


def test_one_is_less_or_the_other() -> None:
    """P(first less) + P(second less) = 1, but for two equal fixed amounts."""
    found = dict(zip(PAIRS, chances_of_less(LAWS, PAIRS), strict=True))
    for i, j in PAIRS:
        assert found[i, j].equal is (i == j and i < 2)
        assert found[i, j].less + found[j, i].less == pytest.approx(0.0 if found[i, j].equal else 1.0, abs=2e-6)


@pytest.mark.parametrize(
    ("first", "second", "chance"),
    [
        ([0.1 + 0.2], [0.3], Chance(0.0, True)),
        ([0.0], [], Chance(0.0, True)),
        ([0.3], [0.3001], Chance(1.0, False)),
        ([0.3001], [0.3], Chance(0.0, False)),
        ([1.0, 2.0], [9.0, 1.0, 1.0], Chance(1.0, False)),
        ([9.0, 1.0, 1.0], [1.0, 2.0], Chance(0.0, False)),
    ],
    ids=["rounding", "nothing", "less", "more", "apart", "apart the other way"],
)
def test_fixed_amounts_and_laws_apart(first: list[float], second: list[float], chance: Chance) -> None:
    """One vector each: a tie in spite of rounding, or certainty; ranges that do not meet are certain too."""
    assert chances_of_less([RandomClocking(first), RandomClocking(second)], [(0, 1)]) == [chance]


def test_no_pairs_no_answer() -> None:
    """Nothing asked, nothing told."""
    assert chances_of_less([], []) == []
