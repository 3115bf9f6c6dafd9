"""Processor time of one set of quantiles of randomly clocked vectors, by number of vectors.

Run: python -m tests.benchmarks.bench_random_clocking
"""

from __future__ import annotations

import time
from collections.abc import Callable

from rules.mechanics.random_clocking import resultant_quantiles

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


def main() -> None:
    """Measure and print."""
    print("four quantiles, processor time")
    for name, amplitudes in STACKS.items():
        for sigma in (0.0, 0.5):
            spent = microseconds(lambda a=amplitudes, s=sigma: resultant_quantiles(LEVELS, a, s))  # type: ignore[misc]
            print(f"{name:14s} sigma {sigma:3.1f}  {spent:8.0f} µs")


if __name__ == "__main__":
    main()
