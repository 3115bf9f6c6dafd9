"""Work orders with a known decision of the gate: one base with a few changes."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Final

from rules.gate.gate import gate
from rules.grip.analysis import usual_torque
from rules.rulebook.loader import base_request
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import parse
from tests.support.operations import change, drop
from tests.support.stacks import assessor

Change = Callable[[dict[str, Any]], object]
"""A change of a check request, in place."""


def _pin_for_cutter(check: dict[str, Any]) -> None:
    part = check["stack"]["components"][4]
    for field in ("cutting_diameter_mm", "flute_length_mm", "teeth"):
        del part[field]
    part["kind"] = "gauge_pin"


def _declared(check: dict[str, Any]) -> None:
    side = {"coupling": "declared", "designation": "KB own", "diameter_mm": 12, "tolerance": "H6"}
    parts = check["stack"]["components"]
    parts[2]["workpiece_side"] = side | {"gender": "female"}
    parts[3]["machine_side"] = side | {"gender": "male", "tolerance": "h6"}


def _slender(check: dict[str, Any]) -> None:
    """An extension so long that its critical speed with an assumed spindle is near."""
    part = check["stack"]["components"][2]
    part["profile"][1]["length_mm"], part["overall_length_mm"] = 235, 295
    check["machine"].update(max_tool_length_mm=400, max_tilting_moment_n_m=40)


def _drill(check: dict[str, Any]) -> None:
    check["stack"]["components"][4].update(kind="drill", teeth=2, point_angle_deg=140)


def _cutting_speed(check: dict[str, Any]) -> None:
    drop(check["operations"][0], "spindle_speed_rpm")
    change(check["operations"][0], {"cutting_speed_m_per_min": 200})


CHANGES: Final[Mapping[str, Change]] = MappingProxyType(
    {
        "good": lambda _: None,
        "cutting speed": _cutting_speed,
        "advice": lambda check: change(check["operations"][0], {"feed_per_tooth_mm": 0.1}),
        "warning": lambda check: check["stack"]["components"][2].update(overall_length_mm=160),
        "undecided": lambda check: check["stack"]["components"][1].pop("runout"),
        "error": lambda check: change(check["operations"][0], {"spindle_speed_rpm": 15500}),
        "no machine": lambda check: check.pop("machine"),
        "no spindle": lambda check: check["machine"].pop("spindle"),
        "no speed": lambda check: drop(check["operations"][0], "spindle_speed_rpm"),
        "no runout limit": lambda check: drop(check["operations"][0], "runout_limit_um"),
        "no balance grade": lambda check: drop(check["operations"][0], "balance_grade"),
        "no machine speed": lambda check: check["machine"].pop("max_speed_rpm"),
        "no operation": lambda check: check.pop("operations"),
        "no tool mass": lambda check: check["machine"].pop("max_tool_mass_kg"),
        "no tool length": lambda check: check["machine"].pop("max_tool_length_mm"),
        "no tool diameter": lambda check: check["machine"].pop("max_tool_diameter_mm"),
        "no moment": lambda check: check["machine"].pop("max_tilting_moment_n_m"),
        "no torque": lambda check: check["machine"].pop("max_torque_n_m"),
        "no power": lambda check: check["machine"].pop("max_power_kw"),
        "no load": lambda check: drop(check["operations"][0], "load"),
        "no pull": lambda check: check["operations"][0]["load"].pop("axial_pull_n"),
        "nil load": lambda check: check["operations"][0].update(load={"torque_n_m": 0, "axial_pull_n": 0}),
        "declared": _declared,
        "no coolant": lambda check: drop(check["operations"][0], "coolant"),
        "no feed": lambda check: drop(check["operations"][0], "feed_per_tooth_mm"),
        "drill": _drill,
        "slender": _slender,
        "no cutter": _pin_for_cutter,
        "undefined part": lambda check: check["stack"]["components"].__setitem__(
            1, {"kind": "reference", "of": {"from": "request", "key": "KB"}}
        ),
    }
)
"""Kinds of operations."""


def complete(check: dict[str, Any]) -> None:
    """State what a gate asks for beyond the base: envelope, drive, load and ratings of the clamps."""
    check["machine"].update(max_tilting_moment_n_m=20, max_torque_n_m=80, max_power_kw=15)
    (operation,) = check["operations"]
    operation.update(feed_per_tooth_mm=0.3, load={"torque_n_m": 1.5, "axial_pull_n": 150})
    for collet, torque in (("collet-1", 160), ("collet-2", 20)):
        part = next(one for one in check["stack"]["components"] if one["id"] == collet)
        side = part["workpiece_side"]
        side.update(rated_torque_n_m=torque, rated_grip_mm=side["minimum_grip_mm"])


_ENVELOPE: Final = MappingProxyType(
    {
        "max_speed_rpm": 60000,
        "max_tool_mass_kg": 30,
        "max_tool_length_mm": 600,
        "max_tool_diameter_mm": 300,
        "max_tilting_moment_n_m": 200,
        "max_torque_n_m": 500,
        "max_power_kw": 60,
    }
)
_RATED: Final = ("collet_bore", "hydraulic", "milling_chuck", "side_lock", "plain_bore")


def order_of_check(check: Mapping[str, Any]) -> dict[str, Any]:
    """Return the order for a check, generously completed: what it leaves open is stated so that it harms nothing."""
    order = copy.deepcopy(dict(check))
    components = order["stack"]["components"]
    machine = order.pop("machine", {"kind": "stated"})
    if machine["kind"] == "stated":
        machine = {**_ENVELOPE, **machine}
        if components and "machine_side" in components[0]:
            machine.setdefault("spindle", copy.deepcopy(components[0]["machine_side"]))
    for part in components:
        side = part.get("workpiece_side") or {}
        if part["kind"] not in ("collet", "reference", "retention_knob", "gauge_pin"):
            part.setdefault("max_speed_rpm", 60000)
        if side.get("coupling") in _RATED:
            usual = usual_torque(
                side["coupling"], side.get("nominal_mm") or side.get("clamping_max_mm") or side.get("diameter_mm") or 12
            )
            side.setdefault("rated_torque_n_m", 500 if usual is None else 2 * usual[0].typical_n_m)
            side.setdefault("rated_grip_mm", 20)
            if side["coupling"] == "side_lock":
                side.setdefault("rated_axial_force_n", 20000)
    operations = order.pop("operations", None) or [{"id": "10"}]
    rest = {name: order.pop(name) for name in ("components", "policy") if name in order}
    kept = {name: order[name] for name in ("stack", "gauge_plane") if name in order}
    return {
        "order": "KB-WO-0010",
        "operations": [{**_completed(one), **kept} for one in operations],
        "machine": machine,
        **rest,
    }


def _completed(operation: Mapping[str, Any]) -> dict[str, Any]:
    one = {"coolant": "external", "feed_per_tooth_mm": 0.5, **operation}
    one["limits"] = {"runout": {"tir_um": 200}, "balance_grade": "G40", **one.get("limits", {})}
    if "cut" not in one:
        one.setdefault("load", {"torque_n_m": 0.5, "axial_pull_n": 20})
    if "cutting_speed_m_per_min" not in one:
        one.setdefault("spindle_speed_rpm", 1000)
    return one


def check_of(name: str) -> dict[str, Any]:
    """Return the request of a check: the base, completed, with a change."""
    check = base_request("press_in")
    complete(check)
    CHANGES[name](check)
    return check


def operation_of(name: str, number: int = 10) -> dict[str, Any]:
    """Return an operation of an order, with its own machine if it has one."""
    check = check_of(name)
    (operation,) = check.pop("operations", [{}])
    return {**operation, "id": str(number), **check}


def order_of(*names: str, **rest: Any) -> dict[str, Any]:
    """Return an order with these operations, numbered 10, 20, 30 and so on."""
    operations = [operation_of(name, 10 * n) for n, name in enumerate(names, start=1)]
    return {"order": "KB-WO-0009", "operations": operations, **rest}


def decided(order: dict[str, Any]) -> GateReport:
    """Return the decision of the gate by the built-in rules."""
    return gate(parse(GateRequest, copy.deepcopy(order)), assessor())
