"""Import of components from CSV: one component per row, columns headed by ISO 13399 symbols or field paths.

A column heading is a symbol (``DMM``), one of this project's words (``RUNOUT_UM``), a closed synonym, the path of a
field (``machine_side.tolerance``) or a head of the operator's map, with the unit of bare numbers in brackets where it
is not that of the field. A wrong cell is left out of its component; a row without id or kind gives no component.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import Final

from pydantic import TypeAdapter, ValidationError

from rules.exchange.cells import CellError, is_missing, number_of, unit_in_head
from rules.exchange.fields import MODELS, Stated, all_paths, assemble, has_field, is_field, number_in, taken_by
from rules.exchange.imported import NO_OPTIONS, Import, ImportedPart, ImportOptions, fault, not_stated
from rules.exchange.outlines import MAX_PIECES, OutlineError, outline_of
from rules.exchange.symbols import Reading, Symbol, elements, map_readings, symbols, synonyms, unmapped
from rules.exchange.untrusted import BrokenTableError, UnreadableError, decode, numbered_rows, printable, separator_of
from rules.quantities.units import quantity_and_unit
from rules.schema.components import Profile
from rules.schema.import_map import ImportMap, folded
from rules.schema.imports import Decimals, ImportFault, UnmappedValue
from rules.schema.parsing import MAX_NAME

__all__ = [
    "MAX_COLUMNS",
    "MAX_ROWS",
    "Cell",
    "FaultyRowError",
    "head_of",
    "is_known_name",
    "part_of",
    "read_component_csv",
]

MAX_ROWS: Final = 5000
MAX_COLUMNS: Final = 400
MAX_FAULTS: Final = 2000
"""Most faulty rows; after these the table as a whole is wrong, and reading stops."""
MAX_REJECTED: Final = 20_000
"""Most wrong cells, for the same reason."""

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_JOINTS: Final = "joints."
_NO_HEADS: Final[Mapping[str, str | None]] = MappingProxyType({})
_NUMBERED: Final = re.compile(r"(BD|LB|BHTA)_?([1-9][0-9]?)")
_OUTLINE_UNITS: Final = {"BD": "mm", "LB": "mm", "BHTA": "deg"}
_PROFILE: Final[TypeAdapter[Profile]] = TypeAdapter(Profile)


@dataclass(frozen=True, slots=True)
class Head:
    """A column: a symbol, the path of a field, a numbered value of the outline, or none of them."""

    name: str
    column: int | None
    symbol: Symbol | None = None
    path: str | None = None
    outline: tuple[str, int] | None = None
    unit: str | None = None
    """Unit of bare numbers, if the head states one."""
    ignored: bool = False
    """Whether the operator's map passes over it."""

    @property
    def is_known(self) -> bool:
        """Whether its cells mean something."""
        return self.symbol is not None or self.path is not None or self.outline is not None

    @property
    def mark(self) -> str:
        """What no other column may be."""
        if self.outline is not None:
            return "{}_{}".format(*self.outline)
        return self.path or (self.symbol.symbol if self.symbol else self.name)


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell with its head; its value is a number where its field takes one."""

    head: Head
    text: str
    value: object
    line: int


class FaultyRowError(Exception):
    """Why a row gives no component."""

    def __init__(self, *faults: ImportFault) -> None:
        self.faults = faults
        super().__init__(f"{len(faults)} faults")


def read_component_csv(data: bytes, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read a table of components as the options say.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` where the text is not UTF-8 or holds NUL, where the
    head line has no separator or several, names a column twice or lacks the id or every kind, for decimal commas
    beside separating ones, and for more than :data:`MAX_COLUMNS` columns or :data:`MAX_ROWS` rows.
    """
    text = decode(data)
    separator = separator_of(text)
    if separator == "," and options.decimals == "comma":
        detail = "decimal commas need another separator than the comma"
        raise UnreadableError(detail, cause="unsuitable", line=1, column=1)
    rows = numbered_rows(text, separator)
    parts: dict[str, ImportedPart] = {}
    faults: list[ImportFault] = []
    heads: list[Head] = []
    rejected = 0
    try:
        line, names = next(rows)
        heads = _heads(names, line, options)
        for count, (line, cells) in enumerate(rows, start=1):
            if count > MAX_ROWS:
                raise UnreadableError(f"a table may hold {MAX_ROWS} rows", cause="unsuitable", line=line, column=1)
            try:
                part = part_of(_cells(heads, cells, line), line, options)
                if known := parts.get(part.component.id):
                    raise FaultyRowError(fault(f"the id of line {known.line} is used again", line, name="ID"))
            except FaultyRowError as error:
                faults.extend(error.faults)
            else:
                parts[part.component.id] = part
                rejected += len(part.rejected)
            if len(faults) > MAX_FAULTS or rejected > MAX_REJECTED:
                faults.append(fault("too many faults; the rest of the table was not read", line))
                break
    except BrokenTableError as error:
        if not heads:
            raise UnreadableError(error.detail, line=error.line, column=1) from None
        faults.append(fault(f"the table cannot be read from here on: {error.detail}", error.line))
    return Import("csv", None, tuple(parts.values()), tuple(_unknown(heads)), tuple(faults))


