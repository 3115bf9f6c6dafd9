"""Capacity of rated clamps against the cutting load, calculated by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.grip.analysis import Grip, weakest_of
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from service.sheets.figures import value_of
from tests.support.operations import change, drop, operation_of
from tests.support.stacks import codes, derived_of, holder_and_cutter, known, report_of, undecided_fields

SIDE = "/stack/components/0/workpiece_side"


def _clamped(coupling: str, grip_mm: float = 30, **side: Any) -> dict[str, Any]:
    """Return a shank ⌀12 held in a bore that is rated for 80 N·m over 40 mm."""
    request = holder_and_cutter()
    bore: dict[str, Any] = {"coupling": coupling, "diameter_mm": 12}
    request["stack"]["components"][0]["workpiece_side"] = bore | {"rated_torque_n_m": 80, "rated_grip_mm": 40} | side
    request["stack"]["joints"][0]["grip_length_mm"] = grip_mm
    return request


def _grip(request: dict[str, Any], index: int = 0) -> Grip:
    return derived_of(request).grips[index]


@pytest.mark.parametrize(("grip_mm", "torque"), [(10, 20), (30, 60), (39.5, 79), (40, 80), (50, 80), (55, 80)])
def test_rating_goes_with_the_grip_and_not_beyond(grip_mm: float, torque: float) -> None:
    """First principles: friction under an even pressure; what is held beyond the rated grip was never rated."""
    grip = _grip(_clamped("hydraulic", grip_mm))
    assert grip.basis == "rating"
    assert known(grip.torque_n_m) == pytest.approx(torque, rel=1e-12)


@pytest.mark.parametrize("coupling", ["hydraulic", "milling_chuck", "shrink_fit"])
def test_round_clamps_hold_a_pull_by_the_same_friction(coupling: str) -> None:
    """First principles: 60 N·m about ⌀12 are 10,000 N around it, and as much along it."""
    grip = _grip(_clamped(coupling))
    assert known(grip.torque_n_m) == pytest.approx(60, rel=1e-12)
    assert known(grip.axial_n) == pytest.approx(10_000, rel=1e-12)


def test_collets_hold_a_pull_by_the_same_friction() -> None:
    """First principles: 60 N·m of the 80 N·m rated over 40 mm, about ⌀12."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 80, "rated_grip_mm": 40}
    request["stack"]["joints"][0]["grip_length_mm"] = 30
    drop(request["operations"][0], "spindle_speed_rpm")
    assert known(_grip(request).axial_n) == pytest.approx(10_000, rel=1e-12)


@pytest.mark.parametrize("rpm", [6000, 20_000, 40_000])
def test_segments_of_a_collet_press_outward(rpm: float) -> None:
    """First principles: 0.17 kg over 40 mm about ⌀12; what m·ω²·r takes at radius 6 mm, in proportion of the pull."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 80, "rated_grip_mm": 40}
    request["operations"][0]["spindle_speed_rpm"] = rpm
    outer = math.sqrt(12**2 + 0.17 / (7850e-9 * math.pi / 4 * 40))
    loss = 0.12 * 0.17 * (rpm * math.pi / 30) ** 2 * (12 + outer) / 4e3 * 6e-3
    grip = _grip(request)
    assert known(grip.torque_n_m) == pytest.approx(80 - loss, rel=1e-9)
    assert known(grip.axial_n) == pytest.approx(2000 * (80 - loss) / 12, rel=1e-9)
    assert report_of(request).grip[0].torque_capacity_n_m.value == 80


@pytest.mark.parametrize("coupling", ["hydraulic", "milling_chuck"])
def test_a_bore_opens_at_speed(coupling: str) -> None:
    """First principles: steel ⌀40/12 around carbide at 20,000 rpm, by the rotating ring and Lamé's pressure."""
    request = _clamped(coupling)
    request["operations"] = [operation_of({"spindle_speed_rpm": 20_000})]
    squared = (20_000 * math.pi / 30) ** 2
    bore = 2 * 7850 * squared * 6e-3 / (4 * 210e9) * (3.3 * 20e-3**2 + 0.7 * 6e-3**2)
    shank = 2 * 14500 * squared * 6e-3**3 / (4 * 600e9) * 0.78
    wall = (40**2 + 12**2) / (40**2 - 12**2)
    pressure = (bore - shank) * 1e6 / (12 * ((wall + 0.3) / 210 + 0.78 / 600))
    assert known(_grip(request).torque_n_m) == pytest.approx(
        60 - 0.12 * pressure * math.pi * 12**2 * 30 / 2e3, rel=1e-9
    )


