"""Figures of the report as people read them; text and page are both made of the sections built from here.

A figure is declared once, as a field in ``rules/schema/report.py``: its title is the label, the end of its name gives
the unit, and the unit gives the digits. A section names the fields that it shows; what it shows is on every face. In
inch units, ``rules.quantities.inch`` writes number and sign.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Any, Final, TypeAlias, TypeVar, get_args

from rules.quantities.inch import as_shown, shown_sign
from rules.quantities.models import MissingQuantity, Out
from rules.quantities.rounding import rounded_for_people
from rules.quantities.units import rulebook_unit
from rules.schema.report import SPEED_CAUSES, Estimate

__all__ = [
    "UNKNOWN",
    "Cell",
    "Fact",
    "Figure",
    "Line",
    "Row",
    "Section",
    "Table",
    "Unit",
    "blank_sign",
    "bounds",
    "exactly",
    "facts",
    "for_people",
    "in_column",
    "line",
    "lines",
    "missing_words",
    "quantity",
    "table",
    "unit_of",
    "unit_sign",
    "value_of",
    "within",
    "worded",
    "words",
]


UNKNOWN: Final = "not known"

_LARGE: Final = 1e15
"""From here on numbers are written with a power of ten."""

_EXACT: Final = 6
"""Significant figures of an inch value where every digit counts."""

_SMALL: Final = 0.1
"""Below, fixed decimals leave too little of a length or a mass."""


@dataclass(frozen=True, slots=True)
class Unit:
    """How a quantity is written for people."""

    sign: str = ""
    decimals: int | None = None
    """Fixed decimals; None for three significant figures."""
    scale: float = 1.0
    """100 for a share, which is written in percent."""
    exact: bool = False
    """Every digit of the report is written."""
    rounded_as: str | None = None
    """Unit of a rulebook whose messages it is rounded like; inches have their own digits."""


_UNITS: Final[Mapping[str, Unit]] = MappingProxyType(
    {
        "_mm3_per_min": Unit("mm³/min"),
        "_m_per_min": Unit("m/min"),
        "_mm_per_s": Unit("mm/s"),
        "_um_per_mm": Unit("µm/mm"),
        "_um_per_m": Unit("µm/m"),
        "_n_per_um": Unit("N/µm"),
        "_um_per_n": Unit("µm/N"),
        "_kg_mm2": Unit("kg·mm²"),
        "_g_mm2": Unit("g·mm²"),
        "_n_m": Unit("N·m"),
        "_temperature_c": Unit("°C", 0),
        "_degc": Unit("°C", 0),
        "_g_mm": Unit("g·mm"),
        "_percent": Unit("%", 1),
        "_deg": Unit("°", 1),
        "_rpm": Unit("rpm", 0, rounded_as="rpm"),
        "_mpa": Unit("MPa"),
        "_mm": Unit("mm", 2),
        "_um": Unit("µm", 1),
        "_kg": Unit("kg", 2),
        "_hz": Unit("Hz"),
        "_kw": Unit("kW"),
        "_n": Unit("N"),
    }
)
"""Units by the end of a field's name, longer ends before those they end in."""

_SHARES: Final[Mapping[str, Unit]] = MappingProxyType(
    {
        "share": Unit("%", 0, 100.0),
        "probability_within_limit": Unit("%", 1, 100.0),
        "relative_margin": Unit("%", 1, 100.0),
    }
)

_SIGNS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "1": "",
        "um": "µm",
        "[in_i]": "in",
        "Cel": "°C",
        "deg": "°",
        "N.m": "N·m",
        "g.mm": "g·mm",
        "/min": "rpm",
        "N/um": "N/µm",
    }
)
"""Signs of the UCUM codes that people do not write as they are."""

