"""Inventories for searches: parts of the invented shop, and random ones with missing fields and changed sizes."""

from __future__ import annotations

import copy
import random
from typing import Any

from rules.schema.parsing import BadRequestError, parse
from rules.schema.search import SearchRequest
from tests.support.operations import operation_of
from tests.support.toolroom_parts import SPINDLES, parts

__all__ = ["large_shelf", "random_search", "shelf"]

_CORES = {
    "HT63": [
        ["KB-HT63-press-12-075", "KB-press-12-8", "KB-EM8-4"],
        ["KB-HT63-press-25-075", "KB-press-25-16", "KB-X16-060-press-12", "KB-press-12-8", "KB-EM8-4"],
        ["KB-HT63-N25-070", "KB-N25-16", "KB-X16-060-S08", "KB-EM8L-4"],
        ["KB-HT63-S08-085", "KB-HT63-L06-065", "KB-EM8L-4", "KB-EM6F-3"],
    ],
    "ST40": [
        ["KB-ST40-press-12-075", "KB-press-12-8", "KB-EM8-4", "KB-RK-40JD"],
        ["KB-ST40-press-25-075", "KB-press-25-16", "KB-X16-060-S08", "KB-EM8-4", "KB-RK-40JD"],
    ],
}
"""Parts that form a stack."""

_EXTRAS = {
    "HT63": [
        "KB-HT63-press-12-100", "KB-HT63-N25-100", "KB-HT63-S08-120", "KB-HT63-H12-080",
        "KB-press-12-6", "KB-press-25-8", "KB-N25-8",
        "KB-X16-060-press-12", "KB-X16-060-S08", "KB-EM8-4", "KB-EM8F-4", "KB-EM6F-3",
    ],
    "ST40": [
        "KB-ST40-press-12-100", "KB-ST40-S08-085", "KB-press-12-6", "KB-X16-060-press-12", "KB-EM8L-4", "KB-RK-OTHER",
    ],
}  # fmt: skip
"""Further parts."""

_DROPPED = (
    "depth_mm", "length_mm", "minimum_grip_mm", "tolerance", "form", "size", "designation", "overall_length_mm",
    "gauge_length_mm", "profile", "runout", "mass_kg", "max_speed_rpm", "clamping_min_mm", "cutting_diameter_mm",
    "coolant_through", "machine_side", "workpiece_side", "flute_length_mm", "diameter_mm",
)  # fmt: skip


def shelf(*keys: str) -> dict[str, Any]:
    """Return parts of the shop by part number, each with its own name."""
    shop = parts()
    other = {**shop["KB-RK-40JD"], "part_number": "KB-RK-OTHER", "form": "iso_7388_3_ad"}
    shop = {**shop, "KB-RK-OTHER": other}
    return {key: {**copy.deepcopy(shop[key]), "id": f"n{place}"} for place, key in enumerate(keys)}


def large_shelf(count: int) -> dict[str, Any]:
    """Return this many different parts: those of the shop, and longer ones; more cutting tools than anything else."""
    shop = parts()
    made: dict[str, Any] = {}
    for again in range(count):
        keys = list(shop)
        random.Random(again).shuffle(keys)
        for key in keys:
            lengths = range(4 * again, 4 * again + 4) if shop[key]["kind"] == "cutter" else [again]
            for longer in lengths:
                made[f"{key}-L{longer}" if longer else key] = _longer(shop[key], 5.0 * longer) | {"id": f"n{len(made)}"}
                if len(made) == count:
                    return made
    return made


def _longer(part: dict[str, Any], by_mm: float) -> dict[str, Any]:
    part = copy.deepcopy(part)
    for name in ("overall_length_mm", "gauge_length_mm"):
        if name in part:
            part[name] += by_mm
    if part["kind"] != "collet" and part.get("profile"):
        part["profile"][-1]["length_mm"] += by_mm
    return part


def random_search(rng: random.Random) -> dict[str, Any]:
    """Return a valid search of a small random inventory."""
    while True:
        request = _random(rng)
        try:
            parse(SearchRequest, request)
        except BadRequestError:
            continue
        return request


def _random(rng: random.Random) -> dict[str, Any]:
    spindle = rng.choice(["HT63", "HT63", "ST40"])
    core = rng.choice(_CORES[spindle])
    keys = sorted({*core, *rng.sample(_EXTRAS[spindle], rng.randint(1, 3))})
    rng.shuffle(keys)
    components = shelf(*keys)
    for _ in range(rng.choice([0, 0, 0, 1, 2])):
        _change(rng, components[rng.choice(keys)])
    requirement: dict[str, Any] = {"max_components": rng.choice([3, 4, 4] if len(keys) > 6 else [4, 5, 5])}
    if rng.random() < 0.5:
        face = rng.random() < 0.3
        low = rng.choice([20, 25, 30, 42.1234] if face else [80, 120, 150, 165.4321])
        requirement["projection"] = {"at_least_mm": low} | ({"at_most_mm": low + 40} if rng.random() < 0.5 else {})
        if face:
            requirement["projection"]["datum"] = "last_clamping_face"
    if rng.random() < 0.4:
        requirement["clearance"] = [
            {"from_mm": rng.choice([0, 0, 20]), "to_mm": rng.choice([20.1, 30.1, 60.1]), "radius_mm": radius}
            for radius in rng.sample([4.05, 8.05, 16.05, 22.05, 32.05], rng.randint(1, 2))
        ]
    if rng.random() < 0.6:
        requirement["grip"] = rng.choice(["longest", "shortest", "to_reach"])
    request: dict[str, Any] = {"components": components, "requirement": requirement}
    if rng.random() < 0.5:
        request["stock"] = {key: rng.choice([0, 1, 2, 2]) for key in rng.sample(keys, 2)}
    if rng.random() < 0.7:
        request["machine"] = SPINDLES[spindle].machine
    if rng.random() < 0.7:
        request["operations"] = [operation_of({
            "spindle_speed_rpm": rng.choice([6000, 11000, 16000]), "runout_limit_um": rng.choice([15, 60])
        })]  # fmt: skip
    if rng.random() < 0.3:
        request["accept"] = "pass"
    return request


def _change(rng: random.Random, part: dict[str, Any]) -> None:
    place = part
    if rng.random() < 0.5 and (ends := [end for end in ("machine_side", "workpiece_side") if end in part]):
        place = part[rng.choice(ends)]
    name = rng.choice(sorted(place))
    if name in _DROPPED and rng.random() < 0.8:
        del place[name]
    elif isinstance(place[name], int | float) and not isinstance(place[name], bool):
        place[name] *= rng.choice([0.5, 0.9, 1.1, 2])
