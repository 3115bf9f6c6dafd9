"""Rounding for reports and messages; calculations never round.

Reports have more digits than messages; both tables are below.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["rounded", "rounded_for_people", "rounded_or_none"]

_DECIMALS: Final = {
    "mm": 4,
    "um": 3,
    "um/mm": 6,
    "um/m": 3,
    "kg": 4,
    "g mm": 3,
    "rpm": 1,
    "N": 2,
    "N m": 3,
    "Hz": 2,
    "MPa": 2,
    "kW": 4,
    "degC": 1,
    "m/min": 2,
    "mm/s": 4,
    "g mm2": 1,
    "kg mm2": 3,
    "um/N": 6,
    "N/um": 4,
    "mm chip": 6,
    "mm3/min": 1,
    "deg": 3,
    "ratio": 6,
    "x D": 4,
    "percent": 3,
    "count": 0,
    "none": 6,
}


_SCALES: Final = {unit: 10.0**decimals for unit, decimals in _DECIMALS.items()}

_EXACTLY_SCALED: Final = 1e11
_CLEAR_OF_A_TIE: Final = 0.4999


def rounded(value: float, unit: str) -> float:
    """Return a value rounded for the report by its unit; minus zero becomes zero.

    >>> rounded(0.00005, "mm"), rounded(2.675, "N"), rounded(-0.00001, "mm"), rounded(3, "rpm")
    (0.0001, 2.67, 0.0, 3.0)
    """
    # A report rounds more than a hundred numbers, and `round` to decimals is slow, since it converts to text. An
    # integer count of decimals divided by its scale gives the same number to the last bit. Below 10¹¹ the error of the
    # count before rounding is below 10⁻⁴, so only a value that close to a tie needs `round`.
    scale = _SCALES[unit]
    scaled = value * scale
    if -_EXACTLY_SCALED < scaled < _EXACTLY_SCALED:
        whole = round(scaled)
        if -_CLEAR_OF_A_TIE < scaled - whole < _CLEAR_OF_A_TIE:
            return whole / scale
    return round(value, _DECIMALS[unit]) + 0.0


_DECIMALS_FOR_PEOPLE: Final = {
    "um": 1,
    "mm": 3,
    "kg": 2,
    "percent": 1,
    "deg": 1,
    "MPa": 0,
    "kW": 2,
    "degC": 0,
    "m/min": 1,
    "N": 0,
    "N m": 2,
}

_THREE_FIGURES: Final = frozenset({"ratio", "Hz", "g mm"})

_HIGH_SPEED_RPM: Final = 10_000.0
_NOISE: Final = 1e-6


def rounded_for_people(value: float, unit: str) -> float:
    """Return a value rounded for a message by its unit.

    Ratios, frequencies and unbalance keep three significant figures. A whole speed is a stated one and stays. A
    calculated speed may be a limit, so it is rounded down: to 1 rpm, above 10,000 rpm to 10 rpm.

    >>> rounded_for_people(23.96, "um"), rounded_for_people(1.2345, "kg"), rounded_for_people(0.012345, "ratio")
    (24.0, 1.23, 0.0123)
    >>> rounded_for_people(15005, "rpm"), rounded_for_people(15005.7, "rpm"), rounded_for_people(1234.5, "Hz")
    (15005.0, 15000.0, 1230.0)
    """
    if unit == "rpm":
        step = 10.0 if value > _HIGH_SPEED_RPM else 1.0
        return value + 0.0 if value == round(value) else math.floor(value / step + _NOISE) * step
    if unit in _THREE_FIGURES:
        return float(f"{value:.3g}") + 0.0
    return round(value, _DECIMALS_FOR_PEOPLE.get(unit, 4)) + 0.0


_NUMBER: Final = (float, int)
"""A tuple, since a union in the call would be built anew each time."""


def rounded_or_none(value: object, unit: str) -> float | None:
    """Return a number rounded for the report; None for anything else, such as a missing value."""
    return rounded(value, unit) if isinstance(value, _NUMBER) else None
