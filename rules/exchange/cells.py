"""Cells of tables: numbers with their units, by a closed grammar; nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from rules.exchange.fields import number_in
from rules.quantities.models import MM_PER_INCH, InchLength
from rules.schema.imports import Decimals

__all__ = ["CellError", "is_missing", "number_of", "unit_in_head"]

_MISSING: Final = frozenset({"", "-", "n/a"})

_ONE: Final = Fraction(1)
_POUND: Final = Fraction(45359237, 10**8)
_INCHES: Final = ("in", "inch", '"')

_FACTORS: Final[Mapping[str, Mapping[str, Fraction]]] = MappingProxyType(
    {
        "mm": {
            "mm": Fraction(1),
            "cm": Fraction(10),
            "m": Fraction(1000),
            "um": Fraction(1, 1000),
            **dict.fromkeys(_INCHES, MM_PER_INCH),
        },
        "um": {"um": Fraction(1), "mm": Fraction(1000), **dict.fromkeys(_INCHES, 1000 * MM_PER_INCH)},
        "kg": {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": _POUND},
        "/min": dict.fromkeys(("rpm", "1/min", "/min", "min-1"), Fraction(1)),
        "deg": dict.fromkeys(("deg", "°"), Fraction(1)),
        "g.mm": dict.fromkeys(("g.mm", "gmm"), Fraction(1)),
        "N.m": dict.fromkeys(("n.m", "nm"), Fraction(1)),
    }
)
"""Factors by UCUM code of the field's unit, and unit as written."""

_NUMBER: Final[Mapping[Decimals, re.Pattern[str]]] = MappingProxyType(
    {
        "point": re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,3}(?![0-9]))?(?![0-9.,])"),
        "comma": re.compile(r"[+-]?[0-9]{1,20}(?:,[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,3}(?![0-9]))?(?![0-9.,])"),
    }
)
_INCH_FRACTION: Final = re.compile(r"(?:([0-9]{1,2})[ -])?([0-9]{1,3})/(2|4|8|16|32|64|128)(?![0-9/.,])")
_WITH_SIGNS: Final = re.compile(r"[+-]?[0-9.,]+(?:\s|[^0-9.,\s]|$)")
_LONGEST_HEAD: Final = 200
_HEAD: Final = re.compile(r"(.*\S)\s*(?:\[([^\[\]]*)\]|\(([^()]*)\))")


class CellError(ValueError):
    """Why a cell is no value of its field."""


def is_missing(text: str) -> bool:
    """Whether a cell states nothing.

    >>> [is_missing(one) for one in (" ", "-", "N/A", "0", "none")]
    [True, True, True, False, False]
    """
    return text.strip().casefold() in _MISSING


def unit_in_head(head: str) -> tuple[str, str | None]:
    """Return a column head without its unit, and the unit in brackets, if any.

    >>> unit_in_head(" DMM [mm] "), unit_in_head("DMM (in)"), unit_in_head("DMM")
    (('DMM', 'mm'), ('DMM', 'in'), ('DMM', None))
    """
    found = _HEAD.fullmatch(head.strip()) if len(head) <= _LONGEST_HEAD else None
    if found is None:
        return head.strip(), None
    return found[1], (found[2] if found[2] is not None else found[3]).strip()


def number_of(text: str, unit: str | None, head_unit: str | None = None, decimals: Decimals = "point") -> float | int:
    """Return the number of a cell in the unit of its field.

    Parameters
    ----------
    text
        The cell: a number, or in inches a fraction, and a unit if it is not that of the head or of the field.
    unit
        UCUM code of the field's unit; None if it has none.
    head_unit
        Unit that the head states for bare numbers.
    decimals
        Decimal sign; the other sign is never accepted.

    Raises
    ------
    CellError
        With the reason.

    >>> number_of("250 g", "kg"), number_of("1 1/2 in", "mm"), number_of("12,5", "mm", decimals="comma")
    (0.25, 38.1, 12.5)
    """
    stripped = text.strip(" \t\r\n")
    fraction = _INCH_FRACTION.match(stripped) if unit == "mm" else None
    number = fraction or _NUMBER[decimals].match(stripped)
    if number is None:
        raise CellError(_why_no_number(stripped, unit, decimals))
    written = stripped[number.end() :].strip()
    if written and head_unit is not None and _plain(written) != _plain(head_unit):
        raise CellError(f"the heading states the unit {head_unit}, the cell another")
    named = written or head_unit
    factor = _ONE if named is None else _factor(named, unit)
    inches = named is not None and _plain(named) in _INCHES
    if fraction is not None:
        if not inches:
            raise CellError("only inches are written as a fraction")
        whole, above, below = fraction.groups()
        return InchLength(float((int(whole or 0) + Fraction(int(above), int(below))) * factor))
    digits = number[0].replace(",", ".")
    found = number_in(digits)
    if found is None:
        raise CellError(_why_no_number(stripped, unit, decimals))
    if factor == 1:
        return found
    try:
        value = float(Fraction(digits) * factor)
    except OverflowError:
        raise CellError("the number is too large") from None
    return InchLength(value) if inches and unit == "mm" else value


def _factor(named: str, unit: str | None) -> Fraction:
    if unit is None:
        raise CellError("this field has no unit")
    factor = _FACTORS.get(unit, {_plain(unit): Fraction(1)}).get(_plain(named))
    if factor is None:
        raise CellError("this field cannot have that unit")
    return factor


def _plain(unit: str) -> str:
    """Return a unit as it is compared: small letters, no blanks, one sign for micro and one for a product."""
    small = "".join(unit.split()).casefold()
    return small.replace("\u03bc", "u").replace("·", ".").replace("⋅", ".")


def _why_no_number(text: str, unit: str | None, decimals: Decimals) -> str:
    other = "," if decimals == "point" else "."
    if other in text and _WITH_SIGNS.match(text):
        signs = ("point", "comma") if decimals == "point" else ("comma", "point")
        return f"a number is written with a decimal {signs[0]}, not a {signs[1]}"
    return f"a number is expected, in {unit} or with its unit" if unit in _FACTORS else "a number is expected"
