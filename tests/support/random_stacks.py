"""Random valid stacks: the base requests with exchanged parts, changed values and missing fields."""

from __future__ import annotations

import random
from typing import Any

from rules.rulebook.loader import base_names, base_request

_CHOICES = {
    "size": ["16", "25", "32", "40", "50", "63", "100"],
    "coolant": ["through", "external", "none"],
    "material": ["steel", "cemented_carbide", "aluminium", "tungsten_heavy_alloy"],
    "tolerance": ["h5", "h6", "h8", "k6", "H4", "H7", "zz9"],
    "law": ["limit", "capability"],
    "character": ["tilt", "offset"],
    "balance_grade": ["G0.4", "G2.5", "G16", "G40"],
    "plane": ["gauge_plane", "tip"],
    "designation": ["kb-16", "kb-32", "screw-in M8"],
    "flat": ["side_lock_flat", "inclined_flat"],
}
_FACTORS = (0.0, 0.5, 0.9, 0.999, 1.001, 1.1, 2.0, 30.0)


def random_stack(rng: random.Random) -> dict[str, Any]:
    """Return one request; most are unrealistic, nearly all are valid."""
    request = base_request(rng.choice(base_names()))
    if rng.random() < 0.3:
        _exchange_parts(rng, request)
    for _ in range(rng.randint(0, 6)):
        _change(rng, request)
    if rng.random() < 0.3:
        _exchange_kinds(rng, request)
    if rng.random() < 0.3:
        request.pop(rng.choice(["machine", "operations"]), None)
    return request


def _exchange_parts(rng: random.Random, request: dict[str, Any]) -> None:
    donor = base_request(rng.choice(base_names()))["stack"]["components"]
    parts = request["stack"]["components"]
    action = rng.choice(["replace", "insert", "drop", "shuffle"])
    if action == "replace":
        parts[rng.randrange(len(parts))] = rng.choice(donor)
    elif action == "insert":
        parts.insert(rng.randint(0, len(parts)), rng.choice(donor))
    elif action == "drop" and len(parts) > 1:
        del parts[rng.randrange(len(parts))]
    elif action == "shuffle":
        rng.shuffle(parts)


_TOOLS = ["cutter", "drill", "tap", "reamer", "boring_tool"]
_CUTS: dict[str, dict[str, Any]] = {
    "drill": {"kind": "drilling", "work_material": "p6"},
    "tap": {"kind": "tapping", "work_material": "42crmo4"},
    "reamer": {"kind": "reaming", "existing_hole_mm": 5.8, "work_material": "k15"},
    "boring_tool": {"kind": "boring", "existing_hole_mm": 10, "work_material": "c45"},
}


def _exchange_kinds(rng: random.Random, request: dict[str, Any]) -> None:
    """Make another kind of each cutting tool, most often with the cut that it is for."""
    for part in request["stack"]["components"]:
        if part.get("kind") in _TOOLS:
            part["kind"] = rng.choice(_TOOLS)
            part.update(rng.choice([{}, {"pitch_mm": 1.5}, {"point_angle_deg": 140}, {"square_mm": 5}]))
            for operation in request.get("operations", []):
                if part["kind"] in _CUTS and rng.random() < 0.8:
                    operation["cut"] = dict(_CUTS[part["kind"]])


def _leaves(value: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in items:
        found.append((value, key))
        if isinstance(inner, dict | list):
            _leaves(inner, found)
    return found


def _change(rng: random.Random, request: dict[str, Any]) -> None:
    holder, key = rng.choice(_leaves(request, []))
    value = holder[key]
    if isinstance(value, bool):
        holder[key] = not value
    elif isinstance(value, int | float):
        if rng.random() < 0.4 and isinstance(holder, dict):
            del holder[key]
        else:
            holder[key] = value * rng.choice(_FACTORS)
    elif key in _CHOICES:
        holder[key] = rng.choice(_CHOICES[key])
    elif isinstance(holder, dict) and key not in ("kind", "coupling", "id", "stack", "components", "upper", "lower"):
        del holder[key]
