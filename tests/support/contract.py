"""The contract as the tests read it: with its shared parts in place, and closed."""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

__all__ = ["DOCUMENT", "EXAMPLES", "closed", "read", "whole"]

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

    References to schemas stay.
    """

    def put(node: Any) -> Any:
        if isinstance(node, dict):
            target = node.get("$ref")
            if isinstance(target, str) and not target.startswith(_KEPT):
                place: Any = document
                for step in target.removeprefix("#/").split("/"):
                    place = place[step]
                return put(place)
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
