"""Requests that show how a reading is asked about, on stacks of the same invented shop as the others."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.rulebook.loader import base_request
from service.examples import RequestExample

__all__ = ["READING_EXAMPLES"]


def _with_pin() -> dict[str, Any]:
    """The extension in press-in collets, with a gauge pin in place of the cutter and without a knob."""
    stack: dict[str, Any] = base_request("press_in")["stack"]
    pin = {
        "id": "pin",
        "kind": "gauge_pin",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h5", "form": "plain"},
        "overall_length_mm": 90,
        "runout": [{"tir_um": 1, "at_mm": 24}],
    }
    first, clamp = stack["joints"]
    return {
        **stack,
        "id": "KB-T-0042-PIN",
        "components": [*stack["components"][:4], pin],
        "joints": [first, {**clamp, "lower": "pin"}],
    }


READING_EXAMPLES: Final[Mapping[str, RequestExample]] = MappingProxyType(
    {
        "range": RequestExample(
            "One total indicator reading against a limit, with nothing known of the stack",
            {
                "planes": [{"kind": "range", "distance_mm": 24, "tir_um": 9}],
                "limit_um": 10,
                "expanded_uncertainty_um": 1.5,
            },
        ),
        "trial": RequestExample(
            "Two planes read at four angles on a gauge pin, the first again after the pin was turned by half a turn",
            {
                "planes": [
                    {"kind": "equal_steps", "distance_mm": 24, "readings_um": [6, 3, -6, -3]},
                    {
                        "kind": "dial",
                        "distance_mm": 48,
                        "points": [
                            {"angle_deg": 0, "reading_um": 8},
                            {"angle_deg": 90, "reading_um": 4},
                            {"angle_deg": 180, "reading_um": -8},
                            {"angle_deg": 270, "reading_um": -4},
                        ],
                    },
                ],
                "trial": {
                    "upper": "c2",
                    "lower": "pin",
                    "turned_deg": 180,
                    "plane": {"kind": "equal_steps", "distance_mm": 24, "readings_um": [1, 4, -1, -4]},
                },
                "stack": _with_pin(),
                "limit_um": 10,
                "expanded_uncertainty_um": 1.5,
            },
        ),
    }
)
"""Requests by name; ``openapi/examples`` holds each under its route and this name."""
