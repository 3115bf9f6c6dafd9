"""Tables of standards and materials in YAML, read and checked once per process.

A table is one file, or the last document of a file whose first documents a module reads.
Every row has a source and a confidence, its own or the table's. An unknown number is ``null``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

if TYPE_CHECKING:
    import yaml

__all__ = [
    "Confidence",
    "Row",
    "Table",
    "TableError",
    "Texts",
    "UnknownEntryError",
    "parse_table",
    "read_definitions",
    "read_rows",
    "read_table",
    "rows_of",
    "table",
    "table_names",
    "tables",
]


Confidence = Literal["standard", "textbook", "from memory", "common practice", "computed"]

COMMON_FIELDS = frozenset({"source", "confidence", "note"})
"""Fields that a row of any table may have in addition to its columns."""


Texts = Annotated[tuple[str, ...], Field(strict=False)]
"""A list of texts in a cell, as a tuple."""
_NEXT_DOCUMENT: Final = "\n---\n"
_NAMED: Final = re.compile(r"^name: ", re.MULTILINE)
"""First key of every table; a file without it holds definitions only."""

_FOLDERS: Final = ("assumptions", "balance", "bending", "couplings", "cutting", "grip", "parts", "stack")


class TableError(ValueError):
    """An invalid table file; the message starts with the name of the file."""


class UnknownEntryError(ValueError):
    """An entry that the table does not hold; the message lists those it does."""

    def __init__(self, table: str, wanted: object, known: Iterable[object]) -> None:
        super().__init__(f"{table} has no entry {wanted!r}; known: {', '.join(str(entry) for entry in known)}")


class Column(BaseModel):
    """Unit and meaning of a column."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    unit: str = Field(min_length=1)
    meaning: str = Field(min_length=1)


