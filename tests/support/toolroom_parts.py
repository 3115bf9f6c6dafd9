"""A few hundred parts of an invented shop, the Kestrel Bay Toolroom, by part number.

Sizes are common practice, from memory; part numbers and all other figures are invented.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, TypeAlias

__all__ = [
    "PRESS_RANGES",
    "SHANK_LENGTHS",
    "SPINDLES",
    "Part",
    "Spindle",
    "old_card",
    "parts",
]

Part: TypeAlias = dict[str, Any]

STEEL_KG_M3: Final = 7850.0
CARBIDE_KG_M3: Final = 14500.0


@dataclass(frozen=True, slots=True)
class Spindle:
    """Taper of a spindle, and the part of a holder behind the gauge line."""

    name: str
    taper: dict[str, Any]
    flange_mm: float
    flange_length_mm: float
    taper_kg: float
    machine: dict[str, Any]


def _machine(
    name: str, taper: dict[str, Any], speed: int, mass: float, length: int, diameter: int, **more: Any
) -> Part:
    return {
        "kind": "stated",
        "id": name,
        "spindle": taper,
        "max_speed_rpm": speed,
        "max_tool_mass_kg": mass,
        "max_tool_length_mm": length,
        "max_tool_diameter_mm": diameter,
        "coolant_through": True,
        **more,
    }


_HT63: Final = {"coupling": "hollow_taper", "size": "63", "form": "A"}
_HT100: Final = {"coupling": "hollow_taper", "size": "100", "form": "A"}
_ST40: Final = {"coupling": "steep_taper", "size": "40", "form": "iso_7388_2_jd"}
_KNOB: Final = {"retention_knob": {"form": "iso_7388_3_jd"}}

SPINDLES: Final = {
    "HT63": Spindle("HT63", _HT63, 63, 26, 0.35, _machine("mill 1", _HT63, 18000, 8, 320, 85)),
    "HT100": Spindle("HT100", _HT100, 100, 29, 1.3, _machine("mill 3", _HT100, 12000, 20, 500, 130)),
    "ST40": Spindle("ST40", _ST40, 63, 27, 0.45, _machine("mill 2", _ST40, 12000, 7, 300, 85, **_KNOB)),
}

SHANK_LENGTHS: Final = {
    3: 28,
    4: 28,
    5: 28,
    6: 36,
    8: 36,
    10: 40,
    12: 45,
    14: 45,
    16: 48,
    18: 48,
    20: 50,
    25: 56,
}
"""Lengths of straight shanks by diameter, mm; DIN 6535 from memory."""

PRESS_RANGES: Final = {"press-12": (3, 8), "press-16": (4, 10), "press-25": (6, 16), "press-40": (12, 25)}
"""Smallest and largest shank of the shop's press-in collets by their seat, mm."""

_PRESS_OUTER: Final = {"press-12": 24, "press-16": 32, "press-25": 44, "press-40": 62}
_NUT_RANGES: Final = {"16": (3, 10), "20": (4, 12), "25": (6, 16), "32": (6, 20)}
_NUT_OUTER: Final = {"16": 32, "20": 35, "25": 42, "32": 50}
_NUT_LENGTHS: Final = {"16": 27.5, "20": 31.5, "25": 34.0, "32": 40.0}
_PILOTS: Final = {16: (34, 40), 22: (48, 50), 27: (60, 63), 32: (78, 80)}
"""Outer diameter of the arbor and of its cutter, by pilot diameter, mm."""


@cache
def parts() -> dict[str, Part]:
    """Return every part by its part number; callers must not change them."""
    made: dict[str, Part] = {}
    for part in (*_holders(), *_collets(), *_extensions(), *_end_mills(), *_shell_mills(), _knob()):
        key = part["part_number"]
        assert key not in made, key
        made[key] = part
    return made


def old_card(part: Part, lost: str) -> Part:
    """Return a part as on an old card of the shop, with one field missing; its number shows that."""
    return {name: value for name, value in part.items() if name != lost} | {"part_number": f"{part['part_number']}-OLD"}


def _mass(profile: list[dict[str, Any]], density: float) -> float:
    return math.fsum(
        density * 1e-9 * math.pi / 4 * piece["length_mm"] * (piece["outer_mm"] ** 2 - piece.get("bore_mm", 0) ** 2)
        for piece in profile
    )


