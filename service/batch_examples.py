"""Requests that show a batch: holders defined once, stacks that refer to them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request
from service.examples import RequestExample

__all__ = ["BATCH_EXAMPLES", "BATCH_LINES"]


def _extended_twice() -> dict[str, Any]:
    """An end mill on an extension, as it is and with less of its shank held; all parts but the mill are defined."""
    request = base_request("press_in")
    stack = request.pop("stack")
    *held, mill, knob = stack["components"]
    definitions = {part["id"]: part for part in (*held, knob)}
    references = [{"kind": "reference", "of": part["id"]} for part in held]
    parts = [*references, mill, {"kind": "reference", "of": knob["id"]}]
    short = [dict(joint) for joint in stack["joints"]]
    short[-1]["grip_length_mm"] = 9
    return {
        "components": definitions,
        **request,
        "stacks": [
            {"stack": {"id": "KB-T-0101", "components": parts, "joints": stack["joints"]}},
            {"stack": {"id": "KB-T-0102", "components": parts, "joints": short}},
        ],
        "include": "verdicts",
    }


_TWICE: Final = _extended_twice()

BATCH_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {"extended-twice": RequestExample("Two stacks of components that are defined once, in short", _TWICE)}
)
"""Batches as one document, by name."""


def _lines() -> str:
    shared: dict[str, Any] = {name: _TWICE[name] for name in ("components", "operation", "machine") if name in _TWICE}
    values = [shared, *_TWICE["stacks"], {"stack": {"id": "KB-T-0103", "components": []}}]
    return "".join(json.dumps(value, ensure_ascii=False) + "\n" for value in values)


BATCH_LINES: Final = _lines()
"""The same as lines, the first of which sets what the others share; the last one can't be judged."""
