"""The pieces that the page of a report is laid out with: figures, lists of figures, tables.

Units as people write them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from markupsafe import Markup
from pydantic_core import to_json

__all__ = ["Fact", "Row", "Table", "bounds", "fact", "facts", "figure", "quantity", "share", "unit_sign"]


_NOT_KNOWN: Final = Markup('<span class="unknown">not known</span>')

_LARGE: Final = 1e15
"""From here on numbers are written with a power of ten: nobody reads that many digits."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A named figure."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table; the first cell is its head."""

    cells: tuple[str, ...]
    marked: bool = False
    """Whether it stands out; a word in the row must say why, too."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table; columns from ``words`` on hold figures and stand to the right."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    words: int = 1


def figure(value: float | None, unit: str = "", decimals: int | None = None) -> Markup:
    """Write a number of the report, in full or with fixed decimals; the element's value is always the report's.

    >>> figure(12.693, "µm", 1)
    Markup('<data value="12.693">12.7</data>\\xa0µm')
    >>> print(figure(18000.0), figure(-0.02, decimals=1))
    <data value="18000.0">18000</data> <data value="-0.02">0.0</data>
    >>> print(figure(-1.5e300, decimals=1))
    <data value="-1.5e+300">−1.5e+300</data>
    """
    if value is None:
        return _NOT_KNOWN
    shown = _shown(value, decimals)
    shown = shown.replace("-", "−") if float(shown) else shown.removeprefix("-")
    written = Markup('<data value="{}">{}</data>').format(to_json(value).decode(), shown)
    return written + f"\N{NO-BREAK SPACE}{unit}" if unit else written


def _shown(value: float, decimals: int | None) -> str:
    if abs(value) >= _LARGE:
        return f"{value:.10g}"
    if decimals is not None:
        return f"{value:.{decimals}f}"
    shown = format(Decimal(to_json(value).decode()), "f")
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def share(value: float | None, decimals: int = 0) -> Markup:
    """Write a share in percent; the element's value is the share."""
    if value is None:
        return _NOT_KNOWN
    shown = f"{100 * value:.{decimals}f}"
    return Markup('<data value="{}">{}</data>\N{NO-BREAK SPACE}%').format(to_json(value).decode(), shown)


def bounds(value: float | None, at_least: float | None, at_most: float | None, unit: str) -> Markup:
    """Write what is wanted of a quantity, as far as it is known."""
    told = (("", value), ("at least ", at_least), ("at most ", at_most))
    return Markup(", ").join(words + figure(one, unit) for words, one in told if one is not None)


def fact(name: str, value: float | None, unit: str = "", decimals: int | None = None) -> Fact:
    """Name a figure."""
    return Fact(name, figure(value, unit, decimals))


def facts(figures: Iterable[tuple[str, float | None, str]]) -> Sequence[Fact]:
    """Name those figures that are known."""
    return [fact(name, value, unit) for name, value, unit in figures if value is not None]


_SIGNS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "um": "µm",
        "degC": "°C",
        "deg": "°",
        "N m": "N·m",
        "g mm": "g·mm",
        "percent": "%",
        "x D": "× D",
        "ratio": "",
        "count": "",
        "none": "",
    }
)


_SUFFIXES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "_m_per_min": "m/min",
        "_mm_per_s": "mm/s",
        "_n_per_um": "N/µm",
        "_n_m": "N·m",
        "_degc": "°C",
        "_gmm": "g·mm",
        "_percent": "%",
        "_deg": "°",
        "_rpm": "rpm",
        "_mpa": "MPa",
        "_mm": "mm",
        "_um": "µm",
        "_kg": "kg",
        "_hz": "Hz",
        "_kw": "kW",
        "_n": "N",
    }
)
"""Units at the end of names, longer ones before those they end in."""


def unit_sign(unit: str | None) -> str:
    """Return the sign of a unit of the contract; nothing for what has no unit.

    >>> unit_sign("um"), unit_sign("mm"), unit_sign("ratio"), unit_sign(None)
    ('µm', 'mm', '', '')
    """
    return "" if unit is None else _SIGNS.get(unit, unit)


def quantity(name: str) -> str:
    """Return the name of a quantity as people read it, its unit in brackets.

    >>> quantity("runout_p95_um"), quantity("torque_n_m"), quantity("knob_form")
    ('runout p95 (µm)', 'torque (N·m)', 'knob form')
    """
    for suffix, sign in _SUFFIXES.items():
        if name.endswith(suffix):
            return f"{name.removesuffix(suffix).replace('_', ' ')} ({sign})"
    return name.replace("_", " ")
