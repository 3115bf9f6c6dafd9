"""Stacks of any number of parts that fit: shrink-fit reducers in a row between holder and end mill."""

from __future__ import annotations

import copy
from itertools import pairwise
from typing import Any

from rules.rulebook.loader import base_request
from tests.support.operations import change

__all__ = ["grown_stack"]


def grown_stack(components: int) -> dict[str, Any]:
    """Return the request of a stack with this number of components, at least two.

    A long one is not realistic, but every joint fits, so all figures are computed.
    """
    request = base_request("shrink")
    holder, mill = request["stack"]["components"]
    parts = [holder, *(_reducer(number, holder) for number in range(components - 2)), mill]
    request["stack"]["components"] = parts
    request["stack"]["joints"] = [
        {"upper": upper["id"], "lower": lower["id"], "grip_length_mm": 45} for upper, lower in pairwise(parts)
    ]
    # low speed and wide limits, since a long stack has much runout and a low critical speed
    change(request["operations"][0], {"spindle_speed_rpm": 10, "runout_limit_um": 10_000})
    return request


def _reducer(number: int, holder: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": f"reducer-{number}",
        "kind": "reducer",
        "material": "tool_steel",
        "machine_side": {
            "coupling": "cylindrical",
            "diameter_mm": 12,
            "tolerance": "h6",
            "form": "plain",
            "length_mm": 47,
        },
        "workpiece_side": copy.deepcopy(holder["workpiece_side"]),
        "overall_length_mm": 112,
        "profile": [{"length_mm": 47, "outer_mm": 12}, {"length_mm": 65, "outer_mm": 27, "bore_mm": 12}],
        "mass_kg": 0.25,
        "centre_of_mass_mm": 75,
        "unbalance_g_mm": 0.3 + 0.01 * number,
        "max_speed_rpm": 25000,
        "runout": {"statements": [{"tir_um": 3 + 0.1 * number, "at_mm": 0}]},
    }
