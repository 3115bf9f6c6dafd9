"""Requests at the limits of the model: every number stated, or some left out, and some at the ends of their range."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from functools import cache
from typing import Any

from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.request import CheckRequest
from tests.support.operations import change

_FACTORS = (0.0, 0.01, 0.5, 1 - 1e-12, 1 + 1e-12, 2.0, 100.0)
_ADDED = (
    "mass_kg",
    "density_kg_m3",
    "youngs_modulus_gpa",
    "transverse_inertia_kg_mm2",
    "centre_of_mass_mm",
    "unbalance_g_mm",
    "yield_mpa",
)


@cache
def bounds() -> dict[str, tuple[float, float]]:
    """Return the range of every number of the request by name; for two different ranges, their intersection."""
    found: dict[str, tuple[float, float]] = {}
    for model in CheckRequest.model_json_schema()["$defs"].values():
        for name, schema in model.get("properties", {}).items():
            for one in schema.get("anyOf", [schema]):
                for option in one.get("anyOf", [one]):
                    if option.get("type") not in ("number", "integer"):
                        continue
                    low = option.get("minimum", option.get("exclusiveMinimum", 0))
                    high = option.get("maximum", math.nextafter(option.get("exclusiveMaximum", 1), 0))
                    before = found.get(name, (low, high))
                    found[name] = max(low, before[0]), min(high, before[1])
    return found


def _numbers(value: Any) -> Iterator[tuple[dict[str, Any], str]]:
    """Yield every number of a request with its containing object."""
    if isinstance(value, list):
        for inner in value:
            yield from _numbers(inner)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _numbers(inner)
            if isinstance(inner, int | float) and not isinstance(inner, bool):
                yield value, key


def _everything_stated(rng: random.Random) -> dict[str, Any]:
    """Return a base request with cut, ratings, springs and machine limits added."""
    request = base_request(rng.choice(base_names()))
    (operation,) = request["operations"]
    change(operation, {"deflection_limit_um": 10, "feed_per_tooth_mm": 0.1})
    cut = {"axial_depth_mm": 5, "radial_depth_mm": 3, "work_material": "c45", "lead_angle_deg": 60}
    demands = {"milling": cut, "torque_n_m": 10, "axial_pull_n": 100, "radial_force_n": 100}
    change(operation, {name: value for name, value in demands.items() if rng.random() < 0.5})
    for part in request["stack"]["components"]:
        if part["kind"] == "cutter":
            part |= {"helix_angle_deg": 30, "flute_length_mm": 10, "max_cutting_speed_m_per_min": 200}
        side = part.get("workpiece_side", {})
        if side.get("coupling") in ("collet_bore", "hydraulic", "side_lock"):
            side |= {"rated_torque_n_m": 50, "rated_grip_mm": 30}
        if side.get("coupling") == "shrink_fit":
            side |= {"friction": 0.1, "roughness_rz_um": 1}
    request.setdefault("machine", {}).update(
        max_torque_n_m=50,
        max_power_kw=10,
        max_tilting_moment_n_m=5,
        spindle_radial_stiffness_n_per_um=100,
        spindle_tilting_stiffness_n_m_per_mrad=100,
    )
    for joint in request["stack"].get("joints", []):
        joint |= {"radial_stiffness_n_per_um": 50, "tilting_stiffness_n_m_per_mrad": 50}
    return request


def sparse_extreme_request(rng: random.Random) -> dict[str, Any]:
    """Return one with gaps, which assumed values fill."""
    request = extreme_request(rng)
    request.setdefault("policy", {})["unstated"] = rng.choice(("typical", "cautious"))
    stated = list(_numbers(request["stack"]))
    for holder, name in rng.sample(stated, round(len(stated) * rng.uniform(0.1, 0.6))):
        value = holder.pop(name)
        try:
            parse_request(request)
        except BadRequestError:
            holder[name] = value  # it has to be stated
    return request


def extreme_request(rng: random.Random) -> dict[str, Any]:
    """Return one valid request with a few numbers at or near the ends of their range."""
    request = _everything_stated(rng)
    for _ in range(rng.choice((1, 2, 4, 8, 20))):
        if rng.random() < 0.15:
            holder, name = rng.choice(request["stack"]["components"]), rng.choice(_ADDED)
        else:
            holder, name = rng.choice(list(_numbers(request)))
        low, high = bounds()[name]
        smallest = low if low > 0 else 1e-300
        value = rng.choice(
            (
                low,
                high,
                smallest,
                math.exp(rng.uniform(math.log(smallest), math.log(high))),
                holder.get(name, 1.0) * rng.choice(_FACTORS),
            )
        )
        holder[name] = min(high, max(low, value))
        if name == "teeth":
            holder[name] = int(holder[name])
    return request
