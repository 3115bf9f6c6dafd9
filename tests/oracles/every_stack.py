"""All sequences of an inventory, built and judged one by one: the expected result of a search, without pruning.

Works on the JSON of the request and on the reports of checks; it has only the check in common with the search.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from itertools import product
from typing import Any, TypeAlias

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.report import Report

__all__ = ["Found", "every_order", "every_stack"]

Found: TypeAlias = dict[tuple[str, ...], tuple[str, tuple[float, ...]]]
"""By the keys from the spindle side: the verdict, and the grip lengths from the spindle side."""

CUTTING_TOOLS = ("cutter", "drill", "tap", "reamer", "boring_tool")

_INSERTED = ("cylindrical",)
_GRIPS = ("cylindrical", "side_lock", "shrink_fit", "hydraulic", "milling_chuck", "collet_bore")
_DIN_6535 = {
    2: 28, 3: 28, 4: 28, 5: 28, 6: 36, 8: 36, 10: 40, 12: 45, 14: 45, 16: 48, 18: 48, 20: 50, 25: 56, 32: 60,
}  # fmt: skip


def every_order(request: dict[str, Any]) -> Iterator[tuple[str, ...]]:
    """Yield every order of parts that ends with a wanted tool, with each of the knobs that may go with it."""
    parts, requirement = request["components"], request.get("requirement", {})
    quantity = {key: request.get("stock", {}).get(key, 1) for key in parts}
    loose = sorted(key for key, part in parts.items() if part["kind"] != "retention_knob" and quantity[key])
    knobs = sorted(key for key, part in parts.items() if part["kind"] == "retention_knob" and quantity[key])
    wanted = requirement.get("cutters") or [key for key, part in parts.items() if part["kind"] in CUTTING_TOOLS]
    tools = [key for key in loose if key in wanted and parts[key]["kind"] in ("cutter", "gauge_pin")]
    for length in range(2, requirement.get("max_components", 5) + 1):
        for above in product(loose, repeat=length - 1):
            for tool in tools:
                order = (*above, tool)
                if all(count <= quantity[key] for key, count in Counter(order).items()):
                    yield from ((*order, *knob) for knob in _knobs(parts[order[0]], request, knobs))


def _knobs(first: dict[str, Any], request: dict[str, Any], knobs: list[str]) -> list[tuple[str, ...]]:
    side = first.get("machine_side") or {}
    demanded = (request.get("machine") or {}).get("retention_knob") is not None
    if demanded and first["kind"] == "base_holder" and side.get("coupling") == "steep_taper":
        return [(), *((knob,) for knob in knobs)]
    return [()]


def every_stack(request: dict[str, Any], assessor: Assessor) -> Found:
    """Return every stack that is kept."""
    found: Found = {}
    for order in every_order(request):
        verdict, grips = _judged(order, request, assessor)
        if verdict == "pass" or (verdict == "review" and request.get("accept") != "pass"):
            found[order] = (verdict, grips)
    return found


def _judged(order: tuple[str, ...], request: dict[str, Any], assessor: Assessor) -> tuple[str, tuple[float, ...]]:
    requirement = request.get("requirement", {})
    ranges = {place: it for place in range(len(order) - 1) if (it := _range(order, place, request)) is not None}
    setting = requirement.get("grip", "to_reach")
    grips = {place: low if setting == "shortest" else high for place, (low, high) in ranges.items()}
    report = _report(order, grips, request, assessor)
    wanted = requirement.get("projection") or {}
    reached = _reached(report, wanted)
    short = 0.0 if reached is None else wanted.get("at_least_mm", 0.0) - reached
    if setting == "to_reach" and short > 0:
        last = max(place for place in range(len(order)) if request["components"][order[place]]["kind"] != _KNOB) - 1
        for place in sorted(grips) if wanted.get("datum") != "last_clamping_face" else [last]:
            if place in ranges and short > 1e-9:
                low, high = ranges[place]
                drawn = min(high - low, math.ceil(short * 10_000 - 1e-6) / 10_000)
                grips[place] = high - drawn
                short -= drawn
        report = _report(order, grips, request, assessor)
        reached = _reached(report, wanted)
    lengths = tuple(round(grips[place], 4) for place in sorted(grips))
    return _verdict(report, reached, order, request), lengths


_KNOB = "retention_knob"


def _range(order: tuple[str, ...], place: int, request: dict[str, Any]) -> tuple[float, float] | None:
    upper, lower = (request["components"][key] for key in order[place : place + 2])
    side, shank = upper.get("workpiece_side") or {}, lower.get("machine_side") or {}
    if lower["kind"] == _KNOB or shank.get("coupling") not in _INSERTED or side.get("coupling") not in _GRIPS:
        return None
    outline = sum(piece["length_mm"] for piece in lower.get("profile") or ())
    overall = lower.get("overall_length_mm") or outline or None
    length = shank.get("length_mm") or (overall if lower["kind"] == "gauge_pin" else None)
    collet = side["coupling"] == "collet_bore"
    if collet:
        usual = None if side.get("length_mm") is None else math.ceil(0.6667 * side["length_mm"] * 10_000) / 10_000
    else:
        usual = _DIN_6535.get(shank.get("diameter_mm"))
    room = [it for it in (side.get("depth_mm"), length) if it is not None]
    if not room:
        room = [it for it in ((side.get("length_mm") if collet else usual),) if it is not None]
    if not room:
        return None
    high = min(it for it in (*room, overall) if it is not None)
    minimum = max((side.get("minimum_grip_mm") or 0.0, shank.get("minimum_grip_mm") or 0.0)) or usual
    return (high if minimum is None else min(minimum, high)), high


def _report(order: tuple[str, ...], grips: dict[int, float], request: dict[str, Any], assessor: Assessor) -> Report:
    names = [f"p{place}" for place in range(len(order))]
    components = [{**request["components"][key], "id": name} for key, name in zip(order, names, strict=True)]
    joints = [
        {"upper": names[place], "lower": names[place + 1], "grip_length_mm": grip} for place, grip in grips.items()
    ]
    told = {name: request[name] for name in ("operations", "machine", "policy") if name in request}
    return assessor.assess(parse_request({"stack": {"components": components, "joints": joints}, **told}))


def _reached(report: Report, wanted: dict[str, Any]) -> float | None:
    tip = report.geometry.tip_mm
    if wanted.get("datum") != "last_clamping_face" or tip is None:
        return tip
    face = report.geometry.last_clamping_face_mm
    return None if face is None else tip - face


def _verdict(report: Report, reached: float | None, order: tuple[str, ...], request: dict[str, Any]) -> str:
    requirement = request.get("requirement", {})
    wanted, known = requirement.get("projection"), True
    if wanted is not None:
        known = reached is not None
        low, high = wanted.get("at_least_mm", -math.inf), wanted.get("at_most_mm", math.inf)
        if reached is not None and not low - 2e-4 <= reached <= high + 2e-4:
            return "fail"
    if requirement.get("clearance"):
        clear = _clear(report, order, request)
        if clear is False:
            return "fail"
        known = known and clear is not None
    return "review" if report.verdict == "pass" and not known else report.verdict


def _clear(report: Report, order: tuple[str, ...], request: dict[str, Any]) -> bool | None:
    """Sample the outline along each zone: whether all is clear, or None where that can't be told."""
    tip = report.geometry.tip_mm
    if tip is None:
        return None
    known, face = True, 0.0
    for key, place in zip(order, report.geometry.components, strict=False):
        part = request["components"][key]
        for zone in request["requirement"]["clearance"]:
            start, end = zone.get("from_mm", 0.0), zone["to_mm"]
            if end <= start:
                continue
            stations = [start + (end - start) * (n + 0.5) / 4000 for n in range(4000)]
            radii = [_radius(part, place.to_mm, tip - station) for station in stations]
            if any(radius is not None and radius > zone["radius_mm"] for radius in radii):
                return False
            flutes = part.get("flute_length_mm") or 0.0
            cuts = part["kind"] in CUTTING_TOOLS and (start == 0 or start < flutes)
            if cuts and (part.get("cutting_diameter_mm") or 0.0) / 2 > zone["radius_mm"]:
                return False
            if not _has_outline(part) or (place.to_mm is None and part["kind"] != "base_holder"):
                flush = part["kind"] == "collet" and not part.get("face_projection_mm")
                lies = face is None or place.to_mm is None or (face < tip - start and place.to_mm > tip - end)
                known = known and (flush or not lies)
        face = place.to_mm
    return True if known else None


def _has_outline(part: dict[str, Any]) -> bool:
    profile = part.get("profile") or ()
    return bool(profile) and all(
        min(it["outer_mm"], it.get("outer_end_mm") or it["outer_mm"]) - (it.get("bore_mm") or 0.0) >= 2e-5
        for it in profile
    )


def _radius(part: dict[str, Any], face: float | None, at: float) -> float | None:
    if not _has_outline(part):
        return None
    length = sum(piece["length_mm"] for piece in part["profile"])
    if part["kind"] == "base_holder":
        start = 0.0
    elif face is None:
        return None
    else:
        start = face - length
    for piece in part["profile"]:
        end = start + piece["length_mm"]
        if start <= at <= end:
            first, last = piece["outer_mm"], piece.get("outer_end_mm") or piece["outer_mm"]
            return (first + (last - first) * (at - start) / (end - start)) / 2
        start = end
    return None
