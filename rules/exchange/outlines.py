"""Outlines of bodies from numbered diameters, lengths and cone angles, counted from the workpiece end."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Final

from rules.schema.import_map import Outline

__all__ = ["MAX_PIECES", "OutlineError", "outline_of"]

MAX_PIECES: Final = 20
"""Most numbered values of an outline."""

_SUM_MM: Final = 0.05
"""Difference accepted between the sum of the lengths and the length of the part: lists round each to 0.01 mm."""


class OutlineError(ValueError):
    """Why numbered values are no outline."""


def outline_of(
    diameters: Mapping[int, float],
    lengths: Mapping[int, float],
    angles: Mapping[int, float],
    total_mm: Sequence[float],
    meaning: Outline | None,
) -> list[dict[str, float]]:
    """Return the pieces from the machine side to the workpiece side, as a component states them.

    Parameters
    ----------
    diameters
        By number, mm; of a cone the diameter at its workpiece end.
    lengths
        By number, mm.
    angles
        Half angle of a cone by number, degrees; a cylinder without.
    total_mm
        Lengths that the outline may sum to, mm; empty if none is known.
    meaning
        Whether the lengths are individual or cumulative. If None, the one that sums to a total is used.

    Raises
    ------
    OutlineError
        With the reason.

    >>> outline_of({1: 24, 2: 40}, {1: 55, 2: 20}, {}, [75], None)
    [{'length_mm': 20, 'outer_mm': 40}, {'length_mm': 55, 'outer_mm': 24}]
    """
    count = len(diameters)
    numbers = set(range(1, count + 1))
    if set(diameters) != numbers or set(lengths) != numbers or not set(angles) <= numbers:
        raise OutlineError("diameters and lengths of the outline must be numbered from 1 without gaps, in pairs")
    readings = [one for one in ("individual", "cumulative") if meaning in (None, one)]
    found = [pieces for pieces in (_lengths(lengths, one) for one in readings) if _fits(pieces, total_mm)]
    distinct = [one for place, one in enumerate(found) if one not in found[:place]]
    if not total_mm and meaning is None:
        raise OutlineError("the length of the part is not stated, so the lengths of the outline may mean two things")
    if len(distinct) != 1:
        raise OutlineError("the lengths of the outline do not sum to the length of the part")
    return list(_pieces(diameters, distinct[0], angles))[::-1]


def _lengths(lengths: Mapping[int, float], meaning: str) -> list[float]:
    each = [lengths[number] for number in sorted(lengths)]
    if meaning == "individual":
        return each
    return [each[0], *(round(after - before, 9) for before, after in pairwise(each))]


def _fits(pieces: Sequence[float], total_mm: Sequence[float]) -> bool:
    if min(pieces) <= 0.0:
        return False
    return not total_mm or any(abs(sum(pieces) - one) <= _SUM_MM for one in total_mm)


def _pieces(
    diameters: Mapping[int, float], lengths: Sequence[float], angles: Mapping[int, float]
) -> Iterator[dict[str, float]]:
    for number, length in enumerate(lengths, start=1):
        end, angle = diameters[number], angles.get(number, 0.0)
        if angle == 0.0:
            yield {"length_mm": length, "outer_mm": end}
        else:
            wide = round(end + 2.0 * length * math.tan(math.radians(angle)), 6)
            yield {"length_mm": length, "outer_mm": wide, "outer_end_mm": end}