def _holder(spindle: Spindle, sign: str, gauge: int, socket: dict[str, Any], outer: float, bore: float) -> Part:
    flange = {"length_mm": spindle.flange_length_mm, "outer_mm": spindle.flange_mm, "bore_mm": 10}
    nose = {"length_mm": gauge - spindle.flange_length_mm, "outer_mm": outer, "bore_mm": bore}
    profile = [flange, nose]
    mass = spindle.taper_kg + _mass(profile, STEEL_KG_M3)
    slow = socket["coupling"] in ("side_lock", "shell_mill_arbor")
    return {
        "kind": "base_holder",
        "part_number": f"KB-{spindle.name}-{sign}-{gauge:03}",
        "machine_side": spindle.taper,
        "workpiece_side": socket,
        "gauge_length_mm": gauge,
        "profile": profile,
        "material": "steel",
        "mass_kg": round(mass, 3),
        "centre_of_mass_mm": round(0.28 * gauge, 1),
        "unbalance_g_mm": round(mass * (4.0 if slow else 1.5), 2),
        "max_speed_rpm": 12000 if slow else 20000,
        "runout": {"statements": [{"tir_um": 3, "at_mm": 0}, {"tir_um": 3 + gauge // 60, "at_mm": gauge // 2}]},
        "coolant_through": True,
    }


def _holders() -> Iterator[Part]:
    for spindle in SPINDLES.values():
        for seat, outer in _PRESS_OUTER.items():
            for gauge in (75, 100, 130, 160):
                yield _holder(spindle, seat, gauge, _press(seat), outer, outer * 0.55)
        for size, outer in _NUT_OUTER.items():
            for gauge in (70, 100, 130):
                yield _holder(spindle, f"N{size}", gauge, {"coupling": "nut_collet", "size": size}, outer, outer * 0.5)
        for bore in (6, 8, 10, 12, 16, 20):
            for gauge in (85, 120, 160):
                yield _holder(spindle, f"S{bore:02}", gauge, _shrink(bore), 1.2 * bore + 14, bore) | {"yield_mpa": 1100}
        for bore in (12, 20):
            for gauge in (80, 110):
                yield _holder(spindle, f"H{bore:02}", gauge, _fixed("hydraulic", bore, "H6"), bore + 22, bore)
        for bore in (6, 8, 10, 12, 16, 20, 25):
            for gauge in (65, 100):
                socket = _fixed("side_lock", bore, "H5") | {"flat": "side_lock_flat"}
                yield _holder(spindle, f"L{bore:02}", gauge, socket, 1.2 * bore + 20, bore)
        for pilot, (outer, _) in _PILOTS.items():
            for gauge in (50, 100):
                arbor = {"coupling": "shell_mill_arbor", "pilot_diameter_mm": pilot, "drive": "keys"}
                yield _holder(spindle, f"A{pilot}", gauge, arbor, outer, 12)


def _press(seat: str) -> dict[str, Any]:
    return {"coupling": "press_collet", "designation": f"KB-{seat}"}


def _fixed(coupling: str, bore: int, tolerance: str) -> dict[str, Any]:
    length = SHANK_LENGTHS[bore]
    return {
        "coupling": coupling,
        "diameter_mm": bore,
        "tolerance": tolerance,
        "depth_mm": length + 6,
        "minimum_grip_mm": round(0.75 * length),
    }


def _shrink(bore: int) -> dict[str, Any]:
    socket = _fixed("shrink_fit", bore, "H6")
    del socket["tolerance"]
    lower = -round(12 + 1.7 * bore)
    return socket | {"deviation": {"lower_um": lower, "upper_um": lower + 8}}


def _collets() -> Iterator[Part]:
    for seat, (least, most) in PRESS_RANGES.items():
        for bore in (size for size in SHANK_LENGTHS if least <= size <= most):
            grip = round(0.72 * SHANK_LENGTHS[bore])
            press = {"clamping_min_mm": bore, "clamping_max_mm": bore, "length_mm": grip + 4, "minimum_grip_mm": grip}
            yield _collet(f"{seat}-{bore}", _press(seat), press, 3, 3 * bore, most)
    for size, (least, most) in _NUT_RANGES.items():
        for bore in (nominal for nominal in SHANK_LENGTHS if least <= nominal <= most):
            clamp: Part = {"nominal_mm": bore, "length_mm": _NUT_LENGTHS[size]}
            yield _collet(f"N{size}-{bore}", {"coupling": "nut_collet", "size": size}, clamp, 10, 3 * bore, most)


def _collet(sign: str, seat: dict[str, Any], clamp: dict[str, Any], tir: int, at: int, size: int) -> Part:
    return {
        "kind": "collet",
        "part_number": f"KB-{sign}",
        "machine_side": seat,
        "workpiece_side": {"coupling": "collet_bore", **clamp, "depth_mm": 90},
        "mass_kg": round(0.00045 * size**2, 4),
        "unbalance_g_mm": round(0.006 * size, 3),
        "runout": {"statements": [{"tir_um": tir, "at_mm": at}]},
        "coolant_through": True,
    }


def _extensions() -> Iterator[Part]:
    for shank in (12, 16, 20, 25):
        for reach in (60, 100):
            for sign, socket, bore in _extension_sockets(shank):
                length = SHANK_LENGTHS[shank]
                profile: list[Part] = [
                    {"length_mm": length, "outer_mm": shank, "bore_mm": 4},
                    {"length_mm": reach, "outer_mm": shank, "bore_mm": bore},
                ]
                yield {
                    "kind": "extension",
                    "part_number": f"KB-X{shank}-{reach:03}-{sign}",
                    "machine_side": _shank(shank),
                    "workpiece_side": socket,
                    "overall_length_mm": length + reach,
                    "material": "steel",
                    "profile": profile,
                    "unbalance_g_mm": round(0.4 * _mass(profile, STEEL_KG_M3), 3),
                    "max_speed_rpm": 22000,
                    "runout": {"statements": [{"tir_um": 3, "at_mm": 0}]},
                    "coolant_through": True,
                    "yield_mpa": 1100,
                }


def _extension_sockets(shank: int) -> Iterator[tuple[str, dict[str, Any], float]]:
    if shank in (16, 25):
        seat = "press-12" if shank == 16 else "press-16"
        yield seat, _press(seat), 0.55 * shank
    bore = {12: 6, 16: 8, 20: 10, 25: 12}[shank]
    yield f"S{bore:02}", _shrink(bore), bore


def _shank(diameter: int, form: str = "plain") -> dict[str, Any]:
    return {
        "coupling": "cylindrical",
        "diameter_mm": diameter,
        "tolerance": "h6",
        "form": form,
        "length_mm": SHANK_LENGTHS[diameter],
    }


def _end_mills() -> Iterator[Part]:
    for diameter, shank in SHANK_LENGTHS.items():
        for sign, flutes in (("", 2.2), ("L", 4.0)):
            for form in ("plain", "side_lock_flat") if diameter >= 6 else ("plain",):
                flute = round(flutes * diameter)
                overall = shank + flute + 4 + diameter // 2
                profile: list[Part] = [{"length_mm": overall, "outer_mm": diameter}]
                yield {
                    "kind": "cutter",
                    "part_number": f"KB-EM{diameter}{sign}{'F' if form != 'plain' else ''}-{3 if diameter < 8 else 4}",
                    "machine_side": _shank(diameter, form),
                    "material": "cemented_carbide",
                    "overall_length_mm": overall,
                    "profile": profile,
                    "cutting_diameter_mm": diameter,
                    "flute_length_mm": flute,
                    "teeth": 3 if diameter < 8 else 4,
                    "helix_angle_deg": 35,
                    "unbalance_g_mm": round(0.4 * _mass(profile, CARBIDE_KG_M3), 4),
                    "max_speed_rpm": 300000 // diameter,
                    "runout": {"statements": [{"tir_um": 4, "at_mm": 3 * diameter}]},
                    "coolant_through": diameter >= 6 and sign == "",
                }


def _shell_mills() -> Iterator[Part]:
    for pilot, (outer, cutting) in _PILOTS.items():
        for teeth in (cutting // 13, cutting // 10):
            profile: list[Part] = [{"length_mm": 45, "outer_mm": outer, "bore_mm": pilot}]
            yield {
                "kind": "cutter",
                "part_number": f"KB-SM{cutting}-{teeth}",
                "machine_side": {"coupling": "shell_mill_arbor", "pilot_diameter_mm": pilot, "drive": "keys"},
                "gauge_length_mm": 45,
                "material": "tool_steel",
                "mass_kg": round(_mass(profile, STEEL_KG_M3), 3),
                "centre_of_mass_mm": 22,
                "cutting_diameter_mm": cutting,
                "teeth": teeth,
                "unbalance_g_mm": 0.2 * cutting,
                "max_speed_rpm": 600000 // cutting,
                "runout": {"character": "offset", "statements": [{"tir_um": 10, "at_mm": 45}]},
                "coolant_through": True,
                "profile": profile,
            }


def _knob() -> Part:
    return {
        "kind": "retention_knob",
        "part_number": "KB-RK-40JD",
        "form": "iso_7388_3_jd",
        "thread": "M16",
        "mass_kg": 0.09,
        "coolant_through": True,
    }
