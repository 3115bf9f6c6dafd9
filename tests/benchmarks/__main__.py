"""Every benchmark, in one table; each also runs alone.

Run: python -m tests.benchmarks [--long]
Times depend on the machine and its load. The ratios, each within one run, are the meaningful figures.
"""

from __future__ import annotations

from tests.benchmarks import (
    bench_answers,
    bench_audit,
    bench_check,
    bench_echo,
    bench_engines,
    bench_random_clocking,
    bench_scaling,
    bench_start,
    bench_workers,
)
from tests.benchmarks.measuring import HEAD, line

ALL = (
    bench_check,
    bench_answers,
    bench_echo,
    bench_engines,
    bench_scaling,
    bench_random_clocking,
    bench_start,
    bench_workers,
    bench_audit,
)


def main() -> None:
    """Measure all and print the table as it grows."""
    print(HEAD)
    for benchmark in ALL:
        title = (benchmark.__doc__ or "").splitlines()[0]
        print(f"\n{benchmark.__name__.rpartition('.')[2]}: {title}")
        for row in benchmark.rows():
            print(line(row), flush=True)


if __name__ == "__main__":
    main()
