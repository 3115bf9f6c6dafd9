"""Items, their values and their assemblies out of ISO 13399 data in an exchange file, as the file states them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final

from rules.exchange.part21 import BrokenInstanceError, ExchangeFile, Instance, Number, plain_text, read_exchange_file
from rules.exchange.untrusted import UnreadableError, printable

__all__ = [
    "MAX_ITEMS",
    "MAX_VALUES",
    "Piece",
    "Placement",
    "ToolAssembly",
    "ToolData",
    "ToolItem",
    "ToolValue",
    "read_tool_data",
]

MAX_ITEMS: Final = 5000
MAX_VALUES: Final = 1000
"""Most values of one item."""

_SCHEMA: Final = "CUTTING_TOOL_SCHEMA_ARM"

_SHAPES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "ITEM": ("description", "id", "name"),
        "ITEM_VERSION": ("item", "description", "id"),
        "ITEM_DEFINITION": ("version", "contexts", "id", "name"),
        "ITEM_INSTANCE": ("definition", "description", "id"),
        "ASSEMBLY_DEFINITION": ("version", "contexts", "id", "name", "type"),
        "ASSEMBLY_ASSOCIATION": ("placement", "instance", "assembly"),
        "SPECIFIC_ITEM_CLASSIFICATION": ("items", "name", "description"),
        "CLASSIFICATION_ASSOCIATION": ("classification", "classified", "definitional", "role"),
        "GENERAL_CLASSIFICATION": ("source", "description", "id", "system", "version"),
        "PLIB_CLASS_REFERENCE": ("code", "supplier", "version"),
        "PLIB_PROPERTY_REFERENCE": ("code", "scope", "version"),
        "PROPERTY": ("units", "description", "id", "source", "type", "version"),
        "PROPERTY_VALUE_REPRESENTATION": ("property", "global_unit", "qualifier", "value", "determination"),
        "PROPERTY_VALUE_ASSOCIATION": ("definitional", "described", "representation", "description", "context"),
        "NUMERICAL_VALUE": ("name", "digits", "unit", "value"),
        "VALUE_RANGE": ("name", "digits", "unit", "lower", "upper"),
        "VALUE_LIMIT": ("name", "digits", "unit", "limit", "qualifier"),
        "VALUE_LIST": ("name", "values"),
        "STRING_VALUE": ("name", "text"),
        "MULTI_LANGUAGE_STRING": ("others", "primary"),
        "STRING_WITH_LANGUAGE": ("contents", "language"),
        "UNIT": ("name",),
        "GEOMETRIC_MODEL_RELATIONSHIP_WITH_TRANSFORMATION": ("description", "placement", "related", "relating", "type"),
        "TRANSFORMATION_3D": ("axis_1", "axis_2", "origin", "axis_3"),
        "CARTESIAN_POINT": ("coordinates",),
        "DIRECTION": ("ratios",),
    }
)
"""Parameters of each entity in the order of the schema: inherited ones first, then by the alphabet."""

_DEFINITIONS: Final = ("ITEM_DEFINITION", "ASSEMBLY_DEFINITION")
_DESCRIBED: Final = (*_DEFINITIONS, "ITEM_INSTANCE", "ITEM_VERSION", "ITEM")
_VALUES: Final = ("NUMERICAL_VALUE", "STRING_VALUE", "VALUE_RANGE", "VALUE_LIMIT", "VALUE_LIST")
_MISSING: Final = frozenset({"", "/IGNORE", "-", "N/A"})
_PLACED: Final = "GEOMETRIC_MODEL_RELATIONSHIP_WITH_TRANSFORMATION"
_AXES: Final = (("axis_1", (1.0, 0.0, 0.0)), ("axis_2", (0.0, 1.0, 0.0)), ("axis_3", (0.0, 0.0, 1.0)))
_COORDINATE: Final = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{0,20})?(?:[Ee][+-]?[0-9]{1,2})?")


@dataclass(frozen=True, slots=True)
class ToolValue:
    """One value of an item as stated; ``reason`` says why it cannot be used whatever it means."""

    name: str
    text: str
    line: int
    definition: int
    """Number of the definition that it describes; with ``scope`` the group that it belongs to."""
    code: str | None = None
    scope: str | None = None
    unit: str | None = None
    is_text: bool = False
    reason: str | None = None


@dataclass(slots=True)
class ToolItem:
    """An item with everything that the file says of it."""

    number: int
    id: str
    line: int
    description: str | None = None
    name: str | None = None
    languages: int = 0
    """Number of further languages of its description."""
    roles: set[str] = field(default_factory=set)
    classes: dict[str, None] = field(default_factory=dict)
    versions: set[int] = field(default_factory=set)
    values: list[ToolValue] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Placement:
    """Place of a piece in a model: its position along the axis, or the reason why it has none that can be used."""

    along_mm: float | None
    refused: str | None
    model: int | None = None
    """Number of the model of the piece."""
    within: int | None = None
    """Number of the model that it is placed in."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One item of an assembly."""

    item: ToolItem
    placement: Placement
    line: int


