"""Writes ISO 13399 data as exchange files of ISO 10303-21: items, values, connections and assemblies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

__all__ = ["COLLET_SEAT", "CYLINDER", "STEEP_TAPER", "Item", "ToolFile", "escaped", "file_of"]

CYLINDER: Final = "71F8F4B5348DB"
COLLET_SEAT: Final = "71F8F4ADDFD29"
STEEP_TAPER: Final = "71EF224A59B6E"
GENERIC: Final = "71EAD3871D313"

CODES: Final = {
    "WT": "71CED03C97AAB", "BMC": "71DF1523224D8", "RPMX": "71DF153A691F2", "TQ": "71DF153B14F02",
    "LF": "71DCD39338974", "LPR": "71DCD394BB20E", "OAL": "71D078EB7C086", "LUX": "71CF2992BDBCC",
    "ADJLN": "71EBBE668A8F3", "ADJLX": "71EBBE664BCBD", "BD": "71ED6A9AF7D1D", "LB": "71ED6AA478A3D",
    "BHTA": "71EAC472BD116", "DF": "71EC61D8A1771", "flange": "71EEF53809764", "CCMS": "71D102AE3B252",
    "CCWS": "71D102AE8A5A9", "side": "71EBDBF130AE6", "CZC": "71FC193318002", "form": "71EBBE32903BD",
    "basis": "71ED6E16D5978", "DCON": "71EBDBF5060E6", "DCB": "71E01D92C41E8", "DCBN": "71EBDBF49F96C",
    "DCBX": "71EBDBF4D0F49", "LSCN": "71EBB339ED2BD", "LSC": "71EBAF896BE9A", "LSCX": "71ED6E54B15C4",
    "DMM": "71CF29862B277", "LS": "71CF298870946", "CRKS": "71CF298A76B66", "DC": "71D084653E57F",
    "LCF": "71DCCC27DEF53", "ZEFP": "71DCCFF75E485", "NOF": "71DCCFEBB883E", "FHA": "71DCCFEC20115",
    "APMX": "71D07576C0558", "RE": "71DD6C8ACA503", "HAND": "71CF29872F0AB",
}  # fmt: skip
"""Codes of properties by symbol."""

Parameter: TypeAlias = Any


def escaped(text: str) -> str:
    """The text between the quotes of a string, in plain ASCII."""
    written = []
    for one in text:
        if one in "'\\":
            written.append(one * 2)
        elif " " <= one <= "~":
            written.append(one)
        else:
            four = ord(one) > 0xFFFF
            written.append(f"\\X{4 if four else 2}\\{ord(one):0{8 if four else 4}X}\\X0\\")
    return "".join(written)


def file_of(lines: Iterable[str], schema: str = "CUTTING_TOOL_SCHEMA_ARM") -> bytes:
    """An exchange file with these instances."""
    head = f"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_SCHEMA(('{schema}'));\nENDSEC;\nDATA;\n"
    return (head + "".join(f"{one}\n" for one in lines) + "ENDSEC;\nEND-ISO-10303-21;\n").encode()


@dataclass(slots=True)
class Item:
    """An item that has been written: references to it and to its definition."""

    item: int
    version: int
    definition: int


@dataclass(slots=True)
class ToolFile:
    """An exchange file under construction; `lines` holds what has been written."""

    lines: list[str] = field(default_factory=list)
    _number: int = 0
    _known: dict[tuple[str, str], int] = field(default_factory=dict)

    def add(self, entity: str, *parameters: Parameter) -> int:
        """Write an instance and return its number; an int is a reference, None unset, a tuple a list."""
        self._number += 1
        self.lines.append(f"#{self._number}={entity}({','.join(map(_parameter, parameters))});")
        return self._number

    def once(self, entity: str, name: str, *parameters: Parameter) -> int:
        """Write an instance unless one of that name exists."""
        if (entity, name) not in self._known:
            self._known[entity, name] = self.add(entity, *parameters)
        return self._known[entity, name]

    def words(self, text: str, *others: tuple[str, str]) -> int:
        """Write a text, in English and in other languages."""
        english = self.once("LANGUAGE", "eng", None, "eng")
        primary = self.add("STRING_WITH_LANGUAGE", text, english)
        further = tuple(
            self.add("STRING_WITH_LANGUAGE", other, self.once("LANGUAGE", name, None, name)) for name, other in others
        )
        return self.add("MULTI_LANGUAGE_STRING", further, primary)

    def item(
        self, name: str, *roles: str, description: str | None = None, others: Sequence[tuple[str, str]] = ()
    ) -> Item:
        """Write an item with its version and its definition."""
        told = None if description is None else self.words(description, *others)
        item = self.add("ITEM", told, name, self.words(name))
        version = self.add("ITEM_VERSION", item, None, "1")
        for role in roles:
            self.add("SPECIFIC_ITEM_CLASSIFICATION", (item,), role, None)
        return Item(item, version, self.add("ITEM_DEFINITION", version, (), "Body", None))

    def value(
        self,
        item: Item,
        symbol: str,
        value: str | float,
        unit: str | None = None,
        *,
        scope: str = GENERIC,
        name: str | None = None,
        text: bool = False,
    ) -> None:
        """Write one value of an item: a number with its unit, or a text."""
        group = self.once("PLIB_CLASS_REFERENCE", scope, scope, "", "001")
        code = CODES.get(symbol, symbol)
        source = self.add("PLIB_PROPERTY_REFERENCE", code, group, "001")
        measure = None if unit is None else self.once("UNIT", unit, unit)
        units = () if measure is None else (measure,)
        meaning = self.add("PROPERTY", units, None, "/IGNORE", source, "/IGNORE", "/IGNORE")
        if text:
            stated = self.add("STRING_VALUE", name or symbol, self.words(str(value)))
        else:
            stated = self.add("NUMERICAL_VALUE", name or symbol, None, measure, str(value))
        held = self.add("PROPERTY_VALUE_REPRESENTATION", meaning, None, None, stated, None)
        self.add("PROPERTY_VALUE_ASSOCIATION", None, item.definition, held, None, None)

    def connection(self, item: Item, scope: str, side: str, size: str, form: str, basis: str = "M") -> None:
        """Write which end a connection is, and its size."""
        for symbol, value in (("form", form), ("side", side), ("basis", basis), ("CZC", size)):
            self.value(item, symbol, value, scope=scope, text=True)

    def assembly(self, item: Item, pieces: Sequence[tuple[Item, float | None]]) -> int:
        """Write an assembly of pieces, each at its place along the axis; without a placement where it is None."""
        whole = self.add("ASSEMBLY_DEFINITION", item.version, (), "", None, "design assembly")
        axes = [self.add("DIRECTION", one) for one in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))]
        model = self.add("EXTERNAL_GEOMETRIC_MODEL", None, None, None, "assembly", None)
        for piece, along in pieces:
            placed = None
            if along is not None:
                origin = self.add("CARTESIAN_POINT", (0.0, 0.0, along))
                turned = self.add("TRANSFORMATION_3D", axes[0], axes[1], origin, axes[2])
                own = self.add("EXTERNAL_GEOMETRIC_MODEL", None, None, None, "piece", None)
                placed = self.add(
                    "GEOMETRIC_MODEL_RELATIONSHIP_WITH_TRANSFORMATION", None, turned, own, model, "hierarchy"
                )
            instance = self.add("ITEM_INSTANCE", piece.definition, None, "")
            self.add("ASSEMBLY_ASSOCIATION", placed, instance, whole)
        return whole

    def content(self, schema: str = "CUTTING_TOOL_SCHEMA_ARM") -> bytes:
        """The whole file."""
        return file_of(self.lines, schema)


def _parameter(value: Parameter) -> str:
    if value is None:
        return "$"
    if isinstance(value, str):
        return f"'{escaped(value)}'"
    if isinstance(value, tuple):
        numbers = all(isinstance(one, float) for one in value)
        return f"({','.join(f'{one:.6f}' if numbers else _parameter(one) for one in value)})"
    return f"#{value}"
