"""Cutting load of a stack: torque, pull, force and power, stated or by Kienzle, calculated by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy.integrate import quad

from rules.cutting.analysis import CuttingLoad
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from tests.support.operations import change, drop, operation_of
from tests.support.stacks import codes, derived_of, holder_and_cutter, known, report_of, undecided_fields

ANGLE = math.pi / 3
"""acos(1 − 2·3/12): a quarter of ⌀12 is cut, and one of four teeth at a time."""


def _cut(**milling: Any) -> dict[str, Any]:
    """Return ⌀12 with four straight, sharp teeth without runout: 5 by 3 mm of C45, 0.1 mm a tooth, 6000 rpm."""
    request = base_request("nut_collet")
    request["stack"]["components"][2]["helix_angle_deg"] = 0
    request["policy"] = {"edge_wear": 1}
    run_true(request)
    change(request["operations"][0], {"feed_per_tooth_mm": 0.1})
    cut = {"axial_depth_mm": 5, "radial_depth_mm": 3, "work_material": "c45"}
    change(request["operations"][0], {"milling": cut | milling})
    return request


def run_true(request: dict[str, Any]) -> None:
    """Take the runout out of every part."""
    for part in request["stack"]["components"]:
        for statement in part["runout"]["statements"]:
            statement["tir_um"] = 0


def _load(request: dict[str, Any]) -> CuttingLoad:
    return derived_of(request).load


def _peak(unit: float = 2220, exponent: float = 0.14) -> float:
    """Return the tangential force of the one tooth in the cut, thickest where it leaves at 60°, N."""
    return unit * 5 * (0.1 * math.sin(ANGLE)) ** (1 - exponent)


def test_load_of_a_milling_cut() -> None:
    """First principles: one tooth at its thickest chip; torque F·D/2, pull F·tan 30°, both forces at a right angle."""
    load = _load(_cut())
    assert load.source == "milling"
    assert known(load.torque_n_m) == pytest.approx(_peak() * 6e-3, rel=1e-12)
    assert load.axial_pull_n == 0
    assert known(load.radial_force_n) == pytest.approx(_peak() * math.hypot(1, 0.4), rel=1e-12)
    assert (load.force_height_mm, load.spread) == (2.5, 0.2)


def test_helix_spreads_the_load_and_pulls() -> None:
    """First principles: the edge lags 2·5·tan 30°/12 behind; that part of the arc cuts, the thickest at its end."""
    request = _cut()
    request["stack"]["components"][2]["helix_angle_deg"] = 30
    load = _load(request)
    lag = 10 * math.tan(math.pi / 6) / 12
    spread = 2220 * 5 * 0.1**0.86 * quad(lambda angle: math.sin(angle) ** 0.86, ANGLE - lag, ANGLE)[0] / lag
    assert known(load.torque_n_m) == pytest.approx(spread * 6e-3, rel=1e-9)
    assert known(load.axial_pull_n) == pytest.approx(spread * math.tan(math.pi / 6), rel=1e-9)
    assert spread < 0.95 * _peak()


def test_runout_loads_one_tooth_more() -> None:
    """First principles: with 4 teeth on an axis off by e, a tooth may cut e·√2 more than its neighbour left it."""
    straight = _cut()
    straight["stack"]["components"][0]["runout"] = {"statements": [{"tir_um": 10, "at_mm": 0}], "character": "offset"}
    tir = derived_of(straight).tip
    assert not isinstance(tir, Missing)
    more = tir.assemblies.p95_um / 2000 * math.sqrt(2)
    assert tir.assemblies.p95_um > 9
    assert known(_load(straight).torque_n_m) == pytest.approx(
        2220 * 5 * (0.1 * math.sin(ANGLE) + more) ** 0.86 * 6e-3, rel=2e-4
    )
    assert _load(straight).drive_torque_n_m == _load(_cut()).drive_torque_n_m


def test_unknown_runout_is_no_runout_of_zero() -> None:
    """The mean load is known without the runout; peaks lack it."""
    request = _cut()
    del request["stack"]["components"][1]["runout"]
    load = _load(request)
    lack = Missing(("/stack/components/1/runout",))
    assert load.torque_n_m == load.radial_force_n == lack
    assert known(load.drive_torque_n_m) == known(_load(_cut()).drive_torque_n_m)


@pytest.mark.parametrize(("wear", "factor"), [(None, 1.3), (1, 1), (1.5, 1.5)])
def test_worn_edges_load_the_grip_and_not_the_drive(wear: float | None, factor: float) -> None:
    """The policy's factor counts for torque and pull of the grip alone; 1.3 by default."""
    request = _cut()
    request["policy"] = {} if wear is None else {"edge_wear": wear}
    load = _load(request)
    assert known(load.torque_n_m) == pytest.approx(_peak() * 6e-3 * factor, rel=1e-12)
    assert known(load.radial_force_n) == pytest.approx(_peak() * math.hypot(1, 0.4), rel=1e-12)
    assert load.drive_torque_n_m == _load(_cut()).drive_torque_n_m