@dataclass(slots=True)
class ToolAssembly:
    """An assembly; ``broken`` says why its pieces cannot be read."""

    item: ToolItem
    line: int
    pieces: list[Piece] = field(default_factory=list)
    broken: str | None = None


@dataclass(frozen=True, slots=True)
class ToolData:
    """Items and assemblies in the order of the file, values of no item, and what is broken, each with its line."""

    items: tuple[ToolItem, ...]
    assemblies: tuple[ToolAssembly, ...]
    values: tuple[ToolValue, ...]
    broken: tuple[tuple[str, int], ...]


def read_tool_data(data: bytes) -> ToolData:
    """Return what an exchange file under the cutting-tool schema holds; a broken reference costs only what it concerns.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` for any other file or schema, and beyond the limits.
    """
    file = read_exchange_file(data, _SHAPES)
    named = [_decoded(one).split("{")[0].strip() for one in file.schemas]
    if [one.upper() for one in named] != [_SCHEMA]:
        shown = printable(", ".join(named)) or "no schema"
        detail = f"the file names {shown}; only {_SCHEMA} is read"
        raise UnreadableError(detail, cause="unsuitable", line=1, column=1)
    return _Walk(file).data()


def _decoded(written: str) -> str:
    try:
        return plain_text(written)
    except ValueError:
        return written


