"""The contract as the tests read it: with its shared parts in place, and closed."""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

__all__ = ["DOCUMENT", "EXAMPLES", "LATER", "closed", "later_answer", "read", "whole"]

_FOLDER: Final = Path(__file__).parents[2] / "openapi"
DOCUMENT: Final = _FOLDER / "v1.json"
EXAMPLES: Final = _FOLDER / "examples"

_KEPT: Final = "#/components/schemas/"


def read() -> dict[str, Any]:
    """The document of the project."""
    document: dict[str, Any] = json.loads(DOCUMENT.read_text(encoding="utf-8"))
    return document


def whole(document: Mapping[str, Any]) -> dict[str, Any]:
    """The document with its shared parameters, headers, responses and examples where they are referred to.

    Answers of the project's files are put in too. References to schemas stay.
    """

    def put(node: Any) -> Any:
        if isinstance(node, dict):
            target = node.get("$ref")
            if isinstance(target, str) and not target.startswith(_KEPT):
                place: Any = document
                for step in target.removeprefix("#/").split("/"):
                    place = place[step]
                return put(place)
            if "externalValue" in node:
                answer = (DOCUMENT.parent / node["externalValue"]).read_text(encoding="utf-8")
                rest = {key: value for key, value in node.items() if key != "externalValue"}
                return {**rest, "value": json.loads(answer)}
            return {key: put(value) for key, value in node.items()}
        return [put(one) for one in node] if isinstance(node, list) else node

    placed: dict[str, Any] = {**document, "paths": put(document["paths"])}
    return placed


def closed(document: Mapping[str, Any]) -> dict[str, Any]:
    """The document with every object closed: what it describes now, without what later releases may add."""
    shut: dict[str, Any] = copy.deepcopy(dict(document))
    for schema in shut["components"]["schemas"].values():
        if "properties" in schema:
            schema.setdefault("additionalProperties", False)
    return shut


LATER: Final = "added_by_a_later_release"
"""Name of the field, and value of the open lists, that :func:`later_answer` adds."""


def later_answer(answer: Any, schema: str) -> Any:
    """An answer as a later release may give it: one field more in each object, a new value in each open list."""
    document = read()

    def within(value: Any, told: Mapping[str, Any]) -> Any:
        told = {**_target(told, document), **told} if "$ref" in told else told
        for choice in (*told.get("anyOf", ()), *told.get("oneOf", ())):
            target = _target(choice, document)
            if _is_a(value, target):
                return within(value, target)
        if isinstance(value, list):
            return [within(one, told.get("items", {})) for one in value]
        if isinstance(value, dict):
            fields = told.get("properties")
            others = told.get("additionalProperties")
            if fields is None:
                return {key: within(one, others) if isinstance(others, dict) else one for key, one in value.items()}
            known = {key: within(one, fields[key]) for key, one in value.items()}
            return known if others is False else {**known, LATER: 1}
        return LATER if "x-known-values" in told and isinstance(value, str) else value

    return within(answer, {"$ref": f"{_KEPT}{schema}"})


def _target(schema: Mapping[str, Any], document: Mapping[str, Any]) -> Mapping[str, Any]:
    name = schema.get("$ref", "").removeprefix(_KEPT)
    found: Mapping[str, Any] = document["components"]["schemas"][name] if name else schema
    return found


def _is_a(value: Any, schema: Mapping[str, Any]) -> bool:
    """Whether the value has the type of the schema, and its required fields."""
    types = {"object": dict, "array": list, "string": str, "boolean": bool, "null": type(None), "number": (int, float)}
    kind = types.get(schema.get("type", ""), object)
    if not isinstance(value, kind):
        return False
    return not isinstance(value, dict) or set(schema.get("required", ())) <= value.keys()