def test_positive_rake_cuts_with_less_force() -> None:
    """From memory: 1 % a degree against the 6° of the table; not against a force of the caller's own."""
    request = _cut()
    request["stack"]["components"][2]["rake_angle_deg"] = 16
    assert known(_load(request).torque_n_m) == pytest.approx(0.9 * _peak() * 6e-3, rel=1e-12)
    request["operations"][0]["cut"]["unit_specific_force_mpa"] = 2220
    load = _load(request)
    assert known(load.torque_n_m) == pytest.approx(_peak() * 6e-3, rel=1e-12)
    assert load.spread == 0


def test_ball_nose_cuts_and_turns_at_its_effective_diameter() -> None:
    """Geometry: ⌀12, 0.3 mm deep: 2·√(0.3·11.7) = 3.7470 mm across; 100 m/min are 8,495 rpm there."""
    request = _cut(axial_depth_mm=0.3, radial_depth_mm=0.2)
    request["stack"]["components"][2]["corner_radius_mm"] = 6
    drop(request["operations"][0], "spindle_speed_rpm")
    change(request["operations"][0], {"cutting_speed_m_per_min": 100})
    derived = derived_of(request)
    across = 2 * math.sqrt(0.3 * 11.7)
    assert known(derived.speed) == pytest.approx(100_000 / math.pi / across, rel=1e-12)
    mill = derived.load.milling
    assert not isinstance(mill, Missing)
    assert mill is not None
    assert mill.peak_torque_n_m == pytest.approx(mill.peak_tangential_n * across / 2000, rel=1e-12)
    assert mill.engagement_angle_rad == pytest.approx(math.acos(1 - 2 * 0.2 / across), rel=1e-12)
    request["operations"][0]["cut"]["tilt_deg"] = 15
    tilted = 12 * math.sin(math.radians(15) + math.acos(1 - 2 * 0.3 / 12))
    assert known(derived_of(request).speed) == pytest.approx(100_000 / math.pi / tilted, rel=1e-12)


