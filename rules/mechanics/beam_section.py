"""Round hollow sections, and cones cut into short cylinders for a stepped beam."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from rules.mechanics.beam import LARGEST, SMALLEST

__all__ = ["Slice", "area_mm2", "cone_slices", "second_moment_mm4"]

_THINNEST: Final = 1e-9
"""Wall that a bore leaves at least, as a share of the diameter."""
_STEP: Final = 2.5
"""Ratio of second moments from one end of a pair of slices to the other, at most."""
_SLIGHT: Final = 1.25
"""A cone whose second moments are within this ratio is one pair, any other at least two."""
_MOST_PAIRS: Final = 32
_GAUSS: Final = (
    (-0.8611363115940526, 0.3478548451374538),
    (-0.3399810435848563, 0.6521451548625461),
    (0.3399810435848563, 0.6521451548625461),
    (0.8611363115940526, 0.3478548451374538),
)


class Slice(NamedTuple):
    """A cylinder that stands for a part of a cone; E·I and ρ·A of a beam segment follow from it."""

    length_mm: float
    second_moment_mm4: float
    area_mm2: float


def area_mm2(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Return the area of a ring: A = π/4·(D² − d²).

    Parameters: outer diameter and bore, mm. Returns mm². Raises ValueError unless 0 ≤ d < D and D is finite; a wall
    of less than 10⁻⁹·D counts as none. Source: exact geometry.

    >>> round(area_mm2(20.0, 10.0), 9)
    235.619449019
    """
    _check(diameter_mm, bore_mm)
    return math.pi / 4.0 * (diameter_mm - bore_mm) * (diameter_mm + bore_mm)


def second_moment_mm4(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Return the second moment of area of a ring about a diameter: I = π/64·(D⁴ − d⁴).

    Parameters and errors as `area_mm2`. Returns mm⁴. Source: exact geometry.

    >>> round(second_moment_mm4(20.0, 10.0), 9)
    7363.107781851
    """
    _check(diameter_mm, bore_mm)
    return _second_moment(diameter_mm, bore_mm)


def cone_slices(
    length_mm: float, start_mm: float, end_mm: float, bore_mm: float = 0.0, finer: int = 1
) -> tuple[Slice, ...]:
    """Return cylinders that bend and swing as a cone does, in order; one for a cylinder.

    The cone is cut where the second moment has grown by equal ratios of at most 2.5, so that slices are short where it
    grows fast; each part becomes two halves of constant section with the part's own mean and first moment of 1/I and
    of A: g = ḡ ± 2·⟨g·x⟩, x from −1 to 1. Twice as many parts change the first frequency of a beam by less than 0.5 %
    up to a ratio of diameters of 10; beyond a ratio of second moments of 2.5³² the parts become coarser.
    Parameters: length, diameters at both ends and the cylindrical bore, mm; finer, a factor on the number of parts.
    Raises ValueError as `area_mm2` at the smaller end, for a length that is not above 0 and finite, or finer below 1.
    Source: first principles; means by Gauss–Legendre quadrature.

    >>> [round(part.length_mm, 6) for part in cone_slices(40.0, 20.0, 22.0)]
    [9.76177, 9.76177, 10.23823, 10.23823]
    """
    _check(min(start_mm, end_mm), bore_mm)
    _check(max(start_mm, end_mm), bore_mm)
    if not SMALLEST <= length_mm <= LARGEST:
        raise ValueError(f"a cone's length must be above 0 mm and finite, not {length_mm}")
    if finer < 1:
        raise ValueError("the number of slices cannot be divided")
    if start_mm == end_mm:
        return (Slice(length_mm, _second_moment(start_mm, bore_mm), area_mm2(start_mm, bore_mm)),)
    growth = math.log(_second_moment(end_mm, bore_mm) / _second_moment(start_mm, bore_mm))
    pairs = max(2, math.ceil(abs(growth) / math.log(_STEP))) if abs(growth) > math.log(_SLIGHT) else 1
    pairs = min(pairs, _MOST_PAIRS) * finer
    slices: list[Slice] = []
    start = start_mm
    bore_power = bore_mm**4
    base = (start_mm - bore_mm) * (start_mm + bore_mm) * (start_mm * start_mm + bore_mm * bore_mm)
    for number in range(1, pairs + 1):
        end = end_mm if number == pairs else (base * math.exp(growth * number / pairs) + bore_power) ** 0.25
        part_length = length_mm * ((end - start) / (end_mm - start_mm))
        if part_length > 0.0:
            slices += _pair(part_length, start, end, bore_mm)
            start = end
    return tuple(slices)


def _pair(length: float, start: float, end: float, bore: float) -> tuple[Slice, Slice]:
    """Return the two halves that stand for a part of a cone."""
    middle, half = 0.5 * (start + end), 0.5 * (end - start)
    mean = first = 0.0
    for place, weight in _GAUSS:
        share = 0.5 * weight / _second_moment(middle + half * place, bore)
        mean += share
        first += share * place
    area = (middle - bore) * (middle + bore) + half * half / 3.0
    lean = 4.0 * middle * half / 3.0
    return (
        Slice(0.5 * length, 1.0 / (mean - 2.0 * first), math.pi / 4.0 * (area - lean)),
        Slice(0.5 * length, 1.0 / (mean + 2.0 * first), math.pi / 4.0 * (area + lean)),
    )


def _second_moment(diameter: float, bore: float) -> float:
    return math.pi / 64.0 * (diameter - bore) * (diameter + bore) * (diameter * diameter + bore * bore)


def _check(diameter: float, bore: float) -> None:
    if not SMALLEST <= diameter <= LARGEST:
        raise ValueError(f"a diameter must be above 0 mm and finite, not {diameter}")
    if not 0.0 <= bore <= (1.0 - _THINNEST) * diameter:
        raise ValueError(f"a bore of {bore} mm leaves no wall in {diameter} mm")
