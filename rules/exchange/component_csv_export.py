"""Export of components to CSV, which the import reads back as they are."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from types import MappingProxyType
from typing import Any, Final

from rules.couplings.designation import EndName, designated_as
from rules.exchange.component_csv import read_component_csv
from rules.exchange.symbols import symbols
from rules.schema.components import StackPart

__all__ = ["write_component_csv"]


def write_component_csv(parts: Sequence[StackPart]) -> bytes:
    """Return a table with a component a row: symbols of ISO 13399 where they say a field, else the path of the field.

    An end that a standard designates has the designation for its connection code. Labels have no column. A text that
    begins like a formula is written as it is: open the table as text.

    Parameters
    ----------
    parts
        Components with different ids.
    """
    rows = [_row(part) for part in parts]
    heads = sorted({head for row in rows for head in row}, key=_rank)
    return _table(heads, rows)


def _row(part: StackPart) -> dict[str, str]:
    """Return the cells of a component by head.

    What a symbol says depends on what stands beside it, so a row whose symbols do not read back has paths.
    """
    named = _cells(part, by_symbol=True)
    read = read_component_csv(_table(list(named), [named]))
    same = not read.faults and [one.component for one in read.parts] == [_carried(part)] and not read.parts[0].unmapped
    return named if same else _cells(part, by_symbol=False)


def _carried(part: StackPart) -> StackPart:
    return part.model_copy(update={"labels": None}) if part.labels is not None else part


def _cells(part: StackPart, *, by_symbol: bool) -> dict[str, str]:
    data = part.model_dump(mode="json", exclude_none=True, exclude={"labels"})
    cells: dict[str, str] = {}
    ends: tuple[tuple[EndName, str], ...] = (("machine_side", "CCMS"), ("workpiece_side", "CCWS"))
    for end, code in ends:
        side = data.get(end)
        found = None if side is None or not by_symbol else designated_as(side, end)
        if side is not None and found is not None:
            text, said = found
            cells[code] = text
            data[end] = {name: value for name, value in side.items() if name not in said}
    names = _symbols_of(part.kind) if by_symbol else _symbols_of("")
    for path, value in _flat(data):
        cells[names.get(path, path)] = _text(value)
    return cells


_EXACT: Final = 2**53


def _text(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    whole = isinstance(value, float) and value.is_integer() and abs(value) < _EXACT
    return str(int(value)) if whole and isinstance(value, float) else str(value)


@cache
def _symbols_of(kind: str) -> Mapping[str, str]:
    """Return the symbol of each field that one says, for a kind of component; without a kind, of any kind's fields.

    A head of this project's own and the path of its field are one column.
    """
    found: dict[str, str] = {}
    for one in symbols().values():
        path = one.fields.get("any") if one.source == "own head" and one.fields else None
        if path is None and kind and one.role == "value":
            path = one.field_of(kind)
        if path is not None:
            found.setdefault(path, one.symbol)
    return MappingProxyType(found)


def _flat(value: Any, way: str = "") -> Iterator[tuple[str, Any]]:
    members = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else None
    if members is None:
        yield way, value
        return
    for step, member in members:
        yield from _flat(member, f"{way}.{step}" if way else str(step))


def _rank(head: str) -> tuple[int, str]:
    """Return the place of a column: kind and id, then symbols in the order of their table, then paths."""
    return _places().get(head, len(symbols())), head


@cache
def _places() -> Mapping[str, int]:
    return MappingProxyType({name: place for place, name in enumerate(symbols())})


def _table(heads: Sequence[str], rows: Sequence[Mapping[str, str]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, heads, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()