_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        **{f"cause.{code}": told for code, told in SPEED_CAUSES.items()},
        "basis.rating": "rated torque",
        "direction_known.True": "known",
        "direction_known.False": "random",
        "law.capability": "95 % within the limit",
        "law.limit": "up to its limit",
        "plane.reading_plane": "plain shank",
        **{f"source.{cut}": f"computed from {cut}" for cut in ("milling", "drilling", "reaming", "boring", "tapping")},
        "source.stated": "stated in the request",
        "weakest.True": "lowest",
        "weakest.False": "",
    }
)
"""Field and code -> words, where the code itself with blanks does not do."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number of the report with its unit.

    >>> print(Figure(12.693, Unit("µm", 1)), Figure(-0.02, Unit("µm", 1)), Figure(0.485561, Unit("%", 0, 100.0)))
    12.7 µm 0.0 µm 49 %
    >>> print(Figure(1404.56, Unit("N")), Figure(115898.8, Unit("rpm", 0, rounded_as="rpm")))
    1400 N 115890 rpm
    >>> print(Figure(0.024864, Unit("mm", 2)))
    0.0249 mm
    """

    value: float
    unit: Unit = Unit()
    bare: bool = False
    """Whether the unit is left out, since the head of the column has it."""

    @property
    def number(self) -> str:
        """The number as it is written, without its unit."""
        value, unit = self.value * self.unit.scale, self.unit
        plain = None if unit.exact or unit.decimals is not None or unit.sign not in ("mm", "µm", "kg") else 3
        if (found := as_shown(self.value, unit.sign, figures=_EXACT if unit.exact else plain)) is not None:
            return found.number
        if abs(value) >= _LARGE:
            return f"{value:.10g}"
        if unit.rounded_as is not None:
            shown = _digits(rounded_for_people(value, unit.rounded_as))
        elif unit.exact:
            shown = _digits(self.value)
        elif unit.decimals is None or (unit.sign in ("mm", "kg") and 0 < abs(value) < _SMALL):
            shown = _digits(float(f"{value:.2e}"))
        else:
            shown = f"{value:.{unit.decimals}f}"
            return shown if float(shown) else shown.removeprefix("-")
        return shown.rstrip("0").rstrip(".") if "." in shown else shown

    @property
    def sign(self) -> str:
        """The unit as it is written after the number."""
        return "" if self.bare else shown_sign(self.unit.sign)

    def __str__(self) -> str:
        """Return number and unit."""
        sign = self.sign
        return f"{self.number} {sign}" if sign else self.number


def _digits(value: float) -> str:
    """Return the shortest digits that give this number, without a power of ten."""
    shown = repr(value)
    return format(Decimal(shown), "f") if "e" in shown else shown


Cell: TypeAlias = tuple[str | Figure, ...]
"""Words and figures one after the other; empty where nothing is known."""


@dataclass(frozen=True, slots=True)
class Line:
    """A field of the report as people read it."""

    model: type[Out]
    name: str
    label: str
    unit: Unit
    missing: str = UNKNOWN
    """What a table says where the field is null."""
    value: Callable[[Any], object] | None = None
    """Finds the figure where it is not the field itself, but lies within the part."""
    in_words: bool = False
    """Whether the value so found is no figure."""

    @property
    def head(self) -> str:
        """The head of a column of such figures, whose cells have no unit; shares keep their sign."""
        sign = shown_sign(self.unit.sign)
        return f"{self.label}, {sign}" if sign and self.unit.scale == 1.0 else self.label

    @property
    def numeric(self) -> bool:
        """Whether the field holds a number."""
        if self.value is not None:
            return not self.in_words
        return _holds_number(self.model, self.name)

    def cell(self, part: Out, *, bare: bool = False) -> Cell:
        """Return what the field of a part of the report holds; ``bare`` without the units."""
        value = getattr(part, self.name) if self.value is None else self.value(part)
        if not isinstance(value, list):
            return () if value is None else self._pieces(value, bare=bare)
        pieces: list[str | Figure] = []
        for one in value:
            pieces += [", "] if pieces else []
            pieces += self._pieces(one, bare=bare)
        return tuple(pieces)

    def _pieces(self, one: object, *, bare: bool) -> Cell:
        """Return one value; an estimate with its ends in brackets, whose unit stands before them."""
        if isinstance(one, float):
            return (Figure(one, self.unit, bare),)
        if not isinstance(one, Estimate):
            return (words(self.name, one),)
        figure = Figure(one.value, self.unit, bare)
        if one.low is None or one.high is None:
            return (figure,)
        low, high = (Figure(end, self.unit, bare=True) for end in (one.low, one.high))
        return (figure, " (", low, " to ", high, ")")


