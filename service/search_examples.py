"""Requests that show a search: a small inventory and what is wanted of it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request
from service.examples import RequestExample

__all__ = ["SEARCH_EXAMPLES"]


def _reach_and_clearance() -> dict[str, Any]:
    """The parts of one stack on the shelf, and a collet of another bore; a reach that needs the extension."""
    request = base_request("press_in")
    parts = {part["id"]: part for part in request.pop("stack")["components"]}
    other = {**parts["c2"], "workpiece_side": {**parts["c2"]["workpiece_side"]}}
    other["workpiece_side"].update(clamping_min_mm=6, clamping_max_mm=6)
    return {
        "components": {
            "KB-ST40-32": parts["bh"],
            "KB-32-25": parts["c1"],
            "KB-X25-16": parts["ext"],
            "KB-16-8": parts["c2"],
            "KB-16-6": other,
            "KB-EM8-3": parts["em"],
            "KB-RK-40": parts["knob"],
        },
        "requirement": {
            "cutters": ["KB-EM8-3"],
            "projection": {"at_least_mm": 205, "at_most_mm": 230},
            "clearance": [{"to_mm": 25, "radius_mm": 4}, {"to_mm": 110, "radius_mm": 14}],
        },
        **request,
    }


def _nothing_found() -> dict[str, Any]:
    """The same, further than anything on the shelf reaches."""
    request = _reach_and_clearance()
    request["requirement"] = {"cutters": ["KB-EM8-3"], "projection": {"at_least_mm": 300}}
    return request


SEARCH_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "reach-and-clearance": RequestExample(
            "A deep pocket: the extension is drawn out as far as the reach needs", _reach_and_clearance()
        ),
        "nothing-found": RequestExample("Nothing reaches so far; what comes nearest, and why", _nothing_found()),
    }
)
"""Searches by name."""
