"""Short and full sizes of parametrized tests."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any

import pytest

__all__ = ["is_full_size", "spread"]


def is_full_size() -> bool:
    """Return whether the run has the option --long; known where a module is imported, too."""
    return "FULL_SIZE_TESTS" in os.environ


def spread(cases: Iterable[Any], short: int) -> list[Any]:
    """Return so many of the cases, evenly spaced from the first to the last, as parameters.

    With --long all of them, the others marked as long.
    """
    every = list(cases)
    short = min(short, len(every))
    chosen = {round(place * (len(every) - 1) / max(short - 1, 1)) for place in range(short)}
    if not is_full_size():
        return [every[place] for place in sorted(chosen)]
    return [one if place in chosen else _long(one) for place, one in enumerate(every)]


def _long(case: Any) -> Any:
    if hasattr(case, "marks"):
        return pytest.param(*case.values, id=case.id, marks=[*case.marks, pytest.mark.long])
    values = case if isinstance(case, tuple) else (case,)
    return pytest.param(*values, marks=pytest.mark.long)
