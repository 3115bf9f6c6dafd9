"""Map symbols of ISO 13399 to component fields, including couplings, materials and lengths with a datum."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, get_args

from rules.couplings.declared import DECLARED
from rules.couplings.designation import Designated, EndName, understood
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import CYLINDRICAL
from rules.exchange.fields import Stated, has_field
from rules.exchange.untrusted import printable
from rules.quantities.tables import Row, Table, parse_table, rows_of
from rules.schema.components import CutterKind, Material
from rules.schema.import_map import CodedEnd
from rules.schema.imports import UnmappedValue

__all__ = [
    "CodeMeaning",
    "Reading",
    "Symbol",
    "body_materials",
    "elements",
    "end_of_code",
    "has_gauge_line",
    "map_readings",
    "symbols",
    "synonyms",
    "unmapped",
]


_ANY: Final = "any"
_CUTTERS: Final = frozenset(get_args(CutterKind))
"""Kinds with the fields of ``cutter``."""


class Symbol(Row):
    """One symbol, with the field for its value or the reason why there is none."""

    symbol: str
    element: str | None
    unit: str
    role: Literal["value", "material", "code", "size"]
    fields: dict[str, str] | None
    yields_to: str | None
    datum: str
    reason: str | None

    def field_of(self, kind: str) -> str | None:
        """Return the path of its field in a component of this kind.

        A drill, a tap or another cutting tool has the fields of a cutter.

        >>> symbols()["DC"].field_of("drill"), symbols()["DC"].field_of("collet")
        ('cutting_diameter_mm', None)
        """
        known = self.fields or {}
        named = "cutter" if kind in _CUTTERS else kind
        path = known.get(named, known.get(_ANY))
        return path if path is not None and has_field(kind, path) else None


class _BodyMaterial(Row):
    code: str
    material: str


def _table(name: str) -> Table:
    file = f"{name}.yaml"
    return parse_table(files(__package__).joinpath(file).read_text(encoding="utf-8"), file)


@cache
def symbols() -> Mapping[str, Symbol]:
    """Return every symbol, in the order of the table."""
    return MappingProxyType({row.symbol: row for row in rows_of(_table("iso_13399"), Symbol)})


@cache
def elements() -> Mapping[str, Symbol]:
    """Return the symbols by the name of the equivalent MTConnect element.

    >>> elements()["Weight"].symbol
    'WT'
    """
    return MappingProxyType({one.element: one for one in symbols().values() if one.element is not None})


class _Synonym(Row):
    head: str
    means: str


@cache
def synonyms() -> Mapping[str, str]:
    """Return symbols and field paths by column heads in words, in small letters.

    >>> synonyms()["shank diameter"]
    'DMM'
    """
    return MappingProxyType({row.head: row.means for row in rows_of(_table("head_synonyms"), _Synonym)})


@cache
def body_materials() -> Mapping[str, str]:
    """Return the materials of the contract by body material code."""
    return MappingProxyType({row.code: row.material for row in rows_of(_table("body_materials"), _BodyMaterial)})


_GAUGE_LENGTH: Final = "gauge_length_mm"


@dataclass(frozen=True, slots=True)
class Reading:
    """A value under a symbol: as written, as converted, and its position."""

    symbol: Symbol
    name: str
    text: str
    value: object
    line: int
    column: int | None = None


def unmapped(
    name: str, text: str, reason: str, line: int | None, column: int | None = None, file: str | None = None
) -> UnmappedValue:
    """Return a value left over, as in the report; ``file`` is that of a package."""
    return UnmappedValue(
        name=printable(name),
        value=printable(text),
        reason=reason,
        line=line,
        column=column,
        file=None if file is None else printable(file),
    )


class CodeMeaning(NamedTuple):
    """The end that a connection code stands for."""

    fields: Mapping[str, Any]
    """As the map states them, else as the designation was understood."""
    coupling: str
    """Its coupling; of a designation in the map the one that it means, where it is known."""
    by_map: bool


_SPINDLES: Final = frozenset(
    {"steep_taper", "hollow_taper", "polygonal_taper", "morse_taper", "declared", "designated"}
)


def end_of_code(code: str, end: EndName, codes: Mapping[str, CodedEnd]) -> CodeMeaning | None:
    """Return what a connection code stands for.

    Parameters
    ----------
    code
        As the document writes it.
    end
        End that it designates.
    codes
        Ends by code in the operator's map, which go before designations of the standards.

    Returns
    -------
    CodeMeaning or None
        None where neither says what it is.

    >>> end_of_code("HSK-A63", "spindle", {}).coupling, end_of_code("KB-x 12", "machine_side", {})
    ('hollow_taper', None)
    """
    stated = codes.get(code)
    if stated is None:
        meaning = understood(code, end)
        return None if meaning is None else CodeMeaning(meaning.fields, str(meaning.fields["coupling"]), by_map=False)
    meant = understood(stated.designation, end) if isinstance(stated, Designated) else None
    coupling = stated.coupling if meant is None else str(meant.fields["coupling"])
    if end == "spindle" and coupling not in _SPINDLES:
        return None
    return CodeMeaning(stated.model_dump(mode="json", exclude_none=True), coupling, by_map=True)


_NO_CODES: Final[Mapping[str, CodedEnd]] = MappingProxyType({})


def has_gauge_line(kind: str, coupling: object, designation: object) -> bool:
    """Return whether a component certainly has a gauge line or contact face on its machine side.

    >>> has_gauge_line("extension", "designated", "HSK-A63"), has_gauge_line("extension", "designated", "KB-x 12")
    (True, False)
    """
    if kind == "base_holder":
        return True
    if coupling == "designated":
        meaning = understood(str(designation), "machine_side")
        coupling = None if meaning is None else meaning.fields["coupling"]
    return coupling in COUPLINGS and COUPLINGS[str(coupling)].has_gauge_line


def map_readings(
    kind: str,
    readings: Sequence[Reading],
    named: Iterable[Stated] = (),
    codes: Mapping[str, CodedEnd] = _NO_CODES,
) -> tuple[list[Stated], list[UnmappedValue]]:
    """Return values for fields of a component of this kind, and the readings without a field.

    ``named`` are values whose field the document names; for couplings they take precedence over symbols. ``codes`` are
    those of the operator's map.
    """
    mapping = _Mapping(kind, readings, named, codes)
    mapping.couple("machine_side")
    mapping.couple("workpiece_side")
    mapping.take_values()
    return mapping.stated, mapping.left


class _Mapping:
    def __init__(
        self, kind: str, readings: Sequence[Reading], named: Iterable[Stated], codes: Mapping[str, CodedEnd]
    ) -> None:
        self.stated: list[Stated] = []
        self.left: list[UnmappedValue] = []
        self._kind = kind
        self._readings = readings
        self._named = {one.path: one.value for one in named}
        self._present = {one.symbol.symbol for one in readings}
        self._codes = codes
        self._coupling: dict[str, object] = {}

    def couple(self, side: str) -> None:
        """Return the coupling of a side: as stated, else by connection code, else a straight shank by its diameter.

        A code that is in the map, or a designation of a standard, is taken as that. Any other is a designation that is
        not known, so nothing about the end is decided, unless the document says that it is the shop's own.
        """
        words = self._coupling[side] = self._named.get(f"{side}.coupling")
        codes = [one for one in self._readings if one.symbol.field_of(self._kind) == f"{side}.designation"]
        codes = [one for one in codes if not self._yields(one)]
        codes.sort(key=lambda one: one.symbol.role)
        coded = bool(codes) and codes[0].symbol.role == "code" and f"{side}.designation" not in self._named
        if coded and words in (None, DECLARED.name):
            text = " ".join(one.text.strip() for one in codes)
            if text not in self._codes and codes[0].text.strip() in self._codes:
                text = codes[0].text.strip()
                for one in codes[1:]:
                    self._leave(one, "the map says what the connection code alone means")
            end: EndName = "machine_side" if side == "machine_side" else "workpiece_side"
            meaning = end_of_code(text, end, self._codes) if words is None else None
            if meaning is None and words is None and self._shank_of(side) is not None:
                for one in codes:
                    self._leave(one, "the map lacks the code; the shank diameter says what the end is")
                self._take_shank(side)
                return
            fields = {"coupling": words or "designated", "designation": text} if meaning is None else meaning.fields
            for name, value in fields.items():
                self._state(codes[0], f"{side}.{name}", value)
            self._coupling[side] = fields["coupling"]
            return
        for one in codes:
            self._leave(one, "the coupling is stated in another way, or the code is missing; codes are not interpreted")
        if words is None:
            self._take_shank(side)

    def _shank_of(self, side: str) -> Reading | None:
        """Return the diameter of the straight shank of a side."""
        shank = next((one for one in self._readings if one.symbol.symbol == "DMM"), None)
        return shank if shank is not None and shank.symbol.field_of(self._kind) == f"{side}.diameter_mm" else None

    def _take_shank(self, side: str) -> None:
        shank = self._shank_of(side)
        if shank is not None:
            self._state(shank, f"{side}.coupling", CYLINDRICAL.name)
            self._coupling[side] = CYLINDRICAL.name

    def take_values(self) -> None:
        """Return all readings that are not connection codes."""
        for one in self._readings:
            path = one.symbol.field_of(self._kind)
            if path is None:
                self._leave(one, one.symbol.reason or "this kind of component has no such field")
            elif self._yields(one):
                self._leave(one, f"{one.symbol.yields_to} is stated and takes precedence")
            elif one.symbol.role == "material":
                self._take_material(one, path)
            elif path == _GAUGE_LENGTH and not self._has_gauge_line():
                self._leave(one, "it is measured from a gauge line or contact face, but the machine side has none")
            elif one.symbol.role == "value":
                self._state(one, path, one.value)

    def _take_material(self, one: Reading, path: str) -> None:
        code = one.text.strip()
        material = code if code in get_args(Material) else body_materials().get(code)
        if material is None:
            self._leave(one, "no open table has this code; state the material")
        else:
            self._state(one, path, material)

    def _has_gauge_line(self) -> bool:
        """Whether the lengths certainly count from a gauge line or contact face: an unknown code may mean a shank."""
        return has_gauge_line(
            self._kind,
            self._named.get("machine_side.coupling", self._coupling["machine_side"]),
            self._named.get("machine_side.designation"),
        )

    def _yields(self, one: Reading) -> bool:
        return one.symbol.yields_to in self._present

    def _state(self, one: Reading, path: str, value: object) -> None:
        self.stated.append(Stated(one.name, one.text, path, value, one.line, one.column))

    def _leave(self, one: Reading, reason: str) -> None:
        self.left.append(unmapped(one.name, one.text, reason, one.line, one.column))
