"""JSON Schema of a check request as people write it, for editors that complete names and mark faults.

It is made of the schema of the contract: the same fields, and beside them what the short form allows. The readers stay
the judges; the schema refuses less.
"""

from __future__ import annotations

import copy
from functools import cache
from typing import Any, Final

from rules.schema.components import Overlay
from rules.schema.request import CheckRequest
from rules.schema.short_form import has_unit

__all__ = ["EDITOR_SCHEMA_ID", "EDITOR_SCHEMA_PATH", "drop_discriminators", "editor_schema"]

EDITOR_SCHEMA_PATH: Final = "/v1/schemas/check-request.json"
"""Where a service serves it."""

EDITOR_SCHEMA_ID: Final = f"https://stackgauge.invalid{EDITOR_SCHEMA_PATH}"
"""Its name, the same in every installation."""

_QUANTITY: Final = {"type": "string", "maxLength": 40, "description": "Number with its unit, such as 0.5 in."}
_DESIGNATION: Final = {"type": "string", "maxLength": 128, "description": "Designation, such as HSK-A63 or 12 h6."}
_PART: Final = {"type": "string", "maxLength": 128, "description": "Key of a standard part or of the catalogue."}
_NAMED_BY_NUMBER: Final = frozenset({"id", "key", "size"})
_ENDS: Final = frozenset({"machine_side", "workpiece_side", "spindle"})
_OF_JOINT: Final = ("projection_mm", "grip_length_mm", "clocking_deg")


@cache
def editor_schema() -> dict[str, Any]:
    """Return the schema, draft 2020-12."""
    root = copy.deepcopy(CheckRequest.model_json_schema())
    overlay = copy.deepcopy(Overlay.model_json_schema())
    definitions: dict[str, Any] = root.pop("$defs")
    definitions |= {name: one for name, one in overlay.pop("$defs").items() if name not in definitions}
    joint = {name: definitions["Joint"]["properties"][name] for name in _OF_JOINT}
    kinds = [name for name, one in definitions.items() if _is_component(one)]
    own = {**joint, "runout_um": {"type": "number", "description": "Runout at the workpiece-side face, TIR, µm."}}
    for name in kinds:
        definitions[name]["properties"] |= own
        definitions[name]["required"].remove("id") if "id" in definitions[name].get("required", ()) else None
    definitions["ShortPart"] = {
        "type": "object",
        "description": "Standard part, or part of the catalogue, with fields of its own laid over it.",
        "properties": {"part": _PART, "id": {"type": "string"}, **overlay["properties"], **own},
        "required": ["part"],
        "additionalProperties": False,
    }
    entries = root["properties"]
    listed = definitions["Stack"]["properties"]["components"]
    listed["items"] = {"anyOf": [_PART, {"$ref": "#/$defs/ShortPart"}, listed["items"]]}
    entries["stack"] = {"anyOf": [entries["stack"], listed]}
    machine = definitions["Machine"]
    machine["required"] = [name for name in machine["required"] if name != "kind"]
    entries["machine"] = {"anyOf": [_PART, *_choices(entries["machine"])]}
    operation = definitions["Operation"]
    operation["required"] = [name for name in operation["required"] if name != "id"]
    operation["properties"]["runout_limit_um"] = {"type": "number", "description": "Runout limit, TIR, µm."}
    entries["operation"] = {"$ref": "#/$defs/Operation"}
    entries["$schema"] = {"type": "string", "description": "Address of this schema; the readers ignore it."}
    for one in (root, *definitions.values()):
        _loosen(one)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": EDITOR_SCHEMA_ID,
        "title": "Check request",
        **{name: one for name, one in root.items() if name != "title"},
        "$defs": definitions,
    }


def _is_component(definition: dict[str, Any]) -> bool:
    fields = definition.get("properties", {})
    return "kind" in fields and ("part_number" in fields or ("of" in fields and "id" in fields))


def _choices(schema: dict[str, Any]) -> list[Any]:
    if "anyOf" not in schema:
        return [schema]
    return [one for choice in schema["anyOf"] for one in _choices(choice)]


def _loosen(definition: dict[str, Any]) -> None:
    """Allow what the short form allows in place of a field, and drop what only OpenAPI knows."""
    fields = definition.get("properties", {})
    for name, field in fields.items():
        if name in _ENDS:
            fields[name] = {"anyOf": [_DESIGNATION, *_choices(field)]}
        elif name in _NAMED_BY_NUMBER and _takes(field, "string"):
            fields[name] = {"anyOf": [{"type": "number"}, *_choices(field)]}
        elif has_unit(name) and _takes(field, "number"):
            kept = {key: one for key, one in field.items() if key == "description"}
            numbers = [one for one in _choices(field) if one.get("type") != "string"]
            plain = [{key: value for key, value in one.items() if key != "description"} for one in numbers]
            fields[name] = {**kept, "anyOf": [*plain, _QUANTITY]}
    drop_discriminators(definition)


def _takes(field: dict[str, Any], kind: str) -> bool:
    return any(one.get("type") == kind for one in _choices(field))


def drop_discriminators(node: Any) -> None:
    """Turn the tagged unions of OpenAPI into plain ones, in place."""
    if isinstance(node, dict):
        if "oneOf" in node:  # without the tags of OpenAPI, a machine without its kind fits one of them all the same
            node.pop("discriminator", None)
            node["anyOf"] = [*node.pop("oneOf"), *node.get("anyOf", ())]
        for one in node.values():
            drop_discriminators(one)
    elif isinstance(node, list):
        for one in node:
            drop_discriminators(one)