@cache
def _holds_number(model: type[Out], name: str) -> bool:
    kind = model.model_fields[name].annotation
    kinds = (kind, *get_args(kind))
    return float in kinds or Estimate in kinds


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what belongs to it."""

    label: str
    value: Cell


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table; the first cell is its head."""

    cells: tuple[Cell, ...]
    marked: bool = False
    """Whether it stands out; a word in the row or above the table must say why, too."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table; columns from ``words`` on hold figures and stand to the right."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    words: int = 1


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report; what it does not have is empty."""

    name: str
    title: str
    gap: str = ""
    """What makes its figures incomplete."""
    missing: Sequence[MissingQuantity] = ()
    facts: Sequence[Fact] = ()
    tables: Sequence[Table] = ()
    parts: Sequence[Section] = ()
    notes: Sequence[str] = ()

    def __bool__(self) -> bool:
        """Whether it says anything."""
        return any((self.gap, self.missing, self.facts, self.tables, self.parts, self.notes))


def words(name: str, code: object) -> str:
    """Return a code or a text of the report as people read it.

    >>> words("basis", "rating"), words("limit_at", "gauge_plane"), words("joint", "collet-1/end-mill")
    ('rated torque', 'gauge plane', 'collet-1/end-mill')
    """
    known = _WORDS.get(f"{name}.{code}")
    if known is not None:
        return known
    return str(code).replace("_", " ") if name in ("kind", "limit_at", "plane") else str(code)


def line(model: type[Out], name: str, *, missing: str = UNKNOWN) -> Line:
    """Return a field of the report with label and unit; KeyError where the model has no such field."""
    unit = _SHARES.get(name) or next((unit for end, unit in _UNITS.items() if name.endswith(end)), Unit())
    label = model.model_fields[name].title
    if label is None:
        raise ValueError(f"{model.__name__}.{name} has no title, which is its label")
    return Line(model, name, label, unit, missing)


def within(model: type[Out], label: str, unit: str, value: Callable[[Any], object], *, missing: str = UNKNOWN) -> Line:
    """Return a figure that lies within a part of the report; the unit is the end of a name, such as ``_um``."""
    return Line(model, "", label, _SHARES.get(unit) or _UNITS[unit], missing, value)


def worded(model: type[Out], label: str, value: Callable[[Any], object], *, missing: str = UNKNOWN) -> Line:
    """Return words that are made of a part of the report."""
    return Line(model, "", label, Unit(), missing, value, in_words=True)


def lines(model: type[Out], *names: str) -> tuple[Line, ...]:
    """Return fields of one model."""
    return tuple(line(model, name) for name in names)


def facts(listed: Iterable[Line], part: Out) -> tuple[Fact, ...]:
    """Return those of the fields that are known."""
    return tuple(Fact(one.label, cell) for one in listed if (cell := one.cell(part)))


PartT = TypeVar("PartT", bound=Out)


