"""Import of components from CSV: one component per row, columns headed by ISO 13399 symbols or field paths.

A column heading is a symbol (``DMM``), one of this project's words (``RUNOUT_UM``) or the path of a field
(``machine_side.tolerance``). Numbers have a decimal point; a length may have a unit, as in ``0.75 in``. A faulty row
gives no component; the other rows are still read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from rules.exchange.fields import MODELS, Stated, all_paths, assemble, is_field, number_in
from rules.exchange.imported import NO_OPTIONS, Import, ImportedPart, ImportOptions, fault, not_stated
from rules.exchange.symbols import Reading, Symbol, map_readings, symbols, unmapped
from rules.exchange.untrusted import BrokenTableError, UnreadableError, decode, numbered_rows, printable, separator_of
from rules.schema.imports import ComponentKind, ImportFault, UnmappedValue
from rules.schema.parsing import MAX_NAME

__all__ = ["MAX_COLUMNS", "MAX_ROWS", "read_component_csv"]

MAX_ROWS: Final = 5000
MAX_COLUMNS: Final = 400
MAX_FAULTS: Final = 2000
"""Most faulty rows; after these the table as a whole is wrong, and reading stops."""

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_JOINTS: Final = "joints."


@dataclass(frozen=True, slots=True)
class _Head:
    """A column: a symbol, the path of a field, or neither."""

    name: str
    column: int
    symbol: Symbol | None
    path: str | None


@dataclass(frozen=True, slots=True)
class _Cell:
    head: _Head
    text: str


class _FaultyRowError(Exception):
    def __init__(self, *faults: ImportFault) -> None:
        self.faults = faults
        super().__init__(f"{len(faults)} faults")


def read_component_csv(data: bytes, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read a table of components as the options say.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` where the text is not UTF-8 or holds NUL, where the
    head line has no separator or several, names a column twice or lacks the id or every kind, and for more than
    :data:`MAX_COLUMNS` columns or :data:`MAX_ROWS` rows.
    """
    text, kind = decode(data), options.kind
    rows = numbered_rows(text, separator_of(text))
    parts: dict[str, ImportedPart] = {}
    faults: list[ImportFault] = []
    heads: list[_Head] = []
    try:
        line, names = next(rows)
        heads = _heads(names, line, ("id",) if kind else ("kind", "id"))
        for count, (line, cells) in enumerate(rows, start=1):
            if count > MAX_ROWS:
                raise UnreadableError(f"a table may hold {MAX_ROWS} rows", cause="unsuitable", line=line, column=1)
            try:
                part = _part(_cells(heads, cells, line), line, kind)
                if known := parts.get(part.component.id):
                    raise _FaultyRowError(fault(f"the id of line {known.line} is used again", line, name="ID"))
            except _FaultyRowError as error:
                faults.extend(error.faults)
            else:
                parts[part.component.id] = part
            if len(faults) > MAX_FAULTS:
                faults.append(fault("too many faults; the rest of the table was not read", line))
                break
    except BrokenTableError as error:
        if not heads:
            raise UnreadableError(error.detail, line=error.line, column=1) from None
        faults.append(fault(f"the table cannot be read from here on: {error.detail}", error.line))
    return Import("csv", None, tuple(parts.values()), tuple(_unknown(heads)), tuple(faults))


def _heads(names: Sequence[str], line: int, needed: Sequence[str]) -> list[_Head]:
    if len(names) > MAX_COLUMNS:
        raise UnreadableError(f"a table may hold {MAX_COLUMNS} columns", cause="unsuitable", line=line, column=1)
    heads: list[_Head] = []
    seen: dict[str, int] = {}
    for column, written in enumerate(names, start=1):
        name = written.strip()
        symbol = symbols().get(name)
        path = _own_field(symbol) if symbol else name if name and is_field(name) else None
        mark = path or name
        if mark and seen.setdefault(mark, column) != column:
            detail = f"columns {seen[mark]} and {column} both have the heading {printable(mark)}"
            raise UnreadableError(detail, cause="unsuitable", line=line, column=column)
        heads.append(_Head(name, column, symbol, path))
    for wanted in needed:
        if wanted not in seen:
            detail = f"no column has the heading {wanted.upper()}"
            raise UnreadableError(detail, cause="unsuitable", line=line, column=1)
    return heads


def _own_field(symbol: Symbol) -> str | None:
    """Return the field of one of this project's column headings."""
    own = symbol.source == "own head" and symbol.fields is not None and symbol.fields.keys() == {"any"}
    return symbol.fields["any"] if own and symbol.fields else None


def _unknown(heads: Sequence[_Head]) -> Iterator[UnmappedValue]:
    known = {name.lower(): name for name in (*sorted(all_paths()), *symbols())}
    for head in heads:
        if head.symbol is None and head.path is None:
            near = get_close_matches(head.name.lower()[:MAX_NAME], known, n=1)
            hint = f"; did you mean {known[near[0]]}?" if near else ""
            yield unmapped(head.name, "", f"neither a symbol nor a field of a component{hint}", 1, head.column)


def _cells(heads: Sequence[_Head], cells: Sequence[str], line: int) -> list[_Cell]:
    if len(cells) != len(heads):
        detail = f"the row has {len(cells)} cells, the heading line {len(heads)}"
        raise _FaultyRowError(fault(detail, line, min(len(cells), len(heads)) + 1))
    return [_Cell(head, text) for head, text in zip(heads, cells, strict=True) if text.strip()]


def _part(cells: Sequence[_Cell], line: int, otherwise: ComponentKind | None) -> ImportedPart:
    kind = next((cell.text.strip() for cell in cells if cell.head.path == "kind"), otherwise)
    if kind is None or kind not in MODELS:
        column = next((cell.head.column for cell in cells if cell.head.path == "kind"), None)
        raise _FaultyRowError(fault(f"KIND must be one of {', '.join(MODELS)}", line, column, "KIND"))
    named = [
        Stated(head.name, cell.text, head.path, cell.text, line, head.column, named_field=True)
        for cell in cells
        if (head := cell.head).path is not None and head.path != "kind"
    ]
    readings = [
        Reading(head.symbol, head.name, cell.text, cell.text.strip(), line, head.column)
        for cell in cells
        if (head := cell.head).symbol is not None and head.path is None
    ]
    stated, left = map_readings(kind, readings, named)
    component, rejected = assemble(kind, [*named, *stated])
    faults = [fault(one.reason, line, one.stated.column, one.stated.name) for one in rejected if not one.no_place]
    if component is None or faults:
        raise _FaultyRowError(*(faults or [fault("the row has no ID", line, name="ID")]))
    left += [unmapped(one.stated.name, one.stated.text, one.reason, line, one.stated.column) for one in rejected]
    return ImportedPart(
        component,
        source="row",
        line=line,
        not_stated=tuple(not_stated(component, lambda field: not field.startswith(_JOINTS))),
        unmapped=tuple(left),
        notes=tuple(_formulas(cells)),
    )


def _formulas(cells: Sequence[_Cell]) -> Iterator[str]:
    for cell in cells:
        if cell.text.startswith(_FORMULA) and number_in(cell.text) is None:
            yield f"{printable(cell.head.name)} begins like a formula; it was read as plain text"