def _heads(names: Sequence[str], line: int, options: ImportOptions) -> list[Head]:
    known = {folded(name): target for name, target in options.map.heads.items()}
    needed = ("id",) if options.kind or options.map.kinds else ("kind", "id")
    if len(names) > MAX_COLUMNS:
        raise UnreadableError(f"a table may hold {MAX_COLUMNS} columns", cause="unsuitable", line=line, column=1)
    heads: list[Head] = []
    seen: dict[str, int] = {}
    for column, written in enumerate(names, start=1):
        head = head_of(written, column, known)
        if head.mark and not head.ignored and seen.setdefault(head.mark, column) != column:
            detail = f"columns {seen[head.mark]} and {column} both have the heading {printable(head.mark)}"
            raise UnreadableError(detail, cause="unsuitable", line=line, column=column)
        heads.append(head)
    for wanted in needed:
        if wanted not in seen:
            detail = f"no column has the heading {wanted.upper()}"
            raise UnreadableError(detail, cause="unsuitable", line=1, column=1)
    return heads


def head_of(written: str, column: int | None = None, known: Mapping[str, str | None] = _NO_HEADS) -> Head:
    """Return what a head means: by the operator's map, else by the tables; the whole head first, then without a unit.

    ``known`` are the heads of the map, folded.

    >>> head_of("dmm [in]").symbol.symbol, head_of("Shank  diameter").symbol.symbol, head_of("BD1").outline
    ('DMM', 'DMM', ('BD', 1))
    """
    whole = Head(written.strip(), column)
    name, unit = unit_in_head(written)
    for tried, of_head in ((whole.name, None), (name, unit)):
        target = known.get(folded(tried), tried)
        if target is None:
            return replace(whole, ignored=True)
        found = _meaning(target)
        if found is not None:
            symbol, path, outline = found
            return replace(whole, symbol=symbol, path=path, outline=outline, unit=of_head)
    return whole


def is_known_name(name: str) -> bool:
    """Whether a name is a symbol, a field of any component or a numbered value of an outline.

    >>> is_known_name("DMM"), is_known_name("machine_side.tolerance"), is_known_name("BD_2"), is_known_name("DM")
    (True, True, True, False)
    """
    return _meaning(name) is not None


@cache
def _words() -> dict[str, str]:
    """Return symbols and paths by whatever else a head may say."""
    return {**{folded(name): one.symbol for name, one in elements().items()}, **synonyms()}


def _meaning(name: str) -> tuple[Symbol | None, str | None, tuple[str, int] | None] | None:
    name = _words().get(folded(name), name)
    symbol = symbols().get(name.upper())
    if symbol is not None:
        return symbol, _own_field(symbol), None
    numbered = _NUMBERED.fullmatch(name.upper())
    if numbered is not None and int(numbered[2]) <= MAX_PIECES:
        return None, None, (numbered[1], int(numbered[2]))
    return (None, name.lower(), None) if name and is_field(name.lower()) else None


def _own_field(symbol: Symbol) -> str | None:
    """Return the field of one of this project's column headings."""
    own = symbol.source == "own head" and symbol.fields is not None and symbol.fields.keys() == {"any"}
    return symbol.fields["any"] if own and symbol.fields else None


def _unknown(heads: Sequence[Head]) -> Iterator[UnmappedValue]:
    known = {name.lower(): name for name in (*sorted(all_paths()), *symbols())}
    for head in heads:
        if not head.is_known and not head.ignored:
            near = get_close_matches(head.name.lower()[:MAX_NAME], known, n=1)
            hint = f"; did you mean {known[near[0]]}?" if near else ""
            yield unmapped(head.name, "", f"neither a symbol nor a field of a component{hint}", 1, head.column)


def _cells(heads: Sequence[Head], cells: Sequence[str], line: int) -> list[Cell]:
    if len(cells) != len(heads):
        detail = f"the row has {len(cells)} cells, the heading line {len(heads)}"
        raise FaultyRowError(fault(detail, line, min(len(cells), len(heads)) + 1))
    return [Cell(head, text, text, line) for head, text in zip(heads, cells, strict=True)]


