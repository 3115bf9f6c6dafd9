"""Requests that show the full runout budget: limits from papers, and parts measured with their direction."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request
from service.examples import RequestExample

__all__ = ["BUDGET_EXAMPLES"]


def _measured() -> dict[str, Any]:
    """A stack of which three parts were measured with their direction, on a bench gauge."""
    request = base_request("press_in")
    del request["machine"]
    parts = {part["id"]: part for part in request["stack"]["components"]}
    for name, angle in (("bh", 20), ("ext", 150), ("em", 300)):
        parts[name]["runout_law"] = "measured"
        for statement in parts[name]["runout"]:
            statement["angle_deg"] = angle
    request["stack"]["joints"] += [{"upper": "bh", "lower": "c1"}, {"upper": "ext", "lower": "c2"}]
    for joint in request["stack"]["joints"]:
        joint["clocking_deg"] = 0
    return request | {"planes": [{"counted_from": "last_clamping_face", "distance_mm": 10}], "target_um": 8}


BUDGET_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "stated": RequestExample(
            "Limits from the parts' papers, and what they must be to read 8 µm",
            base_request("press_in") | {"target_um": 8},
        ),
        "measured": RequestExample("Three parts measured with their direction: how to turn the joints", _measured()),
    }
)