class _Walk:
    def __init__(self, file: ExchangeFile) -> None:
        self._file = file
        self._items: dict[int, ToolItem] = {}
        self._assemblies: dict[int, ToolAssembly] = {}
        self._values: list[ToolValue] = []
        self._broken: list[tuple[str, int]] = []
        self._words: dict[int, tuple[str | None, int]] = {}
        self._represented: dict[int, ToolValue | None] = {}
        self._properties: dict[int, tuple[str | None, str | None, str | None]] = {}

    def data(self) -> ToolData:
        """Return everything; each instance is looked at once, so no cycle can hold the walk."""
        for count, one in enumerate(self._file.of("ITEM")):
            if count == MAX_ITEMS:
                raise UnreadableError(
                    f"a file may hold {MAX_ITEMS} items", cause="unsuitable", line=self._file.line_of(one), column=1
                )
            self._try(self._read_item, one)
        steps: Mapping[str, Callable[[Instance], None]] = {
            "SPECIFIC_ITEM_CLASSIFICATION": self._read_role,
            "CLASSIFICATION_ASSOCIATION": self._read_class,
            "ASSEMBLY_DEFINITION": self._read_assembly,
            "PROPERTY_VALUE_ASSOCIATION": self._read_value,
        }
        for one in self._file.of(*steps):
            self._try(steps[one.entity], one)
        for one in self._file.of("ASSEMBLY_ASSOCIATION"):
            self._try(self._read_piece, one)
        if self._file.complex_instances:
            self._broken.append((f"{self._file.complex_instances} instances of several entities are not read", 1))
        return ToolData(
            tuple(self._items.values()), tuple(self._assemblies.values()), tuple(self._values), tuple(self._broken)
        )

    def _try(self, step: Callable[[Instance], None], one: Instance) -> None:
        try:
            step(one)
        except BrokenInstanceError as error:
            self._broken.append((error.detail, error.line))

    def _read_item(self, one: Instance) -> None:
        item = ToolItem(one.number, self._file.text(one, "id") or "", self._file.line_of(one))
        self._items[one.number] = item
        item.description, item.languages = self._text_of(one, "description")
        item.name, _ = self._text_of(one, "name")

    def _read_role(self, one: Instance) -> None:
        role = (self._file.text(one, "name") or "").strip().lower()
        listed = self._file.get(one, "items")
        for value in listed if isinstance(listed, tuple) else (listed,):
            self._item(self._file.resolve(one, value, "ITEM")).roles.add(role)

    def _read_class(self, one: Instance) -> None:
        described = self._file.resolve(one, self._file.get(one, "classified"))
        if described.entity not in _DESCRIBED:
            return
        general = self._file.follow(one, "classification", "GENERAL_CLASSIFICATION")
        if self._file.get(general, "source") is None:
            return
        source = self._file.resolve(general, self._file.get(general, "source"))
        if source.entity != "PLIB_CLASS_REFERENCE":
            return
        item, code = self._item_of(described), self._file.text(source, "code")
        if code:
            item.classes[code] = None

    def _read_assembly(self, one: Instance) -> None:
        self._assemblies[one.number] = ToolAssembly(self._item_of(one), self._file.line_of(one))

    def _read_piece(self, one: Instance) -> None:
        whole = self._assemblies.get(self._file.follow(one, "assembly", "ASSEMBLY_DEFINITION").number)
        if whole is None:  # its own definition is broken, which has been said
            return
        try:
            definition = self._file.follow(
                self._file.follow(one, "instance", "ITEM_INSTANCE"), "definition", *_DEFINITIONS
            )
            if definition.entity == "ASSEMBLY_DEFINITION":
                whole.broken = "it holds an assembly, and assemblies within assemblies are not read"
                return
            piece = Piece(self._item_of(definition), self._placement(one), self._file.line_of(one))
        except BrokenInstanceError:
            whole.broken = "one of its pieces cannot be read"
            raise
        whole.pieces.append(piece)

    # --- values ----------------------------------------------------------------------------------------------------

    def _read_value(self, one: Instance) -> None:
        described = self._file.follow(one, "described")
        representation = self._file.follow(one, "representation", "PROPERTY_VALUE_REPRESENTATION")
        if representation.number not in self._represented:  # several items may share one
            self._represented[representation.number] = self._value(representation)
        value = self._represented[representation.number]
        if value is None:
            return
        stated = replace(value, definition=described.number)
        if described.entity not in _DESCRIBED:
            self._values.append(stated)
        elif len(values := self._item_of(described).values) < MAX_VALUES:
            values.append(stated)
        else:
            raise BrokenInstanceError(f"an item may have {MAX_VALUES} values; this one is not read", stated.line)

    def _value(self, representation: Instance) -> ToolValue | None:
        """Return a value, not yet of any item; None where it is missing."""
        code, scope, label = self._property(self._file.follow(representation, "property", "PROPERTY"))
        value = self._file.follow(representation, "value", *_VALUES)
        text, reason = self._stated(value)
        if text is None or text.strip() in _MISSING:
            return None
        unit = self._unit(value) if "unit" in _SHAPES[value.entity] else None
        return ToolValue(
            name=printable((self._file.text(value, "name") or label or code or "value").strip()),
            text=text,
            line=self._file.line_of(value),
            definition=0,
            code=code,
            scope=scope,
            unit=unit if unit is not None else self._unit(representation, "global_unit"),
            is_text=value.entity == "STRING_VALUE",
            reason=reason or (None if code else "its property has no code of ISO 13399"),
        )

    def _property(self, one: Instance) -> tuple[str | None, str | None, str | None]:
        """Return code, scope and a name of a property."""
        if one.number not in self._properties:
            code = scope = None
            if self._file.get(one, "source") is not None:
                source = self._file.resolve(one, self._file.get(one, "source"))
                if source.entity == "PLIB_PROPERTY_REFERENCE":
                    code = self._file.text(source, "code")
                    if self._file.get(source, "scope") is not None:
                        scope = self._file.text(self._file.follow(source, "scope", "PLIB_CLASS_REFERENCE"), "code")
            label = self._text_of(one, "description")[0] or self._file.text(one, "id")
            self._properties[one.number] = code or None, scope, label
        return self._properties[one.number]

    def _stated(self, one: Instance) -> tuple[str | None, str | None]:
        """Return a value as written, and the reason why it is no single value."""
        if one.entity == "STRING_VALUE":
            return self._text_of(one, "text")[0], None
        if one.entity == "NUMERICAL_VALUE":
            return self._number(one, "value"), None
        if one.entity == "VALUE_RANGE":
            ends = [self._number(one, name) or "" for name in ("lower", "upper")]
            return " to ".join(ends), "a range is no single value"
        if one.entity == "VALUE_LIMIT":
            return self._number(one, "limit"), "a limit is no value"
        members = self._file.get(one, "values")
        return f"{len(members) if isinstance(members, tuple) else 0} values", "a list is no single value"

    def _number(self, one: Instance, name: str) -> str | None:
        value = self._file.get(one, name)
        return str(value) if isinstance(value, Number) else self._file.text(one, name)

    def _unit(self, one: Instance, name: str = "unit") -> str | None:
        if self._file.get(one, name) is None:
            return None
        return (self._file.text(self._file.follow(one, name, "UNIT"), "name") or "").strip() or None

    def _text_of(self, one: Instance, name: str) -> tuple[str | None, int]:
        """Return a text in its primary language, and the number of others."""
        value = self._file.get(one, name)
        if value is None or type(value) is str:
            return self._file.text(one, name), 0
        found = self._file.resolve(one, value, "MULTI_LANGUAGE_STRING", "STRING_WITH_LANGUAGE")
        if found.number not in self._words:
            others = 0
            primary = found
            if found.entity == "MULTI_LANGUAGE_STRING":
                listed = self._file.get(found, "others")
                others = len(listed) if isinstance(listed, tuple) else 0
                primary = self._file.follow(found, "primary", "STRING_WITH_LANGUAGE")
            self._words[found.number] = self._file.text(primary, "contents"), others
        return self._words[found.number]

    # --- the way to the item ---------------------------------------------------------------------------------------

    def _item_of(self, one: Instance) -> ToolItem:
        """Return the item of an instance, a definition or a version."""
        if one.entity == "ITEM_INSTANCE":
            one = self._file.follow(one, "definition", *_DEFINITIONS)
        version = None
        if one.entity in _DEFINITIONS:
            one = self._file.follow(one, "version", "ITEM_VERSION")
        if one.entity == "ITEM_VERSION":
            version = one.number
            one = self._file.follow(one, "item", "ITEM")
        item = self._item(one)
        if version is not None:
            item.versions.add(version)
        return item

    def _item(self, one: Instance) -> ToolItem:
        if one.number not in self._items:
            raise BrokenInstanceError(f"#{one.number} is no item that can be read", self._file.line_of(one))
        return self._items[one.number]

    # --- placements ------------------------------------------------------------------------------------------------

    def _placement(self, one: Instance) -> Placement:
        if self._file.get(one, "placement") is None:
            return Placement(None, "it has no placement")
        relation = self._file.resolve(one, self._file.get(one, "placement"))
        if relation.entity != _PLACED:
            return Placement(None, "its placement is not that of a model in a model")
        related = self._file.follow(relation, "related").number
        relating = self._file.follow(relation, "relating").number
        turned = self._file.follow(relation, "placement", "TRANSFORMATION_3D")
        for name, wanted in _AXES:
            if self._file.get(turned, name) is None:
                return Placement(None, "an axis of its placement is not stated", related, relating)
            if self._triple(self._file.follow(turned, name, "DIRECTION"), "ratios") != wanted:
                return Placement(None, "it is placed with a rotation", related, relating)
        x, y, z = self._triple(self._file.follow(turned, "origin", "CARTESIAN_POINT"), "coordinates")
        if x or y:
            return Placement(None, "it is placed off the axis", related, relating)
        return Placement(z, None, related, relating)

    def _triple(self, one: Instance, name: str) -> tuple[float, float, float]:
        listed = self._file.get(one, name)
        numbers = tuple(_coordinates(listed)) if isinstance(listed, tuple) else ()
        if len(numbers) != 3 or not all(map(math.isfinite, numbers)):
            raise BrokenInstanceError(f"{one.entity} needs three finite numbers", self._file.line_of(one))
        return numbers[0], numbers[1], numbers[2]


def _coordinates(listed: tuple[object, ...]) -> Iterator[float]:
    for one in listed:
        yield float(one) if isinstance(one, Number) and _COORDINATE.fullmatch(one) else math.nan
