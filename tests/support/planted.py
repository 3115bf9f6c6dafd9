"""A library with planted faults: which stack has which fault is known, so a night's audit can be held against it.

Run: python -m tests.support.planted LIBRARY [STACKS]
"""

from __future__ import annotations

import copy
import json
import random
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, TypeAlias

from tests.support.libraries import flawless_request

__all__ = ["EVERY", "FAULTS", "Fault", "Planted", "changed_lines", "planted_library"]

Request: TypeAlias = dict[str, Any]
Kind: TypeAlias = Literal["finding", "undecided", "not judged", "library"]

EVERY: Final = 20
"""One stack in so many has a fault."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A way in which a library goes wrong."""

    name: str
    code: str
    """Rule that must tell; empty for a line that is no request."""
    edit: Callable[[Request], object]
    """Plants it; false where the stack has no place for it."""
    kind: Kind = "finding"


@dataclass(frozen=True, slots=True)
class Planted:
    """A fault and its place."""

    fault: Fault
    line: int
    stack: str


def _components(request: Request) -> list[dict[str, Any]]:
    listed: list[dict[str, Any]] = request["stack"]["components"]
    return listed


def _of_kind(request: Request, kind: str, side: str = "", coupling: str = "") -> dict[str, Any] | None:
    """Return the last component of a kind, with a part number of its own, since it is about to be changed."""
    for one in reversed(_components(request)):
        if one["kind"] == kind and (not side or one.get(side, {}).get("coupling") == coupling):
            one["part_number"] = f"{one['part_number']}-{request['stack']['id'][3:]}"
            return one
    return None


def _machine(name: str, value: object) -> Callable[[Request], object]:
    def edit(request: Request) -> bool:
        request["machine"][name] = value
        return True

    return edit


def _operation(name: str, value: object) -> Callable[[Request], object]:
    def edit(request: Request) -> bool:
        request["operations"][0][name] = value
        return True

    return edit


def _limits(**limits: object) -> Callable[[Request], object]:
    def edit(request: Request) -> bool:
        request["operations"][0]["limits"] |= limits
        return True

    return edit


def _fine_grade(request: Request) -> bool:
    operation, parts = request["operations"][0], request["stack"]["components"]
    mass_kg = _UNSTATED_KG + sum(one.get("mass_kg", 0.0) for one in parts)
    # ISO 21940-11: e·ω = 0.4 mm/s; a slow heavy tool may well keep it
    permissible_g_mm = 0.4 * 9549.3 / operation["spindle_speed_rpm"] * mass_kg
    if parts[0].get("unbalance_g_mm", 0.0) <= permissible_g_mm:
        return False
    operation["limits"]["balance_grade"] = "G0.4"
    return True


_UNSTATED_KG = 1.0
"""More than what parts without a stated mass weigh together."""


def _part(kind: str, change: Callable[[dict[str, Any]], object], side: str = "", coupling: str = "") -> Any:
    def edit(request: Request) -> bool:
        part = _of_kind(request, kind, side, coupling)
        if part is None:
            return False
        change(part)
        return True

    return edit


def _set(name: str, value: object, end: str | None = None) -> Callable[[dict[str, Any]], None]:
    def change(part: dict[str, Any]) -> None:
        (part if end is None else part[end])[name] = value

    return change


def _times(name: str, factor: float, end: str | None = None) -> Callable[[dict[str, Any]], None]:
    def change(part: dict[str, Any]) -> None:
        place = part if end is None else part[end]
        place[name] = round(place[name] * factor, 6)

    return change


def _plus(name: str, more: float, end: str | None = None) -> Callable[[dict[str, Any]], None]:
    def change(part: dict[str, Any]) -> None:
        place = part if end is None else part[end]
        place[name] += more

    return change


def _without(name: str) -> Callable[[dict[str, Any]], None]:
    def change(part: dict[str, Any]) -> None:
        del part[name]

    return change


def _grip(value: float | None, *, beyond: str = "") -> Callable[[Request], object]:
    """Set the grip of the cutting tool, or lay it this much beyond a length of its joint; None leaves it out."""

    def edit(request: Request) -> bool:
        joints = request["stack"].get("joints")
        tool = _components(request)[-1]
        upper = _components(request)[-2]
        if not joints or joints[-1]["lower"] != tool["id"]:
            return False
        if value is None:
            if not upper["workpiece_side"].get("minimum_grip_mm"):
                return False
            joints.pop()
        elif beyond == "depth":
            if upper["workpiece_side"].get("depth_mm", 200) > 60:
                return False
            joints[-1]["grip_length_mm"] = upper["workpiece_side"]["depth_mm"] + value
        elif beyond == "shank":
            joints[-1]["grip_length_mm"] = tool["machine_side"]["length_mm"] + value
        else:
            if not upper["workpiece_side"].get("minimum_grip_mm"):
                return False
            joints[-1]["grip_length_mm"] = value
        return True

    return edit


def _knob(change: Callable[[dict[str, Any]], object]) -> Callable[[Request], object]:
    return _part("retention_knob", change)


