"""Outlines of bodies from numbered diameters, lengths and cone angles, counted from the workpiece end."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from rules.schema.import_map import Outline

__all__ = ["MAX_PIECES", "OutlineError", "outline_of", "piece_of", "sections_of"]

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
    _, sections = sections_of([lengths[number] for number in sorted(lengths)], total_mm, meaning, _SUM_MM)
    return [
        piece_of(length, diameters[number], angles.get(number, 0.0)) for number, length in enumerate(sections, start=1)
    ][::-1]


def sections_of(
    lengths: Sequence[float], total_mm: Sequence[float], meaning: Outline | None, within_mm: float
) -> tuple[Outline, list[float]]:
    """Return what the lengths of an outline mean, and the length of each section.

    Parameters
    ----------
    lengths
        As numbered, from the workpiece side, mm.
    total_mm
        Lengths that the sections may sum to, mm; empty if none is known.
    meaning
        Meaning in the operator's map. If None, the one that sums to a total is used.
    within_mm
        Accepted difference between sum and total, mm.

    Raises
    ------
    OutlineError
        If no meaning fits, or two do.

    >>> sections_of([55, 75], [75], None, 0.01)
    ('cumulative', [55, 20])
    """
    if not total_mm and meaning is None:
        raise OutlineError("the length of the part is not stated, so the lengths of the outline may mean two things")
    readings: dict[Outline, list[float]] = {
        "individual": list(lengths),
        "cumulative": [lengths[0], *(round(after - before, 9) for before, after in pairwise(lengths))],
    }
    fitting: dict[Outline, list[float]] = {
        name: sections
        for name, sections in readings.items()
        if meaning in (None, name)
        and min(sections) > 0.0
        and (not total_mm or any(abs(sum(sections) - one) <= within_mm for one in total_mm))
    }
    if not fitting:
        raise OutlineError("the lengths of the outline do not sum to the length of the part")
    if len({tuple(one) for one in fitting.values()}) > 1:
        raise OutlineError("the outline has two readings; state in the map which one holds")
    return next(iter(fitting.items()))


def piece_of(length: float, outer: float, angle: float) -> dict[str, float]:
    """Return a section as a component states it; of a cone the diameter at its workpiece side and the half angle.

    >>> piece_of(20, 24, 45)
    {'length_mm': 20, 'outer_mm': 64.0, 'outer_end_mm': 24}
    """
    if angle == 0.0:
        return {"length_mm": length, "outer_mm": outer}
    wide = round(outer + 2.0 * length * math.tan(math.radians(angle)), 6)
    return {"length_mm": length, "outer_mm": wide, "outer_end_mm": outer}
