"""Requests that show the contract: stacks of an invented shop, the Kestrel Bay Toolroom.

They stand in the OpenAPI document, are written to ``openapi/examples`` for use with other programs, and
the first one is what the service judges to see whether it is ready.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request

__all__ = ["EXAMPLES", "EXTENDED", "RequestExample"]


@dataclass(frozen=True, slots=True)
class RequestExample:
    """A request worth showing."""

    summary: str
    request: Mapping[str, Any]


EXTENDED: Final = "extended"
"""Name of the example in which nothing is left out."""

EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        EXTENDED: RequestExample(
            "An 8 mm end mill on an extension in press-in collets, for one operation on one machine",
            base_request("press_in"),
        ),
        "patchy": RequestExample(
            "A stack of which little is known: what could not be decided is said, never passed over",
            {
                "stack": {
                    "id": "KB-T-0031",
                    "components": [
                        {
                            "id": "holder",
                            "kind": "base_holder",
                            "machine_side": {"coupling": "steep_taper", "size": "40"},
                            "workpiece_side": {"coupling": "nut_collet", "size": "16"},
                            "gauge_length_mm": 70,
                        },
                        {
                            "id": "collet",
                            "kind": "collet",
                            "machine_side": {"coupling": "nut_collet", "size": "16"},
                            "workpiece_side": {"coupling": "collet_bore", "nominal_mm": 6},
                        },
                        {
                            "id": "drill",
                            "kind": "cutter",
                            "machine_side": {"coupling": "cylindrical", "diameter_mm": 6, "tolerance": "h6"},
                            "cutting_diameter_mm": 6,
                        },
                    ],
                },
                "operation": {"spindle_speed_rpm": 8000, "runout_limit_um": 15},
            },
        ),
    }
)
"""Requests by name; ``openapi/examples`` holds each under its route and this name."""