def test_nothing_is_left_of_a_weak_rating_at_high_speed() -> None:
    """A capacity ends at zero."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 2, "rated_grip_mm": 40}
    request["operations"][0]["spindle_speed_rpm"] = 40_000
    assert (_grip(request).torque_n_m, _grip(request).axial_n) == (0, 0)


@pytest.mark.parametrize("grip_mm", [20, 31, 50])
@pytest.mark.parametrize(("form", "axial"), [("side_lock_flat", "asked for"), ("inclined_flat", "by its shape")])
def test_the_flat_carries(grip_mm: float, form: str, axial: str) -> None:
    """On a flat the rating is that of the screw: neither grip length nor speed reduces it."""
    request = _clamped("side_lock", grip_mm)
    request["stack"]["components"][1]["machine_side"]["form"] = form
    request["operations"] = [operation_of({"spindle_speed_rpm": 20_000})]
    grip = _grip(request)
    assert grip.torque_n_m == 80
    assert grip.axial_n == (Missing((f"{SIDE}/rated_axial_force_n",)) if axial == "asked for" else None)


@pytest.mark.parametrize(("diameter", "end"), [(6, 20.1), (10, 23.5), (12, 26.5), (20, 30.5), (32, 43)])
def test_the_flat_must_be_within_the_bore(diameter: float, end: float) -> None:
    """DIN 6535 form HB: the flat ends e1 + b1/2 from the end of the shank."""
    request = base_request("side_lock")
    request["stack"]["components"][0]["workpiece_side"]["diameter_mm"] = diameter
    request["stack"]["components"][1]["machine_side"]["diameter_mm"] = diameter
    for grip, fires in ((end - 0.01, True), (end, False)):
        request["stack"]["joints"][0]["grip_length_mm"] = grip
        assert ("SID-020" in codes(report_of(request))) is fires


@pytest.mark.parametrize("coupling", ["side_lock", "cylindrical"])
def test_a_screw_holds_a_pull_in_its_own_way(coupling: str) -> None:
    """What a clamping screw holds along the shank does not follow from its torque: the rating is asked for."""
    grip = _grip(_clamped(coupling))
    assert known(grip.torque_n_m) == pytest.approx(60, rel=1e-12)
    assert grip.axial_n == Missing((f"{SIDE}/rated_axial_force_n",))


@pytest.mark.parametrize("coupling", ["hydraulic", "side_lock", "cylindrical"])
def test_stated_pull_wins_and_goes_with_the_grip_too(coupling: str) -> None:
    """First principles: three quarters of the rated grip hold three quarters of 6000 N."""
    grip = _grip(_clamped(coupling, rated_axial_force_n=6000))
    assert known(grip.axial_n) == pytest.approx(4500, rel=1e-12)


@pytest.mark.parametrize(
    ("request_", "fields"),
    [
        (_clamped("hydraulic", rated_torque_n_m=None), (f"{SIDE}/rated_torque_n_m",)),
        (_clamped("hydraulic", rated_grip_mm=None), (f"{SIDE}/rated_grip_mm",)),
        (
            _clamped("hydraulic", rated_torque_n_m=None, rated_grip_mm=None),
            (f"{SIDE}/rated_torque_n_m", f"{SIDE}/rated_grip_mm"),
        ),
    ],
)
def test_missing_rating_is_named(request_: dict[str, Any], fields: tuple[str, ...]) -> None:
    """A capacity asks for the rating and the grip it was stated for."""
    assert _grip(request_).torque_n_m == Missing(fields)


def test_grip_length_is_asked_for() -> None:
    """Without the grip nothing can be scaled."""
    request = _clamped("hydraulic")
    del request["stack"]["joints"]
    assert _grip(request).torque_n_m == Missing(("/stack/joints/-/grip_length_mm",))


@pytest.mark.parametrize(
    ("asked", "safety"),
    [
        ({"torque_n_m": 30}, 2.0),
        ({"axial_pull_n": 4000}, 2.5),
        ({"torque_n_m": 30, "axial_pull_n": 4000}, 1 / math.hypot(1 / 2, 1 / 2.5)),
        ({"torque_n_m": 30, "axial_pull_n": 0}, 2.0),
        ({"torque_n_m": 0, "axial_pull_n": 4000}, 2.5),
        ({"torque_n_m": 120, "axial_pull_n": 20_000}, 1 / math.hypot(2, 2)),
    ],
)
def test_torque_and_pull_share_the_friction(asked: dict[str, float], safety: float) -> None:
    """First principles: capacity 60 N·m and 10,000 N; S = 1/√(1/S_t² + 1/S_a²)."""
    request = _clamped("hydraulic") | {"operations": [operation_of(asked)]}
    assert known(_grip(request).safety) == pytest.approx(safety, rel=1e-12)
    findings = codes(report_of(request))
    assert ("GRIP-070" in findings) is (safety < 1)
    assert ("GRIP-080" in findings) is (1 <= safety < 2)


@pytest.mark.parametrize("asked", [{}, {"torque_n_m": 0}, {"axial_pull_n": 0}, {"torque_n_m": 0, "axial_pull_n": 0}])
def test_nothing_asked_needs_no_grip(asked: dict[str, float]) -> None:
    """A cut that asks nothing gives no factor, no finding and no gap, even where no rating is stated."""
    request = _clamped("hydraulic", rated_torque_n_m=None) | {"operations": [operation_of(asked)]}
    assert _grip(request).safety is None
    report = report_of(request)
    assert not {"GRIP-070", "GRIP-080"} & (codes(report) | {gap.code for gap in report.undecided})


def test_factor_of_a_load_next_to_nothing() -> None:
    """A factor beyond a million says no more: the figure stays finite."""
    request = _clamped("hydraulic") | {"operations": [operation_of({"torque_n_m": 5e-324})]}
    assert known(_grip(request).safety) == 1e6


@pytest.mark.parametrize(("torque", "fires"), [(60 * (1 - 1e-9), False), (60, False), (60 * (1 + 1e-9), True)])
def test_boundary_of_slipping(torque: float, fires: bool) -> None:
    """First principles: just under, at and just over the 60 N·m it holds; only beyond them it slips."""
    request = _clamped("hydraulic") | {"operations": [operation_of({"torque_n_m": torque})]}
    assert ("GRIP-070" in codes(report_of(request))) is fires


@pytest.mark.parametrize(("torque", "fires"), [(30 * (1 - 1e-9), False), (30, False), (30 * (1 + 1e-9), True)])
def test_boundary_of_the_reserve(torque: float, fires: bool) -> None:
    """Common practice: a factor of 2 is wanted and enough."""
    request = _clamped("hydraulic") | {"operations": [operation_of({"torque_n_m": torque})]}
    assert ("GRIP-080" in codes(report_of(request))) is fires


def test_a_pull_on_a_screw_of_unknown_hold_is_undecided() -> None:
    """The field is named, the verdict is no pass."""
    report = report_of(_clamped("side_lock") | {"operations": [operation_of({"axial_pull_n": 100})]})
    assert undecided_fields(report, "GRIP-070") == {f"{SIDE}/rated_axial_force_n"}


def test_a_pull_alone_is_judged_by_the_rated_pull() -> None:
    """First principles: 4500 N held, 5000 N asked, no torque: it slides, whatever torque it would hold."""
    request = _clamped("side_lock", rated_axial_force_n=6000, rated_torque_n_m=None)
    report = report_of(request | {"operations": [operation_of({"axial_pull_n": 5000})]})
    assert value_of(report.operation.grip[0].safety_factor) == pytest.approx(0.9)
    assert "GRIP-070" in codes(report)


# Several joints


def _two_clamps(first: float | None, second: float | None) -> dict[str, Any]:
    request = base_request("press_in")
    for index, rated in ((1, first), (3, second)):
        if rated is not None:
            side = request["stack"]["components"][index]["workpiece_side"]
            side |= {"rated_torque_n_m": rated, "rated_grip_mm": 10}
    change(request["operations"][0], {"torque_n_m": 10})
    return request


@pytest.mark.parametrize(("first", "second", "weakest"), [(80, 30, 1), (20, 30, 0), (25, 25, 0)])
def test_weakest_joint(first: float, second: float, weakest: int) -> None:
    """The lowest factor of safety; of equals the one nearer the spindle."""
    request = _two_clamps(first, second)
    drop(request["operations"][0], "spindle_speed_rpm")
    grips = derived_of(request).grips
    assert [known(grip.safety) for grip in grips] == pytest.approx([first / 10, second / 10])
    assert weakest_of(grips) is grips[weakest]
    assert [one.weakest for one in report_of(request).operation.grip] == [weakest == 0, weakest == 1]


@pytest.mark.parametrize(("first", "second"), [(80, None), (None, 30), (None, None)])
def test_weakest_joint_is_not_known_while_one_is_missing(first: float | None, second: float | None) -> None:
    """The joint that nobody rated may be the weakest."""
    request = _two_clamps(first, second)
    assert weakest_of(derived_of(request).grips) is None
    assert not any(one.weakest for one in report_of(request).operation.grip)


def test_only_straight_shanks_are_listed() -> None:
    """A shell-mounted cutter is held by a screw and keys: no grip is reported."""
    request = base_request("shell_mill")
    change(request["operations"][0], {"torque_n_m": 10})
    assert derived_of(request).grips == ()
    assert report_of(request).grip == []
