"""The operator's map for ISO 13399 data: what a shop's codes, classes and items are in the words of the contract."""

from __future__ import annotations

import copy
import hashlib
import json
from functools import cache
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field

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
from rules.schema.parsing import parse
from rules.schema.short_form import read_yaml
from rules.schema.strict_json import parse_json

__all__ = [
    "IMPORT_MAP_SCHEMA_ID",
    "IMPORT_MAP_SCHEMA_PATH",
    "NO_MAP",
    "ImportMap",
    "MappedKind",
    "import_map_of",
    "import_map_schema",
    "read_import_map",
]

IMPORT_MAP_SCHEMA_PATH: Final = "/v1/schemas/import-map.json"
"""Where a service serves the JSON Schema of a map."""

IMPORT_MAP_SCHEMA_ID: Final = f"https://stackgauge.invalid{IMPORT_MAP_SCHEMA_PATH}"
"""Its name, the same in every installation."""

MAX_ENTRIES: Final = 2000

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


class ImportMap(Model):
    """What codes, classes and items of a shop's or a maker's ISO 13399 data are; everything may be left out."""

    version: Text | None = Field(None, description="The operator's name for this state of the map.", examples=["3"])
    codes: dict[Key, CodedEnd] = Field(
        default_factory=dict,
        max_length=MAX_ENTRIES,
        description="End of a component by connection code.",
        examples=[{"KB-HT63-A": {"coupling": "hollow_taper", "size": "63", "form": "A"}}],
    )
    classes: dict[Key, CouplingName] = Field(
        default_factory=dict,
        max_length=MAX_ENTRIES,
        description="Coupling by class of a connection.",
        examples=[{"71F8F4ADDFD29": "nut_collet"}],
    )
    kinds: dict[Key, Annotated[MappedKind, BeforeValidator(_with_kind, ComponentKind | MappedKind)]] = Field(
        default_factory=dict,
        max_length=MAX_ENTRIES,
        description="Kind by id of an item, by generic or maker's class of a package, or by class of an item; the first"
        " of them that is in the map holds.",
        examples=[{"KB-N25-10": "collet"}],
    )
    outline: Annotated[
        Literal["individual", "cumulative"] | None,
        Field(
            description="Meaning of numbered body lengths: of each section, or from the workpiece side to its end."
            " Without it they are used only where exactly one of the two gives the functional length."
        ),
    ] = None

    @property
    def digest(self) -> str:
        """SHA-256 of the map, whatever its order and form."""
        content = self.model_dump(mode="json", exclude_none=True)
        return hashlib.sha256(json.dumps(content, sort_keys=True, separators=(",", ":")).encode()).hexdigest()

    def kind_of(self, *keys: str | None) -> MappedKind | None:
        """Return the kind under the first of these keys that the map has.

        >>> ImportMap.model_validate({"kinds": {"KB-N25-10": "collet"}}).kind_of("KB-N25-16", "KB-N25-10").kind
        'collet'
        """
        return next((self.kinds[key] for key in keys if key is not None and key in self.kinds), None)


NO_MAP: Final = ImportMap()


def read_import_map(data: bytes) -> ImportMap:
    """Return a map from JSON or YAML; a ``$schema`` at the top, for editors, is ignored.

    Raises :class:`~rules.schema.strict_json.NotJSONError`, :class:`~rules.schema.short_form.NotYAMLError` or
    :class:`~rules.schema.parsing.BadRequestError`.
    """
    return import_map_of(parse_json(data) if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{") else read_yaml(data))


def import_map_of(value: object) -> ImportMap:
    """Return a map from its plain value; raises :class:`~rules.schema.parsing.BadRequestError`."""
    if isinstance(value, dict):
        value = {name: one for name, one in value.items() if name != "$schema"}
    return parse(ImportMap, value)


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