def test_finishing_with_a_long_helix_passes() -> None:
    """First principles: ⌀12, 4 teeth, 40°, 36 by 0.3 mm of C45, 0.06 mm a tooth.

    A tooth is φs = 2·asin √(0.3/12) = 0.3176 rad in the cut, so 0.06·sin φs = 0.01874 mm at most. Straight, all of its
    36 mm would cut at once: 2220·36·0.01874^0.86 = 2613 N, with the radial force 2814 N. At 40° the edge lags by
    72·tan 40°/12 = 5.035 rad, more than the arc, so 0.3176/5.035 of it cuts, 2.27 mm: 2220·0.06^0.86·12/(2·tan 40°)
    times ∫ sin^0.86 = 89.3 N. At one moment 4 such stretches cut along the helix, at most: 357 N, and 385 N with the
    radial force.
    """
    request = _cut(axial_depth_mm=36, radial_depth_mm=0.3)
    request["stack"]["components"][2] |= {"helix_angle_deg": 40, "flute_length_mm": 38, "overall_length_mm": 100}
    request["stack"]["components"][2]["profile"] = [{"length_mm": 100, "outer_mm": 12}]
    request["stack"]["joints"][0] = {"upper": "collet-1", "lower": "end-mill", "grip_length_mm": 45}
    request["operations"][0]["feed_per_tooth_mm"] = 0.06
    arc = 2 * math.asin(math.sqrt(0.3 / 12))
    one = 2220 * 0.06**0.86 * 12 / (2 * math.tan(math.radians(40))) * quad(lambda a: math.sin(a) ** 0.86, 0, arc)[0]
    load = _load(request)
    assert known(load.radial_force_n) == pytest.approx(4 * one * math.hypot(1, 0.4), rel=0.01)
    assert known(load.radial_force_n) == pytest.approx(390, rel=0.02)
    straight = _cut(axial_depth_mm=36, radial_depth_mm=0.3)
    straight["operations"][0]["feed_per_tooth_mm"] = 0.06
    assert known(_load(straight).radial_force_n) == pytest.approx(2814, abs=1)
    request["operations"][0]["limits"]["deflection_um"] = 120
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 40, "rated_grip_mm": 40}
    for part in request["stack"]["components"]:  # a limit of zero would be a warning
        part["runout"]["law"] = "measured"
    report = report_of(request)
    assert report.verdict == "pass", (report.findings, report.undecided)
    request["stack"]["components"][2]["helix_angle_deg"] = 0
    assert "STF-010" in codes(report_of(request))


def test_power_is_specific_force_times_removal() -> None:
    """First principles: F = z/2π·2220·ap·fz^0.86·∫ sin^0.86 φ; by h_m = 2/φ·ae/D·fz, k_c·Q is up to 6 % more."""
    thickness = 2 / ANGLE * 0.25 * 0.1
    specific = 2220 * thickness**-0.14
    mean = 4 / (2 * math.pi) * 2220 * 5 * 0.1**0.86 * quad(lambda angle: math.sin(angle) ** 0.86, 0, ANGLE)[0]
    assert known(_load(_cut()).power_kw) == pytest.approx(mean * 6e-3 * 200 * math.pi / 1e3, rel=1e-9)
    assert (
        known(_load(_cut()).power_kw) < specific * 5 * 3 * 0.1 * 4 * 6000 / 6e7 < 1.06 * known(_load(_cut()).power_kw)
    )
    report = report_of(_cut()).operation.load
    assert report.specific_force_mpa == pytest.approx(specific, abs=0.006)
    assert report.mean_chip_thickness_mm == pytest.approx(thickness, abs=6e-7)
    assert report.removal_rate_mm3_per_min == pytest.approx(36_000, abs=0.06)
    assert report.teeth_in_cut == pytest.approx(4 / 6, abs=6e-7)
    assert report.mean_torque_n_m == pytest.approx(mean * 6e-3, abs=6e-4)


def test_angle_of_the_edge_thins_and_widens_the_chip() -> None:
    """First principles: at κ = 45° the chip is ap/sin κ wide and fz·sin κ thick."""
    sine = math.sin(math.pi / 4)
    peak = 2220 * 5 / sine * (0.1 * sine * math.sin(ANGLE)) ** 0.86
    assert known(_load(_cut(lead_angle_deg=45)).torque_n_m) == pytest.approx(peak * 6e-3, rel=1e-12)