def _no_knob(request: Request) -> bool:
    if _components(request)[0]["kind"] != "retention_knob":
        return False
    _components(request).pop(0)
    return True


def _other_spindle(request: Request) -> bool:
    spindle = request["machine"]["spindle"]
    if spindle["coupling"] != "hollow_taper":
        return False
    request["machine"]["spindle"] = {"coupling": "steep_taper", "size": "40", "form": "iso_7388_2_jd"}
    return True


def _through(request: Request) -> bool:
    part = _of_kind(request, "cutter")
    if part is None:
        return False
    part["coolant_through"] = False
    request["operations"][0]["coolant"] = "through"
    return True


def _dry_machine(request: Request) -> bool:
    for one in _components(request):
        if not one.get("coolant_through"):
            return False
    request["machine"]["coolant_through"] = False
    request["operations"][0]["coolant"] = "through"
    return True


def _same_id(request: Request) -> bool:
    first, second = _components(request)[-2:]
    for joint in request["stack"].get("joints", ()):
        if joint["lower"] == second["id"]:
            joint["lower"] = first["id"]
    request["stack"].pop("joints", None)
    second["id"] = first["id"]
    return True


def _swapped(request: Request) -> bool:
    listed = _components(request)
    if len(listed) < 3 or listed[-2]["kind"] != "collet":
        return False
    listed[-2], listed[-1] = listed[-1], listed[-2]
    return True


def _stray_joint(request: Request) -> bool:
    listed = _components(request)
    if len(listed) < 3:
        return False
    request["stack"].setdefault("joints", []).append({"upper": listed[0]["id"], "lower": listed[-1]["id"]})
    return True


def _dangling(request: Request) -> bool:
    last = _components(request)[-1]
    _components(request)[-1] = {
        "kind": "reference",
        "id": last["id"],
        "of": {"from": "request", "key": "KB-NOT-DEFINED"},
    }
    return True


def _coarse_shank(request: Request) -> bool:
    if _components(request)[-2].get("workpiece_side", {}).get("coupling") not in ("shrink_fit", "hydraulic"):
        return False
    tool = _of_kind(request, "cutter", "machine_side", "cylindrical")
    if tool is None:
        return False
    tool["machine_side"]["tolerance"] = "h9"
    return True


def _narrow_collet(request: Request) -> bool:
    collet = _of_kind(request, "collet", "machine_side", "nut_collet")
    if collet is None or collet["workpiece_side"]["nominal_mm"] < 8:
        return False
    collet["workpiece_side"]["nominal_mm"] = 4
    return True


def _cut(**fields: object) -> Callable[[Request], object]:
    def edit(request: Request) -> bool:
        tool = _components(request)[-1]
        if "flute_length_mm" not in tool:
            return False
        diameter = tool["cutting_diameter_mm"]
        cut = {"kind": "milling", "axial_depth_mm": 1.0, "radial_depth_mm": diameter / 4, "work_material": "42crmo4"}
        more = {name: value * tool[str(of)] for name, (value, of) in fields.items()}  # type: ignore[misc]
        request["operations"][0] |= {"cut": cut | more, "feed_per_tooth_mm": 0.03}
        return True

    return edit


def _misspelt(request: Request) -> bool:
    request["operatons"] = request.pop("operations")
    return True


def _two_sets(request: Request) -> bool:
    """Change the mass of a part under its own number, by so little that no other rule cares."""
    for one in reversed(_components(request)):
        if one["kind"] == "base_holder":
            one["mass_kg"] = round(one["mass_kg"] * 1.004, 6)
            return True
    return False


