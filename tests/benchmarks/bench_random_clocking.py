"""Processor time of quantiles of randomly clocked vectors, by number of vectors, and of all that one check asks.

Run: python -m tests.benchmarks.bench_random_clocking
"""

from __future__ import annotations

import time
from collections.abc import Callable

from rules.mechanics.random_clocking import Question, RandomClocking, resultant_quantiles

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


def microseconds(work: Callable[[], object], repeats: int = 500) -> float:
    """Return the processor time of one call, the best of five rounds."""
    work()
    rounds = []
    for _ in range(5):
        start = time.process_time()
        for _ in range(repeats // 5):
            work()
        rounds.append((time.process_time() - start) / (repeats // 5))
    return min(rounds) * 1e6


# the runout of five components at two planes against a limit, an unbalance and a couple
RUNOUT = ([1.61, 2.338, 1.919, 1.5, 1.5], [1.66, 2.449, 2.006, 1.703, 1.683])
ROTATING = ([1.0 + 0.4 * k for k in range(11)], [1.0 + 0.3 * k for k in range(11)])
LIMIT = 10.0


def together() -> None:
    """Ask all of one check at once, for the first time."""
    RandomClocking.forget()
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


def main() -> None:
    """Measure and print."""
    print("four quantiles, processor time")
    for name, amplitudes in STACKS.items():
        for sigma in (0.0, 0.5):
            spent = microseconds(lambda a=amplitudes, s=sigma: resultant_quantiles(LEVELS, a, s))  # type: ignore[misc]
            print(f"{name:14s} sigma {sigma:3.1f}  {spent:8.0f} µs")
    print("what one check asks: six quantiles and two chances of four laws")
    for name, work in (("together", together), ("one by one", one_by_one), ("laws alone", laws_alone)):
        print(f"{name:14s}            {microseconds(work):8.0f} µs")


if __name__ == "__main__":
    main()
