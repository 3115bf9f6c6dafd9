"""Processor time of quantiles of randomly clocked vectors, by number of vectors, and of all quantiles of one check.

Run: python -m tests.benchmarks.bench_random_clocking
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rules.random_vectors.random_sum import Question, RandomClocking, resultant_quantiles
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows

__all__ = ["rows"]

LEVELS = (0.5, 0.8, 0.95, 0.99)
STACKS = {
    "2 vectors": [1.5, 1.0],
    "3 vectors": [1.5, 1.0, 1.5],
    "5 vectors": [1.5, 1.0, 1.5, 1.2, 0.8],
    "10 vectors": [0.3 + 0.2 * k for k in range(10)],
    "20 vectors": [0.3 + 0.1 * k for k in range(20)],
    "5, one large": [20.0, 1.0, 1.5, 1.2, 0.8],
    "5, one tiny": [1.5, 1.0, 1.5, 1.2, 0.02],
    "11, 1 to 10⁶": [1e3] + [1e-3] * 10,
}


# the runout of five components at two planes against a limit, an unbalance and a couple
RUNOUT = ([1.61, 2.338, 1.919, 1.5, 1.5], [1.66, 2.449, 2.006, 1.703, 1.683])
ROTATING = ([1.0 + 0.4 * k for k in range(11)], [1.0 + 0.3 * k for k in range(11)])
LIMIT = 10.0


def together() -> None:
    """Ask all of one check at once."""
    asked = [Question(RandomClocking(row), (0.5, 0.95), (LIMIT / 2.0,)) for row in RUNOUT]
    RandomClocking.figures_of(asked + [Question(RandomClocking(row), (0.95,)) for row in ROTATING])


def one_by_one() -> None:
    """Ask the same of each law alone."""
    for row in RUNOUT:
        law = RandomClocking(row)
        law.quantiles((0.5, 0.95))
        law.probability(LIMIT / 2.0)
    for row in ROTATING:
        RandomClocking(row).quantiles((0.95,))


def laws_alone() -> None:
    """Set the laws up and ask nothing."""
    for row in (*RUNOUT, *ROTATING):
        RandomClocking(row)


def rows() -> Iterator[Row]:
    """Measure: four quantiles of each, and what one check asks: six quantiles and two chances of four laws."""
    asked: dict[str, Callable[[], object]] = {
        f"quantiles of {name}, sigma {sigma}": lambda a=amplitudes, s=sigma: resultant_quantiles(LEVELS, a, s)
        for name, amplitudes in STACKS.items()
        for sigma in (0.0, 0.5)
    }
    asked |= {"sums of a check, together": together, "sums of a check, one by one": one_by_one}
    asked |= {"sums of a check, laws alone": laws_alone}
    yield from timed_rows(milliseconds(asked, rounds=6, repeats=20), "sums of a check, together")


if __name__ == "__main__":
    show(rows())
