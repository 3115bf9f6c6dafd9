"""A gauge pin in two press-in collets, the second in an extension: five contributors, four joints clocked freely."""

from __future__ import annotations

from typing import Any, Final

__all__ = ["PIN_STACK"]

PIN_STACK: Final[dict[str, Any]] = {
    "id": "KB-pin",
    "components": [
        {
            "id": "holder",
            "kind": "base_holder",
            "machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"},
            "workpiece_side": {"coupling": "press_collet", "designation": "press-in 25"},
            "gauge_length_mm": 75,
            "profile": [
                {"length_mm": 26, "outer_mm": 63, "bore_mm": 20},
                {"length_mm": 49, "outer_mm": 44, "bore_mm": 25},
            ],
            "material": "steel",
            "mass_kg": 1.02,
            "centre_of_mass_mm": 17,
            "unbalance_g_mm": 2.0,
            "max_speed_rpm": 20000,
            "runout": {"statements": [{"tir_um": 1.5, "at_mm": 0}, {"tir_um": 3, "at_mm": 75}]},
            "coolant_through": True,
        },
        {
            "id": "collet-1",
            "kind": "collet",
            "machine_side": {"coupling": "press_collet", "designation": "press-in 25"},
            "workpiece_side": {
                "coupling": "collet_bore",
                "clamping_min_mm": 16,
                "clamping_max_mm": 16,
                "length_mm": 40,
                "depth_mm": 90,
                "minimum_grip_mm": 34,
            },
            "mass_kg": 0.11,
            "unbalance_g_mm": 0.1,
            "runout": {"statements": [{"tir_um": 3, "at_mm": 48}]},
            "coolant_through": True,
        },
        {
            "id": "extension",
            "kind": "extension",
            "machine_side": {
                "coupling": "cylindrical",
                "diameter_mm": 16,
                "tolerance": "h6",
                "form": "plain",
                "length_mm": 52,
            },
            "workpiece_side": {"coupling": "press_collet", "designation": "press-in 12"},
            "overall_length_mm": 110,
            "material": "steel",
            "profile": [
                {"length_mm": 52, "outer_mm": 16, "bore_mm": 5},
                {"length_mm": 58, "outer_mm": 16, "bore_mm": 9},
            ],
            "unbalance_g_mm": 0.2,
            "max_speed_rpm": 22000,
            "runout": {"statements": [{"tir_um": 3, "at_mm": 0}]},
            "coolant_through": True,
        },
        {
            "id": "collet-2",
            "kind": "collet",
            "machine_side": {"coupling": "press_collet", "designation": "press-in 12"},
            "workpiece_side": {
                "coupling": "collet_bore",
                "clamping_min_mm": 8,
                "clamping_max_mm": 8,
                "length_mm": 26,
                "depth_mm": 60,
                "minimum_grip_mm": 20,
            },
            "mass_kg": 0.03,
            "unbalance_g_mm": 0.05,
            "runout": {"statements": [{"tir_um": 3, "at_mm": 24}]},
            "coolant_through": True,
        },
        {
            "id": "pin",
            "kind": "gauge_pin",
            "machine_side": {
                "coupling": "cylindrical",
                "diameter_mm": 8,
                "tolerance": "h5",
                "form": "plain",
                "length_mm": 90,
            },
            "overall_length_mm": 90,
            "material": "tool_steel",
            "mass_kg": 0.035,
            "runout": {"statements": [{"tir_um": 1, "at_mm": 24}]},
            "coolant_through": False,
        },
    ],
    "joints": [
        {"upper": "collet-1", "lower": "extension", "grip_length_mm": 48},
        {"upper": "collet-2", "lower": "pin", "grip_length_mm": 40},
    ],
}
