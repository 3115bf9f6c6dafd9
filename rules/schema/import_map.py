"""The operator's map for imports: what codes, classes, items and names of a shop's documents are in the contract."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, Final, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic_core import PydanticCustomError

from rules.couplings.collets import NutCollet, PressCollet
from rules.couplings.declared import Declared
from rules.couplings.designation import Designated
from rules.couplings.hollow_taper import HollowTaper
from rules.couplings.morse_taper import MorseTaper
from rules.couplings.polygonal_taper import PolygonalTaper
from rules.couplings.shell_mill_arbor import ArborShellMill
from rules.couplings.steep_taper import SteepTaper
from rules.couplings.straight_shank import (
    ColletBore,
    CylindricalShank,
    Hydraulic,
    MillingChuck,
    ShrinkFit,
    SideLock,
)
from rules.couplings.threaded_head import ThreadedHead
from rules.quantities.models import Key, Model, Text
from rules.schema.editor_schema import drop_discriminators
from rules.schema.imports import ComponentKind

__all__ = [
    "IMPORT_MAP_SCHEMA_ID",
    "IMPORT_MAP_SCHEMA_PATH",
    "NO_MAP",
    "CodedEnd",
    "ImportMap",
    "MappedKind",
    "Outline",
    "PropertyList",
    "folded",
    "import_map_schema",
]

IMPORT_MAP_SCHEMA_PATH: Final = "/v1/schemas/import-map.json"
"""Where a service serves the JSON Schema of a map."""

IMPORT_MAP_SCHEMA_ID: Final = f"https://stackgauge.invalid{IMPORT_MAP_SCHEMA_PATH}"
"""Its name, the same in every installation."""

MAX_ENTRIES: Final = 2000
MAX_HEADS: Final = 400
MAX_LISTS: Final = 200

Outline = Literal["individual", "cumulative"]
"""Whether each of the numbered lengths of a body counts alone or from the workpiece side."""

CouplingName = Literal[
    "steep_taper", "hollow_taper", "polygonal_taper", "nut_collet", "press_collet", "cylindrical", "side_lock",
    "shrink_fit", "hydraulic", "milling_chuck", "shell_mill_arbor", "morse_taper", "threaded_head",
]  # fmt: skip

ShankClamp = Literal["cylindrical", "side_lock", "shrink_fit", "hydraulic", "milling_chuck"]


class MappedKind(Model):
    """Kind of an item, and how its bore clamps."""

    kind: ComponentKind
    workpiece_side: ShankClamp | None = Field(
        None, description="Clamp of its bore for a straight shank, which the data do not say.", examples=["shrink_fit"]
    )


def _with_kind(value: Any) -> Any:
    return {"kind": value} if isinstance(value, str) else value


CodedEnd = Annotated[
    SteepTaper
    | HollowTaper
    | PolygonalTaper
    | CylindricalShank
    | SideLock
    | ShrinkFit
    | Hydraulic
    | MillingChuck
    | ColletBore
    | NutCollet
    | PressCollet
    | MorseTaper
    | ArborShellMill
    | ThreadedHead
    | Declared
    | Designated,
    Field(discriminator="coupling"),
]
"""The end that a connection code stands for, on either side."""


def folded(name: str) -> str:
    """Return a name as it is compared.

    >>> folded("  Shank   Diameter ")
    'shank diameter'
    """
    return " ".join(name.split()).casefold()


EntryT = TypeVar("EntryT", bound="Mapping[str, Any] | list[PropertyList]")


def _distinct(entries: EntryT) -> EntryT:
    """Refuse entries that only case and blanks tell apart."""
    names = [folded(one) for one in entries] if isinstance(entries, Mapping) else [one.place for one in entries]
    if len(set(names)) < len(names):
        raise PydanticCustomError("repeated", "two entries have one name, case and blanks aside")
    return entries


_Targets = Annotated[dict[Text, Text | None], Field(max_length=MAX_HEADS)]


class PropertyList(Model):
    """Property names of one figure of one list of DIN 4000."""

    list: Text = Field(description="List as the document names it.", examples=["DIN 4000-89"])
    figure: Text | None = Field(None, description="Figure of the list; any if absent.", examples=["1"])
    kind: ComponentKind | None = Field(None, description="Kind of these parts.")
    fields: _Targets = Field(description="Symbol or path of a field by property name; null to pass over it.")

    @property
    def place(self) -> tuple[str, str | None]:
        """List and figure as they are compared."""
        return folded(self.list), None if self.figure is None else folded(self.figure)


class ImportMap(Model):
    """What codes, classes, items and names of a shop's or a maker's documents are; everything may be left out."""

    version: Text | None = Field(None, description="The operator's name for this state of the map.", examples=["3"])
    codes: dict[Key, CodedEnd] = Field(
        {},
        max_length=MAX_ENTRIES,
        description="End of a component by connection code.",
        examples=[{"KB-HT63-A": {"coupling": "hollow_taper", "size": "63", "form": "A"}}],
    )
    classes: dict[Key, CouplingName] = Field(
        {},
        max_length=MAX_ENTRIES,
        description="Coupling by class of a connection.",
        examples=[{"71F8F4ADDFD29": "nut_collet"}],
    )
    kinds: dict[Key, Annotated[MappedKind, BeforeValidator(_with_kind, ComponentKind | MappedKind)]] = Field(
        {},
        max_length=MAX_ENTRIES,
        description="Kind by id of an item, by generic or maker's class of a package, or by class of an item; the first"
        " of them that is in the map holds.",
        examples=[{"KB-N25-10": "collet"}],
    )
    heads: Annotated[_Targets, AfterValidator(_distinct)] = Field(
        {},
        description="Symbol or path of a field by column head of a table; null to pass over the column.",
        examples=[{"Schaft": "DMM", "Preis": None}],
    )
    outline: Outline | None = Field(
        None,
        description="Meaning of numbered body lengths: of each section, or from the workpiece side to its end."
        " Without it they are used only where exactly one of the two gives the length of the part.",
    )
    din_4000: Annotated[list[PropertyList], AfterValidator(_distinct)] = Field(
        [],
        max_length=MAX_LISTS,
        description="Meaning of DIN 4000 property names by list and figure; one that names the figure goes first.",
    )

    @property
    def digest(self) -> str:
        """SHA-256 of the map, whatever its order and form."""
        content = self.model_dump(mode="json", exclude_defaults=True)
        return hashlib.sha256(json.dumps(content, sort_keys=True, separators=(",", ":")).encode()).hexdigest()

    def kind_of(self, *keys: str | None) -> MappedKind | None:
        """Return the kind under the first of these keys that the map has.

        >>> ImportMap.model_validate({"kinds": {"KB-N25-10": "collet"}}).kind_of("KB-N25-16", "KB-N25-10").kind
        'collet'
        """
        return next((self.kinds[key] for key in keys if key is not None and key in self.kinds), None)


NO_MAP: Final = ImportMap()


@cache
def import_map_schema() -> dict[str, Any]:
    """Return the JSON Schema of a map, draft 2020-12, for editors."""
    root = copy.deepcopy(ImportMap.model_json_schema())
    root["properties"]["$schema"] = {"type": "string", "description": "Address of this schema; the readers ignore it."}
    drop_discriminators(root)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": IMPORT_MAP_SCHEMA_ID,
        "title": "Import map",
        **{name: one for name, one in root.items() if name != "title"},
    }
