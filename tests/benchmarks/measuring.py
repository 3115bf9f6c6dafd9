"""Measurement and output of times: rows with a ratio to another measurement of the same run."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

__all__ = ["HEAD", "Row", "line", "milliseconds", "show", "timed_rows"]

_FORMAT: Final = "{:<52}{:>11} {:<11}{:>8}  {}"

HEAD: Final = _FORMAT.format("what", "figure", "unit", "ratio", "to")


@dataclass(frozen=True, slots=True)
class Row:
    """A figure, and what it is beside another figure of the same run."""

    what: str
    figure: float
    unit: str
    base: float | None = None
    to: str = ""


def milliseconds(stages: Mapping[str, Callable[[], object]], rounds: int = 25, repeats: int = 30) -> dict[str, float]:
    """Return the processor time of one call of each, the best of many short rounds taken in turn.

    In turn, because a shared machine slows down and speeds up by the second, and ratios are what counts.
    """
    best = dict.fromkeys(stages, math.inf)
    for _ in range(rounds):
        for name, work in stages.items():
            work()
            start = time.process_time()
            for _ in range(repeats):
                work()
            best[name] = min(best[name], (time.process_time() - start) / repeats * 1e3)
    return best


def timed_rows(times: Mapping[str, float], to: str) -> list[Row]:
    """Rows of processor times, ms, each beside that of one name."""
    return [Row(name, value, "ms", times[to], to) for name, value in times.items()]


def line(row: Row) -> str:
    """One row of a table under :data:`HEAD`."""
    digits = 0 if isinstance(row.figure, int) else 4 if row.figure < 1 else 2 if row.figure < 100 else 0
    ratio = f"{row.figure / row.base:.2f}" if row.base else ""
    return _FORMAT.format(row.what, f"{row.figure:.{digits}f}", row.unit, ratio, row.to).rstrip()


def show(rows: Iterable[Row]) -> None:
    """Print a table as the rows come."""
    print(HEAD)
    for row in rows:
        print(line(row), flush=True)
