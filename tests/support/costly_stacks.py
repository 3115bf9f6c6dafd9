"""Valid stacks with numbers that take the most computation."""

from __future__ import annotations

from typing import Any, Final

SPREAD_UM: Final = (
    10_000.0,
    9_000.0,
    250.0,
    8.0,
    0.25,
    0.1,
    5e-3,
    5e-4,
    1e-5,
    1e-6,
)
"""Readings many powers of ten apart, so that a law is computed for each power."""


def costly_stack(parts: int = 10) -> dict[str, Any]:
    """Return a stack of parts with such readings and unbalances: valid, but not realistic."""
    components = []
    for n in range(parts):
        kind = "base_holder" if n == 0 else "cutter" if n == parts - 1 else "extension"
        part: dict[str, Any] = {
            "id": f"p{n}",
            "kind": kind,
            "machine_side": {"coupling": "declared", "designation": "own"},
            "profile": [{"length_mm": 10, "outer_mm": 20}],
            "material": "steel",
            "mass_kg": 0.1,
            "unbalance_g_mm": SPREAD_UM[n % len(SPREAD_UM)] * 100,
            "runout": {
                "law": "measured",
                "character": "offset",
                "statements": [{"tir_um": SPREAD_UM[n % len(SPREAD_UM)], "at_mm": 0}],
            },
        }
        if n == 0:
            part |= {"machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"}, "gauge_length_mm": 10}
        if n == parts - 1:
            part |= {"cutting_diameter_mm": 10}
        else:
            part |= {"workpiece_side": {"coupling": "declared", "designation": "own"}}
        components.append(part)
    joints = [{"upper": f"p{n}", "lower": f"p{n + 1}", "grip_length_mm": 5} for n in range(parts - 1)]
    return {"components": components, "joints": joints}