def part_of(cells: Iterable[Cell], line: int, options: ImportOptions, source: str = "row") -> ImportedPart:
    """Return the component of a row; raises :class:`FaultyRowError` if there is none."""
    stated_cells = [cell for cell in cells if cell.head.is_known and not is_missing(cell.text)]
    name = next((cell.text.strip() for cell in stated_cells if cell.head.path == "id"), None)
    mapped = options.map.kind_of(name)
    otherwise = options.kind if mapped is None else mapped.kind
    kind = next((cell.text.strip() for cell in stated_cells if cell.head.path == "kind"), otherwise)
    if kind is None or kind not in MODELS:
        column = next((cell.head.column for cell in stated_cells if cell.head.path == "kind"), None)
        raise FaultyRowError(fault(f"KIND must be one of {', '.join(MODELS)}", line, column, "KIND"))
    read, wrong = _numbers([cell for cell in stated_cells if cell.head.path != "kind"], kind, options.decimals)
    named = [
        Stated(head.name, cell.text, head.path, cell.value, cell.line, head.column, named_field=True)
        for cell in read
        if (head := cell.head).path is not None
    ]
    if mapped is not None and mapped.workpiece_side is not None:
        clamp, path = mapped.workpiece_side, "workpiece_side.coupling"
        if all(one.path != path for one in named):
            named.append(Stated("workpiece_side", clamp, path, clamp, line))
    readings = [
        Reading(head.symbol, head.name, cell.text, _stripped(cell.value), cell.line, head.column)
        for cell in read
        if (head := cell.head).symbol is not None and head.path is None
    ]
    stated, left = map_readings(kind, readings, named, options.map.codes)
    outline = [cell for cell in read if cell.head.outline is not None]
    profile, reason = _outline(outline, kind, [*named, *stated], options.map, line)
    if reason is not None:
        left += [unmapped(cell.head.name, cell.text, reason, cell.line, cell.head.column) for cell in outline]
    component, rejected = assemble(kind, [*named, *stated, *profile])
    wrong += [
        unmapped(one.stated.name, one.stated.text, one.reason, one.stated.line, one.stated.column)
        for one in rejected
        if not one.no_place
    ]
    faults = [fault(one.reason, one.line, one.column, one.name) for one in wrong if options.strict]
    faults = faults or [
        fault(one.reason, line, one.stated.column, one.stated.name) for one in rejected if one.stated.path == "id"
    ]
    if component is None or faults:
        raise FaultyRowError(*(faults or [fault("the row has no ID", line, name="ID")]))
    left += [
        unmapped(one.stated.name, one.stated.text, one.reason, one.stated.line, one.stated.column)
        for one in rejected
        if one.no_place
    ]
    return ImportedPart(
        component,
        source=source,
        line=line,
        not_stated=tuple(not_stated(component, lambda field: not field.startswith(_JOINTS))),
        unmapped=tuple(left),
        notes=tuple(_formulas(read)),
        rejected=tuple(wrong),
    )


def _stripped(value: object) -> object:
    return value.strip() if isinstance(value, str) else value


def _numbers(cells: Sequence[Cell], kind: str, decimals: Decimals) -> tuple[list[Cell], list[UnmappedValue]]:
    """Return the cells with numbers where their fields take them, and those that are no such number."""
    read: list[Cell] = []
    wrong: list[UnmappedValue] = []
    for cell in cells:
        head = cell.head
        path = head.path or (head.symbol.field_of(kind) if head.symbol is not None else None)
        if head.outline is not None:
            unit: str | None = _OUTLINE_UNITS[head.outline[0]]
        elif path is not None and has_field(kind, path) and taken_by(kind, path) == "number":
            unit = quantity_and_unit(path.rpartition(".")[2])[1]
        else:
            read.append(cell)
            continue
        try:
            value = number_of(cell.text, unit, head.unit, decimals)
        except CellError as error:
            wrong.append(unmapped(head.name, cell.text, str(error), cell.line, head.column))
        else:
            read.append(Cell(head, cell.text, value, cell.line))
    return read, wrong


def _outline(
    cells: Sequence[Cell], kind: str, stated: Sequence[Stated], known: ImportMap, line: int
) -> tuple[list[Stated], str | None]:
    """Return the outline of the numbered cells as values of fields, or the reason why there is none."""
    if not cells:
        return [], None
    if not has_field(kind, "profile.0.length_mm") or any(one.path.startswith("profile.") for one in stated):
        return [], "the outline is stated in another way"
    by_name: dict[str, dict[int, float]] = {"BD": {}, "LB": {}, "BHTA": {}}
    for cell in cells:
        if cell.head.outline is not None and isinstance(cell.value, int | float):
            by_name[cell.head.outline[0]][cell.head.outline[1]] = cell.value
    totals = [one.value for one in stated if one.path in ("gauge_length_mm", "overall_length_mm")]
    try:
        if any(not 0.0 <= one < 90.0 for one in by_name["BHTA"].values()):
            raise OutlineError("the angle of a cone is from 0 to less than 90 degrees")
        pieces = outline_of(
            by_name["BD"],
            by_name["LB"],
            by_name["BHTA"],
            [float(one) for one in totals if isinstance(one, int | float)],
            known.outline,
        )
        _PROFILE.validate_python(pieces)
    except OutlineError as error:
        return [], str(error)
    except ValidationError:
        return [], "a diameter or length of the outline is not possible"
    return [
        Stated("BD_n, LB_n", "", f"profile.{place}.{field}", value, line)
        for place, piece in enumerate(pieces)
        for field, value in piece.items()
    ], None


def _formulas(cells: Sequence[Cell]) -> Iterator[str]:
    for cell in cells:
        if isinstance(cell.value, str) and cell.text.startswith(_FORMULA) and number_in(cell.text) is None:
            yield f"{printable(cell.head.name)} begins like a formula; it was read as plain text"