class Row(BaseModel):
    """Base of every typed row."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    source: str = Field(min_length=1)
    confidence: Confidence
    note: str | None = None


class _Written(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    name: str
    title: str = Field(min_length=1)
    standard: str | None
    source: str | None = None
    confidence: Confidence | None = None
    note: str | None = None
    key: list[str] = Field(min_length=1)
    columns: dict[str, Column] = Field(min_length=1)
    rows: list[dict[str, Any]] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Table:
    """One table as published: head, columns and rows, each row with its own source and confidence."""

    name: str
    title: str
    standard: str | None
    note: str | None
    key: tuple[str, ...]
    columns: Mapping[str, Column]
    rows: tuple[Mapping[str, Any], ...]

    def as_json(self) -> dict[str, Any]:
        """Return a new dictionary of plain JSON values."""
        return {
            "name": self.name,
            "title": self.title,
            "standard": self.standard,
            "note": self.note,
            "key": list(self.key),
            "columns": {name: column.model_dump() for name, column in self.columns.items()},
            "rows": [
                {name: list(cell) if isinstance(cell, list) else cell for name, cell in row.items()}
                for row in self.rows
            ],
        }


def _plain_values(text: str, file: str) -> Any:
    """Read safe YAML and reject a repeated key, of which standard YAML silently keeps the last."""
    # Imported here: the models of rows belong to the contract, which clients use without YAML.
    import yaml

    try:
        # The C parser is about ten times as fast and part of every wheel; the Python parser gives the same values.
        loader: yaml.SafeLoader | yaml.CSafeLoader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)(text)
        try:
            node = loader.get_single_node()
            if node is None:
                return None
            _refuse_repeated_names(node, loader)
            return loader.construct_document(node)
        finally:
            loader.dispose()
    except yaml.YAMLError as error:
        raise TableError(f"{file}: {error}") from error


def _refuse_repeated_names(node: yaml.Node, loader: yaml.SafeLoader | yaml.CSafeLoader) -> None:
    import yaml

    if isinstance(node, yaml.MappingNode):
        seen: set[object] = set()
        for key_node, value_node in node.value:
            key = loader.construct_object(key_node, deep=True)
            if key in seen:
                raise yaml.constructor.ConstructorError(None, None, f"the key {key!r} is repeated", key_node.start_mark)
            seen.add(key)
            _refuse_repeated_names(value_node, loader)
    elif isinstance(node, yaml.SequenceNode):
        for one in node.value:
            _refuse_repeated_names(one, loader)


def read_definitions(file: Traversable) -> Any:
    """Return the first document of a file, the definitions for its module.

    Raises :class:`TableError` for invalid YAML.
    """
    return _plain_values(file.read_text(encoding="utf-8").partition(_NEXT_DOCUMENT)[0], file.name)


def parse_table(text: str, file: str) -> Table:
    """Build a table from YAML text.

    Raises :class:`TableError`, its message beginning with ``file``, for invalid YAML, a violation of the schema, a name
    that differs from the file, a missing cell, a cell without a column, a repeated key, and a missing source or
    confidence.
    """
    try:
        written = _Written.model_validate(_plain_values(text.rpartition(_NEXT_DOCUMENT)[2], file))
    except ValidationError as error:
        raise TableError(f"{file}: {_reasons(error)}") from error
    if f"{written.name}.yaml" != file:
        raise TableError(f"{file}: the table inside is named {written.name!r}")
    if unknown := [name for name in written.key if name not in written.columns]:
        raise TableError(f"{file}: unknown key columns: {', '.join(unknown)}")
    if clash := COMMON_FIELDS & written.columns.keys():
        raise TableError(f"{file}: reserved column names: {', '.join(sorted(clash))}")
    rows = tuple(_checked_row(written, row, f"{file}, row {n}") for n, row in enumerate(written.rows, start=1))
    _refuse_repeated_keys(rows, tuple(written.key), file)
    return Table(
        name=written.name,
        title=written.title,
        standard=written.standard,
        note=written.note,
        key=tuple(written.key),
        columns=MappingProxyType(written.columns),
        rows=rows,
    )


def _checked_row(table: _Written, row: Mapping[str, Any], where: str) -> Mapping[str, Any]:
    if missing := [name for name in table.columns if name not in row]:
        raise TableError(f"{where}: no cell for {', '.join(missing)} (write null for 'not stated')")
    if extra := [str(name) for name in row if name not in table.columns and name not in COMMON_FIELDS]:
        raise TableError(f"{where}: cells without a column: {', '.join(extra)}")
    full = {
        **{name: row[name] for name in table.columns},
        "source": row.get("source", table.source),
        "confidence": row.get("confidence", table.confidence),
        "note": row.get("note"),
    }
    try:
        Row.model_validate({name: full[name] for name in COMMON_FIELDS})
    except ValidationError as error:
        raise TableError(f"{where}: {_reasons(error)}") from error
    return MappingProxyType(full)


def _refuse_repeated_keys(rows: tuple[Mapping[str, Any], ...], key: tuple[str, ...], file: str) -> None:
    seen: set[str] = set()
    for number, row in enumerate(rows, start=1):
        mark = repr([row[name] for name in key])
        if mark in seen:
            raise TableError(f"{file}, row {number}: two rows have the key {mark}")
        seen.add(mark)


def _reasons(error: ValidationError) -> str:
    return "; ".join(f"{'.'.join(str(part) for part in e['loc'])}: {e['msg']}" for e in error.errors())


@cache
def _table_files() -> Mapping[str, Traversable]:
    """Return the files of the tables by name, each in the folder of the module that reads it."""
    folders = [files("rules").joinpath(folder) for folder in _FOLDERS]
    return {
        file.name.removesuffix(".yaml"): file
        for folder in folders
        if folder.is_dir()
        for file in folder.iterdir()
        if file.name.endswith(".yaml") and _NAMED.search(file.read_text(encoding="utf-8"))
    }


@cache
def table_names() -> tuple[str, ...]:
    """Return the names of the tables of `rules`, sorted."""
    return tuple(sorted(_table_files()))


@cache
def read_table(name: str) -> Table:
    """Read a table of `rules` once; raises :class:`UnknownEntryError` for an unknown name."""
    try:
        file = _table_files()[name]
    except KeyError:
        raise UnknownEntryError("the set of tables", name, table_names()) from None
    return parse_table(file.read_text(encoding="utf-8"), file.name)


RowT = TypeVar("RowT", bound=Row)


def rows_of(table: Table, model: type[RowT]) -> tuple[RowT, ...]:
    """Return the typed rows of a table; raises :class:`TableError` if they do not match the model."""
    file = f"{table.name}.yaml"
    if (fields := model.model_fields.keys() - COMMON_FIELDS) != table.columns.keys():
        raise TableError(f"{file}: columns and typed row differ in {sorted(fields ^ table.columns.keys())}")
    typed: list[RowT] = []
    for number, row in enumerate(table.rows, start=1):
        try:
            typed.append(model.model_validate(dict(row)))
        except ValidationError as error:
            raise TableError(f"{file}, row {number}: {_reasons(error)}") from error
    return tuple(typed)


def read_rows(name: str, model: type[RowT]) -> tuple[RowT, ...]:
    """Return the typed rows of a table of `rules`."""
    return rows_of(read_table(name), model)


@cache
def tables() -> Mapping[str, Table]:
    """Return every table, in order of name."""
    return MappingProxyType({name: read_table(name) for name in table_names()})


def table(name: str) -> Table:
    """Return one table; raises :class:`rules.quantities.tables.UnknownEntryError` for an unknown name."""
    return read_table(name)
