"""Requests that show a comparison: the shop's stacks of one job set against each other."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request
from service.examples import RequestExample

__all__ = ["COMPARISON_EXAMPLES"]


def _extended_or_one_piece() -> dict[str, Any]:
    """An end mill on an extension, the same pulled out further, and one in a long holder of the same reach."""
    request = base_request("press_in")
    extended = request.pop("stack")
    long = {**extended, "id": "KB-long", "joints": [dict(joint) for joint in extended["joints"]]}
    long["joints"][-1]["grip_length_mm"] -= 6
    holder, *_, mill, knob = extended["components"]
    one_piece = {
        "id": "KB-one-piece",
        "components": [
            {
                "id": "long",
                "kind": "base_holder",
                "machine_side": holder["machine_side"],
                "workpiece_side": {"coupling": "shrink_fit", "diameter_mm": 8, "depth_mm": 45},
                "gauge_length_mm": 170,
                "mass_kg": 1.6,
                "max_speed_rpm": 14000,
            },
            mill,
            knob,
        ],
        "joints": [{"upper": "long", "lower": mill["id"], "grip_length_mm": 34}],
    }
    return {
        "alternatives": [
            {"name": "extended", "stack": extended},
            {"name": "extended-long", "stack": long},
            {"name": "one-piece", "stack": one_piece},
        ],
        **request,
    }


COMPARISON_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "extended-or-one-piece": RequestExample(
            "An extension against more projection and against a long holder of which little is known",
            _extended_or_one_piece(),
        )
    }
)
"""Comparisons by name."""