def table(
    caption: str,
    listed: Sequence[Line],
    parts: Sequence[PartT],
    marked: Callable[[PartT], bool] = lambda _: False,
    names: tuple[str, Sequence[str]] | None = None,
) -> tuple[Table, ...]:
    """Return one table with a row for each part, or none where there is no part.

    ``names`` are head and cells of a first column for parts that do not hold their own name.
    """
    if not parts:
        return ()
    cells = [[in_column(one, part) for one in listed] for part in parts]
    heads = [one.head for one in listed]
    leading = next((place for place, one in enumerate(listed) if one.numeric), len(listed))
    if names is not None:
        heads, leading = [names[0], *heads], leading + 1
        cells = [[(name,), *row] for name, row in zip(names[1], cells, strict=True)]
    rows = [Row(tuple(row), marked(part)) for row, part in zip(cells, parts, strict=True)]
    return (Table(caption, tuple(heads), tuple(rows), leading),)


def in_column(one: Line, part: Out) -> Cell:
    """Return a cell of a table: without the unit that the head has, and never empty."""
    return one.cell(part, bare=one.unit.scale == 1.0) or (one.missing,)


def exactly(value: float, unit: str | None) -> Figure:
    """Return a number with every digit, in a unit as the report names it."""
    return Figure(value, Unit(unit_sign(unit), exact=True))


def for_people(value: float, unit: str | None) -> Figure:
    """Return a number rounded as in messages, in a unit as the report names it."""
    return Figure(value, Unit(unit_sign(unit), 0, rounded_as=rulebook_unit(unit)))


def bounds(value: float | None, at_least: float | None, at_most: float | None, unit: str | None) -> Cell:
    """Return what is wanted of a quantity, as far as it is known."""
    pieces: list[str | Figure] = []
    for before, one in (("", value), ("at least ", at_least), ("at most ", at_most)):
        if one is not None:
            pieces += [f", {before}" if pieces else before, exactly(one, unit)]
    return tuple(piece for piece in pieces if piece != "")


def value_of(one: Estimate | None) -> float | None:
    """Return the value of an estimate."""
    return None if one is None else one.value


def unit_sign(unit: str | None) -> str:
    """Return the sign of a unit of the contract; nothing for what has no unit.

    >>> unit_sign("um"), unit_sign("mm"), unit_sign("1"), unit_sign(None)
    ('µm', 'mm', '', '')
    """
    return "" if unit is None else _SIGNS.get(unit, unit)


def blank_sign(unit: str | None) -> str:
    """Return the sign of a unit as it stands beside a blank, in the units shown now."""
    return shown_sign(unit_sign(unit))


_QUANTITY_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "knob_lacking": "whether the drawbar needs a retention knob",
        "component_max_speed": "speed limit of the part",
        "runout_at_limits_p95": "95th percentile of the runout with every part at its limit",
        "runout_p95": "95th percentile of the runout",
        "runout_worst": "worst case of the runout",
    }
)
"""Names of missing quantities whose own name says too little."""


def missing_words(one: MissingQuantity) -> str:
    """Return the name of a missing quantity as people read it, its unit in brackets.

    >>> missing_words(MissingQuantity(quantity="safety_torque", unit="N.m", at=[]))
    'safety torque (N·m)'
    """
    sign = shown_sign(unit_sign(one.unit))
    words = _QUANTITY_WORDS.get(one.quantity, one.quantity.replace("_", " "))
    return f"{words} ({sign})" if sign else words


def quantity(name: str) -> str:
    """Return the name of a quantity as people read it, its unit in brackets.

    >>> quantity("runout_p95_um"), quantity("torque_n_m"), quantity("knob_form")
    ('runout p95 (µm)', 'torque (N·m)', 'knob form')
    """
    for end, unit in _UNITS.items():
        if name.endswith(end):
            return f"{name.removesuffix(end).replace('_', ' ')} ({shown_sign(unit.sign)})"
    return name.replace("_", " ")


def unit_of(name: str) -> str:
    """Return the sign of the unit that the end of a field's name gives; nothing where it gives none.

    >>> unit_of("torque_n_m"), unit_of("tip_tir_um"), unit_of("joint")
    ('N·m', 'µm', '')
    """
    return next((unit.sign for end, unit in _UNITS.items() if name.endswith(end)), "")
