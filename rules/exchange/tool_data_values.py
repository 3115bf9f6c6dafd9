"""Values of ISO 13399 data: what their codes mean, and their numbers in the units of the contract."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Final, Literal

from rules.exchange.tool_data import ToolValue
from rules.exchange.untrusted import printable
from rules.quantities.tables import Row, parse_table, rows_of

__all__ = [
    "MAY_BE_ZERO",
    "NEAR_MM",
    "NUMBER",
    "UNITS",
    "Code",
    "Dimensions",
    "RejectedError",
    "codes",
    "dimensions_of",
    "number_of",
    "plain_number",
    "shown_mm",
]


class Code(Row):
    """A property of ISO 13399 in exchange files."""

    code: str
    symbol: str
    unit: str
    role: Literal["field", "end", "group", "code", "outline", "left"]
    reason: str | None


@cache
def codes() -> Mapping[str, Code]:
    """Return the properties by code.

    >>> codes()["71DCD39338974"].symbol
    'LF'
    """
    text = files(__package__).joinpath("iso_13399_codes.yaml").read_text(encoding="utf-8")
    return MappingProxyType({row.code: row for row in rows_of(parse_table(text, "iso_13399_codes.yaml"), Code)})


# --- numbers and units ---------------------------------------------------------------------------------------------

NUMBER: Final = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,2})?")
_COMMA: Final = re.compile(r"[+-]?[0-9.]*,[0-9,.]*")
_INCH: Final = Fraction(254, 10)
_EXACT: Final = 2**53

UNITS: Final[Mapping[str, Mapping[str, Fraction]]] = MappingProxyType(
    {
        "mm": {
            "mm": Fraction(1),
            "cm": Fraction(10),
            "m": Fraction(1000),
            "um": Fraction(1, 1000),
            "µm": Fraction(1, 1000),
            "in": _INCH,
            "inch": _INCH,
        },
        # The pound is 0.45359237 kg exactly (international yard and pound agreement of 1959).
        "kg": {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": Fraction(45359237, 10**8)},
        "1/min": dict.fromkeys(("1/min", "min-1", "r/min", "rpm"), Fraction(1)),
        "degree": dict.fromkeys(("deg", "degree", "°"), Fraction(1)),
    }
)
"""Factors to the contract's units; any other unit is refused."""

NEAR_MM: Final = 0.01
"""Lengths that differ by less are equal; the data are rounded."""

MAY_BE_ZERO: Final = frozenset({"FHA", "BHTA", "RE"})


def plain_number(value: Fraction | float) -> float | int:
    """Return a number as JSON writes it, an integer as ``int``; a computed one to the millionth.

    >>> plain_number(Fraction(254, 10)), plain_number(62.4 - 26.4)
    (25.4, 36)
    """
    number = float(value) if isinstance(value, Fraction) else round(value, 6)
    return int(number) if number.is_integer() and abs(number) < _EXACT else number


def shown_mm(value: float) -> str:
    """Return a number as people write it, to the thousandth.

    >>> shown_mm(32.0), shown_mm(40.2000001)
    ('32', '40.2')
    """
    return f"{round(value, 3):g}" if abs(value) < 1e5 else f"{value:.0f}"


class RejectedError(Exception):
    """A value that cannot be read; the message is the reason."""


def number_of(value: ToolValue, unit: str) -> Fraction:
    """Return the number of a value in a unit of the contract, whatever its sign; raises :class:`RejectedError`."""
    text = value.text.strip()
    if _COMMA.fullmatch(text):
        raise RejectedError("a number is written with a decimal point, not a comma")
    if not NUMBER.fullmatch(text):
        raise RejectedError("it is not a number")
    if unit == "1":
        return Fraction(text)
    if value.unit is None:
        raise RejectedError("its unit is not stated")
    factor = UNITS[unit].get(value.unit)
    if factor is None:
        raise RejectedError(f"it cannot have the unit {printable(value.unit)}")
    return Fraction(text) * factor


# --- dimensions that place a piece ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Dimensions:
    """Lengths and mass of an item by symbol, in mm and kg; only what is stated once, or twice alike, with its unit."""

    by_symbol: Mapping[str, float]

    def get(self, symbol: str) -> float | None:
        """Return a dimension; None where it is not stated."""
        return self.by_symbol.get(symbol)


_PLACING: Final = frozenset({"LF", "OAL", "LSC", "LSCN", "LSCX", "ADJLN", "ADJLX", "LU", "LUX", "WT"})


def dimensions_of(values: Iterable[ToolValue]) -> Dimensions:
    """Return the dimensions among the values of an item; zero counts, as for the length of a collet."""
    found: dict[str, set[float]] = {}
    for one in values:
        row = codes().get(one.code or "")
        if row is None or row.symbol not in _PLACING or one.reason is not None:
            continue
        try:
            number = number_of(one, row.unit)
        except RejectedError:
            continue
        if number >= 0:
            found.setdefault(row.symbol, set()).add(float(number))
    return Dimensions({symbol: min(values) for symbol, values in found.items() if len(values) == 1})
