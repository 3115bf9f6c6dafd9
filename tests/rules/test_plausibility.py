"""Plausibility: nothing said about realistic parts, and what cannot be is named."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from tests.support import libraries
from tests.support.stacks import assessor, report_of


def _codes(request: dict[str, Any]) -> set[str]:
    return {one.code for one in report_of(request).findings if one.code.startswith("PLA")}


def _false_alarms(monkeypatch: pytest.MonkeyPatch, count: int) -> dict[str, str]:
    """Codes and messages on stacks of the shop without mistakes and without missing fields."""
    monkeypatch.setattr(libraries, "OLD_SHARE", 0.0)
    monkeypatch.setattr(libraries, "MISTAKEN_SHARE", 0.0)
    found: dict[str, str] = {}
    judged = 0
    for line in libraries.library_lines(count, seed=11):
        report = assessor().assess(parse_request(json.loads(line)))
        judged += 1
        told = [(one.code, one.message) for one in report.findings if one.code.startswith("PLA")]
        told += [(one.code, "undecided") for one in report.undecided if one.code.startswith("PLA")]
        found.update(told)
    assert judged == count
    return found


def test_realistic_stacks_raise_no_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two hundred stacks of parts as a shop has them."""
    assert _false_alarms(monkeypatch, 200) == {}


@pytest.mark.long
def test_many_realistic_stacks_raise_no_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Five thousand of them."""
    assert _false_alarms(monkeypatch, 5000) == {}


TOOL = "/stack/components/4"
IMPOSSIBLE: dict[str, tuple[str, dict[str, Any]]] = {
    "shorter than its shank": ("PLA-010", {f"{TOOL}/overall_length_mm": 30}),
    "shorter than its grip": ("PLA-040", {f"{TOOL}/overall_length_mm": 30}),
    "flutes longer than the tool": ("PLA-020", {f"{TOOL}/flute_length_mm": 64}),
    "flutes in the clamp": ("PLA-050", {f"{TOOL}/flute_length_mm": 30}),
    "TIR in millimetres": ("PLA-210", {f"{TOOL}/runout/statements/0/tir_um": 0.003}),
    "a hundred teeth": ("PLA-240", {f"{TOOL}/teeth": 100}),
    "15 mm per tooth": ("PLA-250", {"/operations/0/feed_per_tooth_mm": 15}),
    "an aluminium cutter": ("PLA-340", {f"{TOOL}/material": "aluminium"}),
    "a front face inside the flange": ("PLA-110", {"/stack/components/0/gauge_length_mm": 12}),
    "grams typed for kilograms": ("PLA-120", {"/stack/components/2/mass_kg": 480}),
    "no unbalance at all": ("PLA-300", {"/stack/components/0/unbalance_g_mm": 0}),
}
"""What cannot be -> code, and the change of the base."""


def _changed(changes: dict[str, Any]) -> dict[str, Any]:
    request = copy.deepcopy(base_request("press_in"))
    for pointer, value in changes.items():
        *steps, last = pointer.split("/")[1:]
        inner: Any = request
        for step in steps:
            inner = inner[int(step) if isinstance(inner, list) else step]
        inner[last] = value
    return request


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_what_cannot_be_is_named(name: str) -> None:
    """Geometry, or an order of magnitude: a part that nobody made is not judged as if it were there."""
    code, changes = IMPOSSIBLE[name]
    assert _codes(_changed({})) == set()
    assert code in _codes(_changed(changes))


@pytest.mark.parametrize(
    ("code", "pointer", "good", "bad"),
    [
        ("PLA-010", f"{TOOL}/machine_side/length_mm", 63, 63.01),
        ("PLA-050", f"{TOOL}/flute_length_mm", 29, 29.01),
        ("PLA-070", "/stack/joints/1/grip_length_mm", 155, 155.01),
        ("PLA-210", f"{TOOL}/runout/statements/0/tir_um", 0.2, 0.199),
        ("PLA-220", f"{TOOL}/runout/statements/0/tir_um", 500, 500.1),
        ("PLA-240", f"{TOOL}/teeth", 9, 10),
        ("PLA-250", "/operations/0/feed_per_tooth_mm", 0.64, 0.641),
        ("PLA-260", "/operations/0/feed_per_tooth_mm", 0.002, 0.0019),
        ("PLA-350", "/stack/components/0/max_speed_rpm", 500, 499),
    ],
)
def test_the_bounds_are_where_they_are_said_to_be(code: str, pointer: str, good: float, bad: float) -> None:
    """First principles: at the bound nothing is said, just beyond it the rule fires."""
    assert code not in _codes(_changed({pointer: good}))
    assert code in _codes(_changed({pointer: bad}))


@pytest.mark.parametrize(
    ("grip", "bore", "told"),
    [
        # the collet is 40 mm long and ends 40 mm from the gauge line; the bore of the holder is solid up to 26 mm
        (41, 11.5, False),
        (42, 11.5, True),
        (42, 11.9, False),
        (52, 28, False),
        (56, 28, True),
    ],
)
def test_the_room_behind_a_collet_is_that_of_the_outline(grip: float, bore: float, told: bool) -> None:
    """By hand, from the lengths of the stack: where a shank of 12 mm meets less than its diameter."""
    request = base_request("nut_collet")
    request["stack"]["components"][0]["profile"] = [
        {"length_mm": 26, "outer_mm": 63},
        {"length_mm": 14, "outer_mm": 50, "bore_mm": bore},
        {"length_mm": 40, "outer_mm": 50, "bore_mm": 28},
    ]
    request["stack"]["joints"][0]["grip_length_mm"] = grip
    assert ("PLA-390" in _codes(request)) == told


def test_an_outline_without_a_bore_says_nothing_of_the_room_behind_a_collet() -> None:
    """Few outlines show any bore, so most holders stay without doubt."""
    request = base_request("nut_collet")
    request["stack"]["joints"][0]["grip_length_mm"] = 60
    assert "PLA-390" in _codes(request)
    for piece in request["stack"]["components"][0]["profile"]:
        piece.pop("bore_mm", None)
    assert "PLA-390" not in _codes(request)