@pytest.mark.parametrize("also", [{}, {"work_material": None}])
def test_own_figures_win_over_the_group(also: dict[str, Any]) -> None:
    """First principles: k_c1.1, m_c and the ratio of the caller's own, whatever group stands beside them."""
    own = {"unit_specific_force_mpa": 1500, "thickness_exponent": 0.25, "radial_force_ratio": 0.6}
    load = _load(_cut(**own, **also))
    assert known(load.torque_n_m) == pytest.approx(_peak(1500, 0.25) * 6e-3, rel=1e-12)
    assert known(load.radial_force_n) == pytest.approx(_peak(1500, 0.25) * math.hypot(1, 0.6), rel=1e-12)


@pytest.mark.parametrize(
    ("own", "unit", "exponent", "ratio"),
    [
        ({"unit_specific_force_mpa": 1500}, 1500, 0.14, 0.4),
        ({"thickness_exponent": 0}, 2220, 0, 0.4),
        ({"radial_force_ratio": 0}, 2220, 0.14, 0),
    ],
)
def test_each_own_figure_wins_alone(own: dict[str, float], unit: float, exponent: float, ratio: float) -> None:
    """First principles: the rest stays the group's; a stated 0 is a figure, not a gap."""
    load = _load(_cut(**own))
    assert known(load.torque_n_m) == pytest.approx(_peak(unit, exponent) * 6e-3, rel=1e-12)
    assert known(load.radial_force_n) == pytest.approx(_peak(unit, exponent) * math.hypot(1, ratio), rel=1e-12)


def test_stated_loads_win_over_computed_ones() -> None:
    """What is stated stands; what is not is still computed."""
    request = _cut()
    change(request["operations"][0], {"torque_n_m": 7, "axial_pull_n": 100, "radial_force_n": 50})
    load = _load(request)
    assert (load.source, load.torque_n_m, load.axial_pull_n, load.radial_force_n) == ("stated", 7, 100, 50)
    drop(request["operations"][0], "axial_pull_n")
    assert known(_load(request).axial_pull_n) == 0


def test_a_stated_zero_is_a_statement() -> None:
    """First principles: no torque asked is a torque of 0, not one to be computed."""
    request = _cut()
    change(request["operations"][0], {"torque_n_m": 0, "axial_pull_n": 0, "radial_force_n": 0})
    load = _load(request)
    assert (load.source, load.torque_n_m, load.axial_pull_n, load.radial_force_n) == ("stated", 0, 0, 0)


def test_power_of_a_stated_torque() -> None:
    """First principles: T·ω, 20 N·m at 6000 rpm; without a speed there is none."""
    request = base_request("nut_collet")
    change(request["operations"][0], {"torque_n_m": 20})
    assert known(_load(request).power_kw) == pytest.approx(20 * 2 * math.pi * 100 / 1000, rel=1e-12)
    drop(request["operations"][0], "spindle_speed_rpm")
    assert _load(request).power_kw is None


def test_cutting_speed_in_place_of_the_spindle_speed() -> None:
    """First principles: v_c = π·12 mm·6000/min is the same speed and the same load."""
    by_speed = derived_of(_cut())
    request = _cut()
    drop(request["operations"][0], "spindle_speed_rpm")
    change(request["operations"][0], {"cutting_speed_m_per_min": math.pi * 12 * 6})
    by_cutting_speed = derived_of(request)
    assert known(by_cutting_speed.speed) == pytest.approx(6000, rel=1e-12)
    assert known(by_cutting_speed.load.power_kw) == pytest.approx(known(by_speed.load.power_kw), rel=1e-12)
    assert by_cutting_speed.load.torque_n_m == by_speed.load.torque_n_m


def test_cutting_speed_without_a_diameter_is_no_speed() -> None:
    """The cutting diameter is asked for, wherever a speed is needed."""
    request = base_request("nut_collet")
    drop(request["operations"][0], "spindle_speed_rpm")
    del request["stack"]["components"][2]["cutting_diameter_mm"]
    change(request["operations"][0], {"cutting_speed_m_per_min": 200, "torque_n_m": 5})
    derived = derived_of(request)
    field = Missing(("/stack/components/2/cutting_diameter_mm",))
    assert derived.speed == field
    assert derived.load.power_kw == field
    assert derived.load.torque_n_m == 5