FAULTS: Final[tuple[Fault, ...]] = (
    Fault("grip too short", "GRIP-010", _grip(4.0)),
    Fault("grip deeper than the bore", "GRIP-040", _grip(6.0, beyond="depth")),
    Fault("flutes clamped", "GRIP-050", _grip(3.0, beyond="shank")),
    Fault(
        "shank too large",
        "BOR-010",
        _part("base_holder", _plus("diameter_mm", -1, "workpiece_side"), "workpiece_side", "shrink_fit"),
    ),
    Fault(
        "shank too small",
        "BOR-020",
        _part("base_holder", _plus("diameter_mm", 1, "workpiece_side"), "workpiece_side", "hydraulic"),
    ),
    Fault("coarse shank", "SHK-010", _coarse_shank),
    Fault(
        "plain shank in a side lock",
        "SID-010",
        _part("base_holder", _set("flat", "inclined_flat", "workpiece_side"), "workpiece_side", "side_lock"),
    ),
    Fault("shank outside the collet", "COL-010", _narrow_collet),
    Fault(
        "collet of another size",
        "COL-040",
        _part("collet", _set("size", "40", "machine_side"), "machine_side", "nut_collet"),
    ),
    Fault(
        "press-in collet of another series",
        "COL-050",
        _part("collet", _set("designation", "KB-press-99", "machine_side"), "machine_side", "press_collet"),
    ),
    Fault("runout limit out of reach", "RUN-010", _limits(runout={"tir_um": 1})),
    Fault("spindle overspeed", "SPD-030", _machine("max_speed_rpm", 300)),
    Fault("part overspeed", "SPD-010", _part("base_holder", _set("max_speed_rpm", 300))),
    Fault("balance grade out of reach", "SPD-020", _fine_grade),
    Fault("too heavy for the machine", "MCH-010", _machine("max_tool_mass_kg", 0.3)),
    Fault("too long for the machine", "MCH-020", _machine("max_tool_length_mm", 40)),
    Fault("too wide for the machine", "MCH-030", _machine("max_tool_diameter_mm", 30)),
    Fault("too much for the changer", "MCH-040", _machine("max_tilting_moment_n_m", 0.01)),
    Fault("knob missing", "KNOB-010", _no_knob),
    Fault("knob of another form", "KNOB-020", _knob(_set("form", "iso_7388_3_ad"))),
    Fault("knob of another thread", "KNOB-030", _knob(_set("thread", "M12"))),
    Fault("another spindle", "SPN-010", _other_spindle),
    Fault("coolant path closed", "COOL-010", _through),
    Fault("machine without coolant", "COOL-020", _dry_machine),
    Fault("component id twice", "STK-040", _same_id),
    Fault("components out of order", "STK-010", _swapped),
    Fault("joint of no neighbours", "STK-050", _stray_joint),
    Fault("part not defined", "REF-010", _dangling),
    Fault("runout of zero", "PLA-230", _part("cutter", _set("runout", {"statements": [{"tir_um": 0, "at_mm": 18}]}))),
    Fault("mass ten times too large", "PLA-290", _part("base_holder", _times("mass_kg", 10))),
    Fault("outline and length contradict", "PLA-090", _part("base_holder", _times("gauge_length_mm", 2))),
    Fault("radial depth beyond the tool", "CUT-010", _cut(radial_depth_mm=(1.5, "cutting_diameter_mm"))),
    Fault("axial depth beyond the flutes", "CUT-020", _cut(axial_depth_mm=(1.4, "flute_length_mm"))),
    Fault("runout not stated", "RUN-010", _part("base_holder", _without("runout")), "undecided"),
    Fault("grip not stated", "GRIP-010", _grip(None), "undecided"),
    Fault("mass not stated", "MCH-010", _part("base_holder", _without("mass_kg")), "undecided"),
    Fault("unbalance not stated", "SPD-020", _part("base_holder", _without("unbalance_g_mm")), "undecided"),
    Fault("field misspelt", "", _misspelt, "not judged"),
    Fault("stack id used before", "AUD-010", bool, "library"),
    Fault("part number with other data", "LIB-010", _two_sets, "library"),
)


def _base(seed: int, number: int, attempt: int) -> Request:
    return flawless_request(random.Random(f"{seed} {number} {attempt}"), number)


def planted_library(stacks: int, seed: int = 1, every: int = EVERY) -> tuple[list[bytes], list[Planted]]:
    """Return the lines of a library and its faults; each kind comes in turn."""
    lines: list[bytes] = []
    planted: list[Planted] = []
    for number in range(stacks):
        request = _base(seed, number, 0)
        if number % every == every // 2:
            fault = FAULTS[number // every % len(FAULTS)]
            request = _with_fault(fault, seed, number)
            if fault.code == "AUD-010":
                request["stack"]["id"] = json.loads(lines[number - 3])["stack"]["id"]
            planted.append(Planted(fault, number + 1, request["stack"]["id"]))
        lines.append(json.dumps(request, separators=(",", ":")).encode() + b"\n")
    return lines, planted


def _with_fault(fault: Fault, seed: int, number: int) -> Request:
    for attempt in range(1, 200):
        request = copy.deepcopy(_base(seed, number, attempt))
        if fault.edit(request):
            return request
    raise AssertionError(fault.name)


def changed_lines(
    lines: list[bytes], seed: int, number: int = 50, every: int = EVERY
) -> tuple[list[bytes], dict[str, str]]:
    """Return the library with so many stacks changed and all lines in another order, and the code that each must show.

    Half of the changes plant a runout limit out of reach, half a speed beyond the machine.
    """
    rng = random.Random(seed)
    made = list(lines)
    expected: dict[str, str] = {}
    places = [place for place in range(len(made)) if place % every == 1]
    for turn, place in enumerate(sorted(rng.sample(places, number))):
        request = json.loads(made[place])
        code = "RUN-010" if turn % 2 else "SPD-030"
        (_limits(runout={"tir_um": 1}) if turn % 2 else _machine("max_speed_rpm", 300))(request)
        expected[request["stack"]["id"]] = code
        made[place] = json.dumps(request, separators=(",", ":")).encode() + b"\n"
    rng.shuffle(made)
    return made, expected


def main() -> None:
    """Write a library from the command line."""
    lines, planted = planted_library(int(sys.argv[2]) if len(sys.argv) > 2 else 20_000)
    Path(sys.argv[1]).write_bytes(b"".join(lines))
    print(f"{len(lines)} stacks, {len(planted)} faults of {len({one.fault.name for one in planted})} kinds")


if __name__ == "__main__":
    main()
