"""How many stacks read how much: counts in bins that are always the same, so that two audits compare."""

from __future__ import annotations

from typing import Final

__all__ = ["BINS", "BIN_UM", "bin_of", "bin_words"]

BIN_UM: Final = 2
"""Width of a bin of the 95 % runout, µm."""

BINS: Final = 51
"""Fifty bins up to 100 µm, and one for all beyond."""


def bin_of(p95_um: float) -> int:
    """Return the bin of a runout; a value on an edge belongs to the bin above.

    >>> bin_of(0.0), bin_of(1.999), bin_of(2.0), bin_of(1e9)
    (0, 0, 1, 50)
    """
    return min(int(p95_um / BIN_UM), BINS - 1)


def bin_words(place: int) -> str:
    """Say what a bin covers.

    >>> bin_words(0), bin_words(50)
    ('0 to 2', '100 and more')
    """
    low = place * BIN_UM
    return f"{low} and more" if place == BINS - 1 else f"{low} to {low + BIN_UM}"