def test_cutting_speed_without_a_cutter_is_no_speed() -> None:
    """A pin or a bare holder has no cutting diameter: the cutter is asked for."""
    request = holder_and_cutter() | {"operations": [operation_of({"cutting_speed_m_per_min": 200})]}
    request["stack"]["components"][1] |= {"kind": "gauge_pin"}
    assert derived_of(request).speed == Missing(("/stack/components/-",))
    del request["stack"]["components"][1], request["stack"]["joints"]
    assert derived_of(request).speed == Missing(("/stack/components/-",))


def test_spindle_speed_wins_and_contradiction_is_told() -> None:
    """Everything is judged by the spindle speed; two that disagree by more than rounding are an error."""
    request = base_request("nut_collet")
    change(request["operations"][0], {"cutting_speed_m_per_min": math.pi * 12 * 6 * 1.021})
    assert derived_of(request).speed == 6000
    assert "SPD-070" in codes(report_of(request))
    change(request["operations"][0], {"cutting_speed_m_per_min": math.pi * 12 * 6 * 1.019})
    assert "SPD-070" not in codes(report_of(request))


@pytest.mark.parametrize(
    ("pointer", "fields"),
    [
        ("/stack/components/2/cutting_diameter_mm", None),
        ("/stack/components/2/teeth", None),
        ("/operations/0/cut/axial_depth_mm", None),
        ("/operations/0/cut/radial_depth_mm", None),
        ("/operations/0/feed_per_tooth_mm", None),
        (
            "/operations/0/cut/work_material",
            (
                "/operations/0/cut/work_material",
                "/operations/0/cut/thickness_exponent",
            ),
        ),
    ],
)
def test_a_missing_field_is_named(pointer: str, fields: tuple[str, ...] | None) -> None:
    """Torque, force and power ask for what the cut lacks, and for nothing else."""
    request = _cut()
    place: Any = request
    *steps, last = pointer.split("/")[1:]
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    del place[last]
    lack = Missing(fields or (pointer,))
    load = _load(request)
    assert load.milling == load.torque_n_m == load.axial_pull_n == load.power_kw == load.drive_torque_n_m == lack
    # across the axis the ratio of the forces counts too, which the group would tell
    ratio = ("/operations/0/cut/radial_force_ratio",) if pointer.endswith("work_material") else ()
    assert load.radial_force_n == Missing((*lack.fields, *ratio))
    assert load.source == "milling"


def test_all_that_is_missing_is_named_at_once() -> None:
    """An empty cut of a bare cutter asks for everything in one answer."""
    request = base_request("nut_collet")
    cutter = request["stack"]["components"][2]
    del cutter["cutting_diameter_mm"], cutter["teeth"]
    change(request["operations"][0], {"milling": {}})
    torque = _load(request).torque_n_m
    assert isinstance(torque, Missing)
    assert set(torque.fields) == {
        "/stack/components/2/cutting_diameter_mm",
        "/stack/components/2/teeth",
        "/operations/0/feed_per_tooth_mm",
        "/operations/0/cut/axial_depth_mm",
        "/operations/0/cut/radial_depth_mm",
        "/operations/0/cut/work_material",
        "/operations/0/cut/thickness_exponent",
    }


@pytest.mark.parametrize(("width", "fits"), [(12 - 1e-9, True), (12, True), (12 + 1e-9, False)])
def test_no_cut_is_wider_than_the_cutter(width: float, fits: bool) -> None:
    """First principles: up to a full slot a load follows; beyond it none does, and CUT-010 says why."""
    request = _cut(radial_depth_mm=width)
    torque = _load(request).torque_n_m
    assert isinstance(torque, float) is fits
    if not fits:
        assert torque == Missing(("/operations/0/cut/radial_depth_mm",))
    assert ("CUT-010" in codes(report_of(request))) is not fits


