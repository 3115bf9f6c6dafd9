"""Values of an asset's measurements: which of the numbers stands, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Final

__all__ = ["Measured", "is_measured", "measured"]

_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,2})?")
_NONE: Final = frozenset({"", "UNAVAILABLE"})

_LENGTHS: Final = MappingProxyType(
    {"MILLIMETER": Fraction(1), "CENTIMETER": Fraction(10), "METER": Fraction(1000), "INCH": Fraction(254, 10)}
)
_MASSES: Final = MappingProxyType(
    # The pound is 0.45359237 kg exactly (international yard and pound agreement of 1959).
    {"GRAM": Fraction(1, 1000), "KILOGRAM": Fraction(1), "POUND": Fraction(45359237, 10**8)}
)

_UNITS: Final[Mapping[str, tuple[str, Mapping[str, Fraction]]]] = MappingProxyType(
    {
        "mm": ("MILLIMETER", _LENGTHS),
        "kg": ("GRAM", _MASSES),
        "1/min": ("REVOLUTION/MINUTE", MappingProxyType({"REVOLUTION/MINUTE": Fraction(1)})),
    }
)
"""By the contract's unit: the unit the standard gives such a measurement, and what others amount to."""

_LENGTH_OR_MASS: Final = frozenset({"mm", "kg"})

_NOMINAL: Final = frozenset({"ShankDiameter"})
"""Measurements for which the contract asks the nominal size and not the measured one."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value in the contract's unit, or why there is none; and what else the element says."""

    value: float | None
    text: str
    reason: str | None
    others: tuple[tuple[str, str, str], ...]


def is_measured(unit: str) -> bool:
    """Whether a number in this unit of the contract can be the value of a measurement."""
    return unit in _LENGTH_OR_MASS


def measured(element: str, text: str, attributes: Mapping[str, str], unit: str, code: str) -> Measured:
    """Understand a measurement.

    The measured value stands where there is one, else the nominal one; of a shank's diameter the nominal one first.
    The unit is that of ``units``, else that of ``nativeUnits``, else the one the standard gives: a value with
    ``units`` has been converted already, whatever its native ones are.
    """
    offered = {"": text.strip(), "nominal": attributes.get("nominal", "").strip()}
    order = ("nominal", "") if element in _NOMINAL else ("", "nominal")
    chosen = next((name for name in order if offered[name] not in _NONE), "")
    others = [
        (f"{element}/@{name}", attributes[name], "a limit of use is not a limit of size")
        for name in ("minimum", "maximum")
        if attributes.get(name, "").strip() not in _NONE
    ]
    other = "" if chosen == "nominal" else "nominal"
    if offered[other] not in _NONE and offered[other] != offered[chosen]:
        wanted = "nominal" if chosen == "nominal" else "measured"
        others.append((f"{element}/@nominal" if other else element, offered[other], f"the {wanted} value was taken"))
    if attributes.get("code", code) != code:
        others.append((f"{element}/@code", attributes["code"], f"the element says {code}, and the element counts"))
    value, reason = _convert(offered[chosen], attributes, unit)
    return Measured(value, offered[chosen], reason, tuple(others))


def _convert(text: str, attributes: Mapping[str, str], unit: str) -> tuple[float | None, str | None]:
    if text in _NONE:
        return None, "no value is stated"
    if not _NUMBER.fullmatch(text):
        return None, "not a number"
    standard, factors = _UNITS[unit]
    named = attributes.get("units") or attributes.get("nativeUnits") or standard
    factor = factors.get(named)
    if factor is None:
        return None, "the unit is not one that this measurement can have"
    value = float(Fraction(text) * factor)
    if value <= 0:
        return None, "it must be greater than 0"
    return value, None
