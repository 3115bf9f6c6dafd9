"""Import of components and ready stacks from ISO 13399 data in exchange files (ISO 10303-21).

The data say neither what kind of piece an adaptive item is nor what a connection code means; the operator's map does.
A value without its unit, with two meanings or without a field is left over with its reason, never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final, Literal, get_args

from pydantic import BaseModel

from rules.couplings.sides import COUPLINGS
from rules.exchange.fields import Stated, assemble, has_field
from rules.exchange.imported import ImportedPart, ImportOptions, fault, not_stated
from rules.exchange.symbols import (
    CodeMeaning,
    Reading,
    Symbol,
    end_of_code,
    has_gauge_line,
    map_readings,
    symbols,
    unmapped,
)
from rules.exchange.tool_data import ToolItem, ToolValue
from rules.exchange.tool_data_outline import outline_of
from rules.exchange.tool_data_values import (
    MAY_BE_ZERO,
    NUMBER,
    UNITS,
    Code,
    RejectedError,
    codes,
    dimensions_of,
    number_of,
    plain_number,
)
from rules.exchange.untrusted import printable
from rules.schema.components import CutterKind
from rules.schema.import_map import MappedKind, ShankClamp
from rules.schema.imports import ComponentKind, ImportFault, UnmappedValue

__all__ = ["FaultyItemError", "component_of", "identifier_in"]

Side = Literal["machine_side", "workpiece_side"]


class FaultyItemError(Exception):
    """An item that gives no component."""

    def __init__(self, fault: ImportFault) -> None:
        self.fault = fault
        super().__init__(fault.detail)


# --- one item ------------------------------------------------------------------------------------------------------

_FRACTION: Final = re.compile(r"(?:([0-9]{1,3})[ -])?([0-9]{1,3})/([1-9][0-9]{0,2})")
_INCH: Final = Fraction(254, 10)
_IDENTIFIER: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_CUTTERS: Final = frozenset(get_args(CutterKind))
_TOOLS: Final = _CUTTERS | {"gauge_pin"}
_SIDES: Final[Mapping[str, Side]] = MappingProxyType({"mach": "machine_side", "wkps": "workpiece_side"})
_OTHER_WAY: Final = frozenset({"shell_mill_arbor"})
"""Couplings whose male end is on the workpiece side."""
_EITHER_WAY: Final = frozenset({"threaded_head"})
_BORES: Final = frozenset({*get_args(ShankClamp), "collet_bore"})

_END_FIELDS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "DCON": ("nominal_mm", "pilot_diameter_mm", "diameter_mm"),
        "DCB": ("nominal_mm", "pilot_diameter_mm", "diameter_mm"),
        "DCBN": ("clamping_min_mm",),
        "DCBX": ("clamping_max_mm",),
        "LSCN": ("minimum_grip_mm",),
    }
)
"""Fields of a coupling for a value of its end; the first that the coupling has takes it."""

_NO_DIAMETER: Final = frozenset({"threaded_head"})
"""Couplings whose pilot diameter is not the connection diameter."""

_NO_LINE: Final = "it counts from a gauge line or contact face, and the machine side is not known to have one"

_CARRIED: Final = frozenset(
    {
        "machine_side",
        "machine_side.designation",
        "machine_side.diameter_mm",
        "machine_side.length_mm",
        "machine_side.minimum_grip_mm",
        "machine_side.size",
        "workpiece_side",
        "workpiece_side.designation",
        "workpiece_side.diameter_mm",
        "workpiece_side.nominal_mm",
        "workpiece_side.clamping_min_mm",
        "workpiece_side.clamping_max_mm",
        "workpiece_side.minimum_grip_mm",
        "workpiece_side.size",
        "overall_length_mm",
        "gauge_length_mm",
        "cutting_diameter_mm",
        "flute_length_mm",
        "teeth",
        "helix_angle_deg",
        "corner_radius_mm",
        "thread",
        "profile",
        "material",
        "mass_kg",
        "max_speed_rpm",
    }
)
"""Fields that the data can hold."""


def identifier_in(text: str) -> str | None:
    """Return the identifier nearest to a text of the file; None where nothing is left.

    >>> identifier_in("KB 25/10"), identifier_in("°")
    ('KB-25-10', None)
    """
    if _IDENTIFIER.fullmatch(text):
        return text
    return re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("._-")[:64] or None


def component_of(item: ToolItem, options: ImportOptions, classes: Sequence[str] = ()) -> ImportedPart:
    """Return the component of an item.

    Parameters
    ----------
    item
        The item as the file states it.
    options
        The operator's map, and the kind of an item whose kind neither file nor map states.
    classes
        Generic and maker's class of the item in its package.

    Returns
    -------
    ImportedPart
        The component, with what is left over.

    Raises
    ------
    FaultyItemError
        If the item gives no component.
    """
    return _Item(item, options, classes).part()


@dataclass
class _Group:
    """The values of one connection: of one definition, under one class."""

    scope: str | None
    values: list[tuple[Code, ToolValue]] = field(default_factory=list)

    def texts(self, symbol: str) -> list[str]:
        return list(dict.fromkeys(one.text.strip() for row, one in self.values if row.symbol == symbol))

    # Both are read for each value of the group, once it is complete.
    @cached_property
    def side(self) -> Side | None:
        """The end that the connection is."""
        named = {one.lower() for one in self.texts("side")}
        return _SIDES.get(named.pop()) if len(named) == 1 else None

    @cached_property
    def size_mm(self) -> Fraction | None:
        """The size code as a length: a number in mm, or a fraction of an inch."""
        sizes, bases = self.texts("CZC"), {one.upper() for one in self.texts("basis")}
        if len(sizes) != 1 or len(bases) > 1:
            return None
        if NUMBER.fullmatch(sizes[0]) and bases <= {"M"}:
            return Fraction(sizes[0])
        if (found := _FRACTION.fullmatch(sizes[0])) and not bases & {"M"}:
            return (int(found[1] or 0) + Fraction(int(found[2]), int(found[3]))) * _INCH
        return None


class _Item:
    def __init__(self, item: ToolItem, options: ImportOptions, classes: Sequence[str]) -> None:
        self._item = item
        self._using = options.map
        self._notes: list[str] = []
        self._left: list[UnmappedValue] = []
        self._named: list[Stated] = []
        self._readings: list[Reading] = []
        self._groups: dict[tuple[int, str | None], _Group] = {}
        self._outline: list[tuple[Code, ToolValue]] = []
        self._codes: dict[Side, list[ToolValue]] = {"machine_side": [], "workpiece_side": []}
        self._mapped = self._kind_in_map(classes)
        self._kind: str = self._mapped.kind if self._mapped else self._kind_of(options.kind)

    def part(self) -> ImportedPart:
        """Return the component."""
        item = self._item
        if len(item.versions) > 1:
            raise FaultyItemError(
                self._fault(f"it has {len(item.versions)} versions; which one is meant is not stated")
            )
        self._name()
        for one in item.values:
            self._sort(one)
        self._take_readings()
        for side in get_args(Side):
            self._couple(side)
        self._drop_loose_ends()
        self._leave_loose_length()
        self._draw_outline()
        readings = [*self._readings]
        stated, left = map_readings(self._kind, readings, self._named)
        component, rejected = assemble(self._kind, [*self._named, *stated])
        if component is None:
            raise FaultyItemError(self._fault("its data do not give a component"))
        left += [unmapped(one.stated.name, one.stated.text, one.reason, one.stated.line) for one in rejected]
        return ImportedPart(
            component,
            source=f"ITEM #{item.number} {printable(item.id)}",
            line=item.line,
            not_stated=tuple(not_stated(component, _CARRIED.__contains__)),
            unmapped=tuple(sorted((*left, *self._left), key=lambda one: one.line or 0)),
            notes=tuple(self._notes),
        )

    # --- kind and names --------------------------------------------------------------------------------------------

    def _kind_in_map(self, classes: Sequence[str]) -> MappedKind | None:
        mapped = self._using.kind_of(self._item.id, *classes, *self._item.classes)
        if mapped is None:
            return None
        if "tool item" in self._item.roles and mapped.kind not in _TOOLS:
            self._notes.append(f"the map says {mapped.kind}, but the file calls it a tool item: taken as a cutter")
            return MappedKind(kind="cutter")
        if "adaptive item" in self._item.roles and mapped.kind in _CUTTERS:
            raise FaultyItemError(self._fault(f"the map says {mapped.kind}, but the file calls it an adaptive item"))
        return mapped

    def _kind_of(self, otherwise: ComponentKind | None) -> str:
        if "tool item" in self._item.roles:
            return "cutter"
        if otherwise is None:
            role = next((one for one in sorted(self._item.roles) if one.endswith("item")), "item")
            detail = f"kind not stated: {printable(role)} {printable(self._item.id)}; name it in the map"
            raise FaultyItemError(self._fault(detail))
        return otherwise

    def _fault(self, detail: str) -> ImportFault:
        return fault(detail, self._item.line, name=self._item.id)

    def _name(self) -> None:
        item = self._item
        name = identifier_in(item.id.strip())
        if name is None:
            raise FaultyItemError(self._fault("it has no usable id"))
        if name != item.id:
            self._notes.append(f"the id {printable(item.id)} is written {name}")
        self._state("id", item.id, "id", name, item.line)
        if text := " ".join((item.description or "").split()):
            self._state("description", text, "description", text, item.line)
        if item.languages:
            detail = "only the description in the primary language is taken"
            self._left.append(unmapped("description", f"in {item.languages} other languages", detail, item.line))
        if (text := (item.name or "").strip()) and text not in (item.id, "/IGNORE"):
            self._left.append(unmapped("name", text, "a component has an id and a description only", item.line))

    # --- values ----------------------------------------------------------------------------------------------------

    def _sort(self, one: ToolValue) -> None:
        row = codes().get(one.code or "")
        if one.reason is not None:
            self._leave(one, one.reason)
        elif row is None:
            self._leave(one, f"the code {printable(one.code or '')} is not known")
        elif row.role == "left":
            self._leave(one, self._reason_of(row, one))
        elif row.role == "code":
            self._codes["machine_side" if row.symbol == "CCMS" else "workpiece_side"].append(one)
        elif row.role == "outline":
            self._outline.append((row, one))
        else:
            key = one.definition, one.scope
            self._groups.setdefault(key, _Group(one.scope)).values.append((row, one))

    def _reason_of(self, row: Code, one: ToolValue) -> str:
        """Return why a value is left over: that it cannot be read, or what it does not say."""
        try:
            if row.unit in UNITS:
                number_of(one, row.unit)
        except RejectedError as error:
            return str(error)
        return row.reason or ""

    def _take_readings(self) -> None:
        for group in self._groups.values():
            for row, one in group.values:
                if row.role == "field":
                    self._take(symbols()[row.symbol], row, one, group)

    def _take(self, symbol: Symbol, row: Code, one: ToolValue, group: _Group) -> None:
        is_shank = row.symbol in ("DMM", "LS")
        if is_shank and group.side == "workpiece_side":
            self._leave(one, "a shank cannot be in a connection of the workpiece side")
            return
        value: object = one.text.strip()
        if row.unit != "text" and symbol.field_of(self._kind) is not None:
            try:
                value = self._sized(row, one, group if is_shank else None)
            except RejectedError as error:
                self._leave(one, str(error))
                return
        self._readings.append(Reading(symbol, one.name, one.text, value, one.line))

    def _sized(self, row: Code, one: ToolValue, group: _Group | None) -> float | int:
        """Return the number of a value, in the unit of the contract."""
        if one.is_text and one.unit is None and row.unit == "mm":
            return self._sized_by_code(one, group)
        number = number_of(one, row.unit)
        if number < 0 or (number == 0 and row.symbol not in MAY_BE_ZERO):
            raise RejectedError("it must be greater than 0")
        value = plain_number(number)
        if row.unit == "1" and one.unit is not None:
            self._notes.append(f"{one_line(one)}: the unit {printable(one.unit)} of a count is ignored")
        elif row.unit != "1" and one.unit is not None and UNITS[row.unit][one.unit] != 1:
            unit = "deg" if row.unit == "degree" else row.unit
            self._notes.append(f"{one_line(one)} {printable(one.unit)} taken as {value} {unit}")
        return value

    def _sized_by_code(self, one: ToolValue, group: _Group | None) -> float | int:
        """Return a size without a unit that equals the size code of its connection."""
        text = one.text.strip()
        size = group.size_mm if group is not None else None
        if size is None or not NUMBER.fullmatch(text) or Fraction(text) != size or size <= 0:
            raise RejectedError("its unit is not stated")
        self._notes.append(f"{one_line(one)} has no unit and is taken in mm: it equals the size code of its connection")
        return plain_number(size)

    # --- ends ------------------------------------------------------------------------------------------------------

    def _couple(self, side: Side) -> None:
        groups = [group for group in self._groups.values() if group.side == side and _is_connection(group)]
        written = self._codes[side]
        if not has_field(self._kind, f"{side}.coupling"):
            reason = f"a {self._kind.replace('_', ' ')} has no {side.replace('_', ' ')}"
            self._leave_all((*written, *(one for group in groups for one in _ends(group))), reason)
            return
        if len(groups) > 1:
            reason = f"{len(groups)} connections are stated for the {side.replace('_', ' ')}"
            self._leave_all((one for group in groups for one in _ends(group)), reason)
            groups = []
        texts = list(dict.fromkeys(one.text.strip() for one in written))
        if len(texts) > 1:
            self._leave_all(written, "different connection codes are stated for one side")
            texts, written = [], []
        group = groups[0] if groups else None
        by_class, why_not = self._coupling_by_class(side, group)
        meaning = end_of_code(texts[0], side, self._using.codes) if texts else None
        coded = meaning if meaning is not None and meaning.by_map else None
        if coded is not None and by_class is not None and coded.coupling != by_class:
            reason = f"the connection code says {coded.coupling}, the class of the connection {by_class}"
            self._leave_all((*written, *(() if group is None else _ends(group))), reason)
            return
        if coded is not None:
            self._state_end(side, written[0], coded.fields)
            name: str | None = str(coded.fields["coupling"])
        else:
            name = by_class
            if name is not None and group is not None:
                self._state(*_named(group.values[0][1]), f"{side}.coupling", name, group.values[0][1].line)
            name = self._by_code_alone(side, written, meaning, name)
        if group is not None:
            self._take_end(side, group, name if coded is not None or by_class is not None else None, why_not)
        elif side == "workpiece_side" and name is None and not any(map(_is_connection, self._groups.values())):
            clamp = None if self._mapped is None else self._mapped.workpiece_side
            if clamp is not None:
                self._state("workpiece_side", clamp, f"{side}.coupling", clamp, self._item.line)

    def _by_code_alone(
        self, side: Side, written: Sequence[ToolValue], meaning: CodeMeaning | None, name: str | None
    ) -> str | None:
        """State the end by a connection code that the map lacks, where nothing better says what it is."""
        if not written:
            return name
        code = written[0].text.strip()
        if name is not None:
            self._leave_all(written, "the map lacks the code; the class of the connection is used")
            return name
        if side == "machine_side" and any(one.symbol.symbol == "DMM" for one in self._readings):
            if meaning is None or meaning.coupling != "cylindrical":
                self._leave_all(written, "the map lacks the code; the shank diameter says what the end is")
                return None
            self._state_end(side, written[0], dict(meaning.fields))
            return "cylindrical"
        fields = {"coupling": "designated", "designation": code} if meaning is None else meaning.fields
        self._state_end(side, written[0], fields)
        return str(fields["coupling"])

    def _coupling_by_class(self, side: Side, group: _Group | None) -> tuple[str | None, str]:
        """Return the coupling of a connection by its class, and why there is none."""
        if group is None:
            return None, ""
        name: str | None = self._using.classes.get(group.scope or "")
        if name is None:
            return None, f"the map has no coupling for the class {printable(group.scope or 'not stated')}"
        clamp = self._mapped.workpiece_side if self._mapped is not None and side == "workpiece_side" else None
        if clamp is not None and name not in ("cylindrical", clamp):
            return None, f"the map says {clamp} for the item and {name} for the class of the connection"
        if name in _BORES:
            if side == "machine_side":
                name = "cylindrical"
            elif self._kind == "collet":
                name = "collet_bore"
            elif name == "cylindrical":
                name = clamp
                if name is None:
                    return None, "how the bore clamps is not stated; name its workpiece_side with the kind in the map"
        wanted = "EXT" if (side == "machine_side") != (name in _OTHER_WAY) else "INT"
        forms = {one.upper() for one in group.texts("form")}
        if forms and forms != {wanted} and name not in _EITHER_WAY:
            shown = printable(" and ".join(sorted(forms)))
            return None, f"its form type {shown} is not that of this end of the coupling {name}"
        return name, ""

    def _take_end(self, side: Side, group: _Group, coupling: str | None, why_not: str) -> None:
        """State the values of a connection in the fields of its coupling."""
        model = None if coupling is None else _end_model(coupling, side)
        for row, one in group.values:
            if row.role == "end":
                if model is None or coupling is None:
                    self._leave(one, why_not or "the coupling of this end is not known")
                    continue
                path = next((name for name in _END_FIELDS[row.symbol] if name in model.model_fields), None)
                if path is None or coupling in _NO_DIAMETER:
                    self._leave(one, f"{coupling} has no field for it")
                    continue
                try:
                    value = self._sized(row, one, group)
                except RejectedError as error:
                    self._leave(one, str(error))
                    continue
                self._state(*_named(one), f"{side}.{path}", value, one.line)
            elif row.symbol == "CZC":
                if model is None:
                    self._leave(one, why_not or "the coupling of this end is not known")
                elif "size" in model.model_fields:
                    self._state(*_named(one), f"{side}.size", one.text.strip(), one.line)

    def _state_end(self, side: Side, one: ToolValue, fields: Mapping[str, Any]) -> None:
        for name, value in fields.items():
            self._state(*_named(one), f"{side}.{name}", value, one.line)

    def _drop_loose_ends(self) -> None:
        """Leave over what belongs to no connection with a stated side."""
        for group in self._groups.values():
            if group.side is None and _is_connection(group):
                self._leave_all(_ends(group, with_side=True), "it belongs to no connection whose side is stated")

    # --- outline ---------------------------------------------------------------------------------------------------

    def _draw_outline(self) -> None:
        if not self._outline:
            return
        if self._kind not in ("base_holder", "extension", "reducer") or not self._has_gauge_line():
            self._leave_all((one for _, one in self._outline), "an outline is only taken from a gauge line on")
            return
        length = dimensions_of(self._item.values).get("LF")
        try:
            pieces = outline_of(self._outline, length, self._using.outline)
        except RejectedError as error:
            self._leave_all((one for _, one in self._outline), str(error))
            return
        for n, (one, piece) in enumerate(pieces.sections):
            for name, value in piece.items():
                self._state(*_named(one), f"profile.{n}.{name}", value, one.line)
        self._leave_all(pieces.unused, "flange diameter and thickness are used together only")
        self._notes.extend(pieces.notes)

    def _has_gauge_line(self) -> bool:
        stated = {one.path: one.value for one in self._named}
        return has_gauge_line(self._kind, stated.get("machine_side.coupling"), stated.get("machine_side.designation"))

    def _leave_loose_length(self) -> None:
        """Leave over the functional length from an end that may be a shank."""
        if self._has_gauge_line() or self._kind == "collet":
            return
        for one in [one for one in self._readings if one.symbol.symbol == "LF"]:
            self._readings.remove(one)
            self._left.append(unmapped(one.name, one.text, _NO_LINE, one.line))

    # --- bookkeeping -----------------------------------------------------------------------------------------------

    def _state(self, name: str, text: str, path: str, value: object, line: int) -> None:
        self._named.append(Stated(name, text, path, value, line))

    def _leave(self, one: ToolValue, reason: str) -> None:
        unit = f" {one.unit}" if one.unit else ""
        self._left.append(unmapped(one.name, f"{one.text}{unit}", reason, one.line))

    def _leave_all(self, values: Iterable[ToolValue], reason: str) -> None:
        for one in values:
            self._leave(one, reason)


def one_line(one: ToolValue) -> str:
    """Return name and value as a note shows them."""
    return f"{printable(one.name)} {printable(one.text)}"


def _named(one: ToolValue) -> tuple[str, str]:
    return one.name, one.text


def _is_connection(group: _Group) -> bool:
    return any(row.role in ("end", "group") for row, _ in group.values)


def _ends(group: _Group, *, with_side: bool = False) -> Iterator[ToolValue]:
    """Yield the values of a connection that have a field of their own, or all of them."""
    for row, one in group.values:
        if row.role == "end" or row.symbol == "CZC" or (with_side and row.role == "group"):
            yield one


def _end_model(coupling: str, side: Side) -> type[BaseModel] | None:
    if coupling not in COUPLINGS:  # a designation says all that it says
        return None
    found = COUPLINGS[coupling]
    return found.machine_side if side == "machine_side" else found.workpiece_side