def test_straight_teeth_do_not_pull() -> None:
    """First principles: F·tan 0° = 0, and the grip is asked for torque alone."""
    request = _cut()
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 20, "rated_grip_mm": 40}
    derived = derived_of(request)
    assert derived.load.axial_pull_n == 0
    # at the programmed speed the segments of the collet take a little of the rating
    capacity = known(derived.grips[0].torque_n_m)
    assert 19 < capacity < 20
    assert known(derived.grips[0].safety) == pytest.approx(capacity / (_peak() * 6e-3), rel=1e-12)


def test_helix_is_asked_for_where_it_decides() -> None:
    """A cutter whose helix is not stated may pull: the grip stays undecided and names the field."""
    request = _cut()
    del request["stack"]["components"][2]["helix_angle_deg"]
    request["stack"]["components"][1]["workpiece_side"] |= {"rated_torque_n_m": 2000, "rated_grip_mm": 40}
    report = report_of(request)
    assert undecided_fields(report, "GRIP-070") == {"/stack/components/2/helix_angle_deg"}
    assert undecided_fields(report, "GRIP-080") == {"/stack/components/2/helix_angle_deg"}
    assert report.operation.load.axial_pull_n is None
    assert report.operation.load.torque_n_m is not None
    assert report.operation.grip[0].safety_factor is None


def test_a_pin_cuts_nothing() -> None:
    """A cut asked of a stack that ends with a gauge pin lacks its cutter."""
    request = _cut()
    cutter = request["stack"]["components"][2]
    request["stack"]["components"][2] = {
        "id": "pin",
        "kind": "gauge_pin",
        "machine_side": cutter["machine_side"],
        "overall_length_mm": 83,
    }
    assert _load(request).torque_n_m == Missing(("/stack/components/-",))


def test_no_operation_asks_nothing() -> None:
    """Without an operation there is no load, and nothing is lacking."""
    request = base_request("nut_collet")
    del request["operations"]
    assert _load(request) == CuttingLoad(None, None, None, None, None, None)


@pytest.mark.parametrize(
    ("code", "within", "limit"),
    [("MCH-050", "MCH-080", "max_torque_n_m"), ("MCH-060", "MCH-090", "max_power_kw")],
)
def test_machine_must_give_what_the_cut_needs(code: str, within: str, limit: str) -> None:
    """Above the limit is a warning within the 20 % of C45, and an error beyond; stated, an error at once."""
    load = _load(_cut())
    needed = known(load.drive_torque_n_m if code == "MCH-050" else load.power_kw)
    for factor, fires in (
        (0.8 - 1e-9, {code}),
        (0.8 + 1e-9, {within}),
        (1 - 1e-9, {within}),
        (1 + 1e-9, set()),
    ):
        request = _cut()
        request["machine"] |= {limit: needed * factor}
        assert {code, within} & codes(report_of(request)) == fires
    request = _cut(unit_specific_force_mpa=2220)
    request["machine"] |= {limit: needed * (1 - 1e-9)}
    assert {code, within} & codes(report_of(request)) == {code}


@pytest.mark.parametrize(
    ("safety", "fires"), [(0.79, "GRIP-070"), (0.81, "GRIP-080"), (1.99, "GRIP-080"), (2.01, None)]
)
def test_slip_within_the_spread_is_a_warning(safety: float, fires: str | None) -> None:
    """A safety below 1 that the 20 % of C45 can explain is a warning; below 0.8 it is an error."""
    request = _cut()
    bore = request["stack"]["components"][1]["workpiece_side"]
    bore |= {"rated_torque_n_m": 20, "rated_grip_mm": 40}
    lost_at_speed = 20 - known(derived_of(request).grips[0].torque_n_m)
    bore["rated_torque_n_m"] = safety * known(_load(request).torque_n_m) + lost_at_speed
    assert {"GRIP-070", "GRIP-080"} & codes(report_of(request)) == ({fires} if fires else set())
