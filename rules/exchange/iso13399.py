"""Symbols of tool data and the fields of a component they fill: the one place of the mapping."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Final, Literal

from rules.exchange.contract_paths import has_field
from rules.quantities.tables import Row, Table, parse_table, rows_of

__all__ = ["Symbol", "body_materials", "elements", "symbols"]

_ANY: Final = "any"


class Symbol(Row):
    """One symbol: where its value goes, or why it goes nowhere."""

    symbol: str
    element: str | None
    unit: str
    role: Literal["value", "material", "code", "size"]
    fields: dict[str, str] | None
    yields_to: str | None
    datum: str
    reason: str | None

    def field_of(self, kind: str) -> str | None:
        """Path of the field it fills in a component of this kind.

        >>> symbols()["DC"].field_of("cutter"), symbols()["DC"].field_of("collet")
        ('cutting_diameter_mm', None)
        """
        known = self.fields or {}
        path = known.get(kind, known.get(_ANY))
        return path if path is not None and has_field(kind, path) else None


class _BodyMaterial(Row):
    code: str
    material: str


def _table(name: str) -> Table:
    file = f"{name}.yaml"
    return parse_table(files(__package__).joinpath(file).read_text(encoding="utf-8"), file)


@cache
def symbols() -> Mapping[str, Symbol]:
    """Every symbol, in the order of the table."""
    return MappingProxyType({row.symbol: row for row in rows_of(_table("iso_13399"), Symbol)})


@cache
def elements() -> Mapping[str, Symbol]:
    """Symbols by the name of the MTConnect element that carries the same.

    >>> elements()["Weight"].symbol
    'WT'
    """
    return MappingProxyType({one.element: one for one in symbols().values() if one.element is not None})


@cache
def body_materials() -> Mapping[str, str]:
    """Materials of the contract by body material code."""
    return MappingProxyType({row.code: row.material for row in rows_of(_table("body_materials"), _BodyMaterial)})
