"""Loads of drills, reamers, boring tools and taps in a stack, by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.cutting.analysis import CuttingLoad
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from tests.support.stacks import codes, derived_of, known, report_of


def _request(kind: str, tool: dict[str, Any], cut: dict[str, Any], feed: float | None = 0.1) -> dict[str, Any]:
    """Return a tool of 12 mm at 6000 rpm."""
    request = base_request("nut_collet")
    request["stack"]["components"][2] |= {"kind": kind} | tool
    request["operations"][0] |= {"cut": cut} | ({} if feed is None else {"feed_per_tooth_mm": feed})
    return request


def _load(request: dict[str, Any]) -> CuttingLoad:
    return derived_of(request).load


DRILL = {"teeth": 2, "point_angle_deg": 140}
DRILLING = {"kind": "drilling", "work_material": "c45"}
REAMING = {"kind": "reaming", "work_material": "c45"}


def _kc(thickness: float) -> float:
    return float(2220 * thickness**-0.14)


def test_a_drill() -> None:
    """First principles: κ = 70°, h = 0.1·sin 70°, T = k_c·0.2·12²/8000, worn 1.3; power T·ω with sharp lips."""
    load = _load(_request("drill", DRILL, DRILLING))
    torque = _kc(0.1 * math.sin(math.radians(70))) * 0.2 * 144 / 8000
    assert load.source == "drilling"
    assert known(load.drive_torque_n_m) == pytest.approx(torque, rel=1e-12)
    assert known(load.torque_n_m) == pytest.approx(1.3 * torque, rel=1e-12)
    assert known(load.power_kw) == pytest.approx(torque * 200 * math.pi / 1e3, rel=1e-12)
    assert (load.axial_pull_n, load.radial_force_n) == (None, None)
    # the handbook's ratio of thrust to torque in inches
    inch, rev = 12 / 25.4, 0.2 / 25.4
    ratio = (2 * (rev * inch) ** 0.8 * 1.355 + inch**2 * 0.03) / (rev**0.8 * inch**1.8 * 1.085) / 0.0254
    assert known(load.thrust_n) == pytest.approx(torque * ratio, rel=1e-12)


def test_a_core_drill_has_no_chisel_edge() -> None:
    """First principles: T = k_c·f·(D² − d²)/8000; without the chisel edge 0.7·k_c·f·(D − d)/2, far less."""
    load = _load(_request("drill", DRILL, DRILLING | {"existing_hole_mm": 6}))
    force = _kc(0.1 * math.sin(math.radians(70)))
    assert known(load.drive_torque_n_m) == pytest.approx(force * 0.2 * (144 - 36) / 8000, rel=1e-12)
    assert known(load.thrust_n) == pytest.approx(0.7 * force * 0.2 * 3, rel=1e-12)


def test_a_reamer_has_a_reserve_for_its_margins() -> None:
    """First principles: six edges at 45°, ⌀12 from 11.8; twice that for the margins (common practice)."""
    tool = {"teeth": 6, "cutting_diameter_mm": 12}
    load = _load(_request("reamer", tool, REAMING | {"existing_hole_mm": 11.8, "lead_angle_deg": 45}))
    edges = _kc(0.1 * math.sin(math.pi / 4)) * 0.6 * (144 - 11.8**2) / 8000
    assert known(load.drive_torque_n_m) == pytest.approx(2 * edges, rel=1e-12)
    assert load.thrust_n is None


def test_a_boring_tool_is_pushed_aside_by_its_one_edge() -> None:
    """First principles: k_c·a·f with a = 1 mm, and 0.4 of it across; two edges balance each other."""
    cut = {"kind": "boring", "work_material": "c45", "existing_hole_mm": 10}
    load = _load(_request("boring_tool", {"teeth": 1}, cut))
    force = _kc(0.1) * 0.1
    assert known(load.radial_force_n) == pytest.approx(force * math.hypot(1, 0.4), rel=1e-12)
    assert known(load.drive_torque_n_m) == pytest.approx(force * 5.5e-3, rel=1e-12)
    assert _load(_request("boring_tool", {"teeth": 2}, cut)).radial_force_n is None


TAP = {"pitch_mm": 1.75, "forms_thread": False}
TAPPING = {"kind": "tapping", "work_material": "c45"}


@pytest.mark.parametrize(
    ("tool", "cut", "torque"),
    [
        ({}, {}, 2600 * 1.75**2 * 12 / 8000),
        ({"forms_thread": True}, {}, 3 * 2600 * 1.75**2 * 12 / 8000),
        ({}, {"work_material": "42crmo4"}, 3600 * 1.75**2 * 12 / 8000),
        ({}, {"unit_specific_force_mpa": 2000}, 2000 * 1.75**2 * 12 / 8000),
    ],
)
def test_a_tap(tool: dict[str, Any], cut: dict[str, Any], torque: float) -> None:
    """Trade tables: k_c·P²·D/8, three times that to form; the grip holds twice, for wear and reversal."""
    load = _load(_request("tap", TAP | tool, TAPPING | cut, None))
    assert known(load.drive_torque_n_m) == pytest.approx(torque, rel=1e-12)
    assert known(load.torque_n_m) == pytest.approx(2 * torque, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "tool", "cut", "feed", "field"),
    [
        ("drill", {"teeth": 2}, DRILLING, 0.1, "/stack/components/2/point_angle_deg"),
        ("drill", DRILL, DRILLING, None, "/operations/0/feed_per_tooth_mm"),
        ("reamer", {}, REAMING | {"lead_angle_deg": 45}, 0.1, "/operations/0/cut/existing_hole_mm"),
        ("reamer", {}, REAMING | {"existing_hole_mm": 11}, 0.1, "/operations/0/cut/lead_angle_deg"),
        ("tap", {"forms_thread": False}, TAPPING, None, "/stack/components/2/pitch_mm"),
        ("tap", {"pitch_mm": 1.75}, TAPPING, None, "/stack/components/2/forms_thread"),
        ("tap", TAP, {"kind": "tapping"}, None, "/operations/0/cut/work_material"),
        ("tap", TAP, TAPPING | {"work_material": "ti6al4v"}, None, "/operations/0/cut/unit_specific_force_mpa"),
    ],
)  # fmt: skip
def test_a_missing_field_is_named(
    kind: str, tool: dict[str, Any], cut: dict[str, Any], feed: float | None, field: str
) -> None:
    """The torque lacks this field and no other."""
    assert _load(_request(kind, tool, cut, feed)).torque_n_m == Missing((field,))


def test_a_hole_as_large_as_the_tool_has_no_load() -> None:
    """Geometry: nothing is left to cut, and CUT-030 says so."""
    request = _request("drill", DRILL, DRILLING | {"existing_hole_mm": 12})
    assert _load(request).torque_n_m == Missing(("/operations/0/cut/existing_hole_mm",))
    assert "CUT-030" in codes(report_of(request))


@pytest.mark.parametrize("kind", ["cutter", "drill", "tap", "reamer", "boring_tool"])
@pytest.mark.parametrize("cut", ["milling", "drilling", "tapping", "reaming", "boring"])
def test_each_tool_makes_its_own_cut(kind: str, cut: str) -> None:
    """A cutter is any tool; the others make the cut of their name."""
    own = {"drill": "drilling", "tap": "tapping", "reamer": "reaming", "boring_tool": "boring"}
    suits = own.get(kind, cut) == cut
    assert ("CUT-040" in codes(report_of(_request(kind, {}, {"kind": cut})))) is not suits


@pytest.mark.parametrize(
    ("synchronous", "floating", "follows"),
    [
        (True, None, True), (None, True, True), (True, False, True), (False, True, True), (False, False, False),
        (None, None, None), (False, None, None), (None, False, None),
    ],
)  # fmt: skip
def test_feed_and_pitch_agree(synchronous: bool | None, floating: bool | None, follows: bool | None) -> None:
    """Either will do; only if neither is there is it an error, and undecided while one is open."""
    request = _request("tap", TAP, TAPPING, None)
    request["machine"]["synchronous_tapping"] = synchronous
    request["stack"]["components"][0]["length_compensation"] = floating
    report = report_of(request)
    assert ("TPG-010" in codes(report)) is (follows is False)
    assert ("TPG-010" in {gap.code for gap in report.undecided}) is (follows is None)
