"""Lengths of which only the bounds are known, since a grip is still to be chosen or nothing states them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

__all__ = ["UNKNOWN", "Span", "exactly"]


@dataclass(frozen=True, slots=True)
class Span:
    """From the least to the largest a length may be, mm."""

    least: float
    most: float

    def __add__(self, other: Span) -> Span:
        """Return the bounds of the sum."""
        return Span(self.least + other.least, self.most + other.most)

    def __or__(self, other: Span) -> Span:
        """Return the bounds of either."""
        return Span(min(self.least, other.least), max(self.most, other.most))


UNKNOWN: Final = Span(-math.inf, math.inf)


def exactly(length: float | None) -> Span:
    """Return the bounds of a length that is known, or of one that is not."""
    return UNKNOWN if length is None else Span(length, length)
