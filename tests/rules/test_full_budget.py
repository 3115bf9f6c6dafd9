"""The full runout budget: planes, parts, seats, clocking and tolerances."""

from __future__ import annotations

import copy
import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.rulebook.loader import base_names, base_request
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.parsing import BadRequestError, parse
from rules.schema.report import ContributorReport
from rules.schema.request import CheckRequest
from tests.support.operations import change
from tests.support.stacks import known, named, quantile

ASSESSOR = Assessor.load()


def _budget(request: dict[str, Any]) -> BudgetReport:
    return full_budget(parse(BudgetRequest, request), ASSESSOR.book)


def _plane(report: BudgetReport, name: str) -> Any:
    return next(plane for plane in report.planes if plane.plane == name)


def _worst(report: BudgetReport, plane: str = "gauge_plane") -> float:
    return known(quantile(report, plane, "p100", "worst_case"))


def _measured(angles: dict[str, float], clocking: dict[str, float | None]) -> dict[str, Any]:
    """The press-in stack on a bench gauge, parts measured with their directions, joints clocked as given."""
    request = base_request("press_in")
    del request["machine"]
    for part in request["stack"]["components"]:
        if part["id"] in angles:
            reading = {"tir_um": 4, "at_mm": 0, "angle_deg": angles[part["id"]]}
            part["runout"] = {"law": "measured", "character": "offset", "statements": [reading]}
        elif "runout" in part:
            part["runout"] = {"statements": [{"tir_um": 0, "at_mm": 0}]}
    pairs = [("holder", "collet-1"), ("collet-1", "extension"), ("extension", "collet-2"), ("collet-2", "end-mill")]
    stated = {(joint["upper"], joint["lower"]): joint for joint in request["stack"]["joints"]}
    request["stack"]["joints"] = [
        stated.get(pair, {"upper": pair[0], "lower": pair[1]})
        | ({} if clocking.get(pair[1]) is None else {"clocking_deg": clocking[pair[1]]})
        for pair in pairs
    ]
    return request


ALL_AT_ZERO: dict[str, float | None] = {"collet-1": 0, "extension": 0, "collet-2": 0, "end-mill": 0}


@pytest.mark.parametrize("base", base_names())
def test_agrees_with_the_check(base: str) -> None:
    """Both answers tell the same p50, p95, worst case and contributors."""
    request = base_request(base)
    report, check = _budget(request), ASSESSOR.assess(parse(CheckRequest, request)).runout
    assert report.planes == check.planes
    ours = [one.model_dump(include=set(ContributorReport.model_fields)) for one in report.contributors]
    assert ours == [one.model_dump() for one in check.contributors]


def test_levels_rise_and_shares_add_up() -> None:
    """Quantiles increase with the level; shares of the mean square add up to one."""
    report = _budget(base_request("press_in"))
    for plane in report.planes:
        levels = [plane.quantile_um(name) for name in ("p50", "p80", "p95", "p99")]
        levels.append(plane.quantile_um("p100", "worst_case"))
        assert all(known(low) < known(high) for low, high in pairwise(levels))
        assert sum(item.share[plane.plane] for item in report.contributors) == pytest.approx(1.0, abs=1e-5)


def test_a_limit_at_a_quantile_is_kept_by_as_many() -> None:
    """A limit set at the 95 % point is met by 95 % of the assemblies, in the check as in the budget."""
    request = base_request("press_in")
    change(request["operations"][0], {"runout_limit_um": quantile(_budget(request), "gauge_plane")})
    for answer in (_budget(request).limit, ASSESSOR.assess(parse(CheckRequest, request)).operation.runout):
        assert answer.probability_within_limit["assemblies"] == pytest.approx(0.95, abs=1e-4)


def test_asked_planes_are_answered() -> None:
    """First principles: at the last clamping face and three diameters out the indicator finds other planes."""
    request = base_request("press_in") | {
        "planes": [
            {"datum": "last_clamping_face", "distance_mm": 24},
            {"datum": "gauge_line", "distance_mm": "2 in"},
        ]
    }
    report = _budget(request)
    assert quantile(report, "plane_1") == quantile(report, "gauge_plane")
    assert _plane(report, "plane_2").from_gauge_line_mm == 50.8


def test_amplification_is_the_growth_of_a_reading() -> None:
    """First principles: collet collet-1 is stated 82.5 mm beyond its pivot and read 146.5 mm beyond it."""
    report = _budget(base_request("press_in"))
    (collet,) = [item for item in report.contributors if item.id == "part_runout:collet-1"]
    assert collet.amplification["gauge_plane"] == pytest.approx((194 - 47.5) / 82.5, abs=1e-6)


def test_halving_the_largest_brings_most() -> None:
    """Each halving lowers the 95 % point, that of the largest contributor furthest."""
    report = _budget(base_request("press_in"))
    p95_um = known(quantile(report, "gauge_plane"))
    gains = {item.id: p95_um - item.p95_if_halved_um["gauge_plane"] for item in report.contributors}
    assert min(gains.values()) > 0
    largest = max(report.contributors, key=lambda item: item.tir_um["gauge_plane"])
    assert max(gains, key=gains.__getitem__) == largest.id


def test_seats_are_told_most_sensitive_first() -> None:
    """First principles: TIR = 2·t·d/G; the collet's seat of 45 mm lies 146.5 mm before the gauge plane."""
    seats = _budget(base_request("press_in")).seats
    assert seats == sorted(seats, key=lambda seat: -seat.tir_um_per_um["gauge_plane"])
    (collet,) = [seat for seat in seats if seat.id == "seat:holder/collet-1"]
    assert collet.tir_um_per_um["gauge_plane"] == pytest.approx(2 * 146.5 / 45, abs=1e-6)


def test_required_parts_reach_the_target() -> None:
    """With every part at what it is required to keep, 95 % read the target."""
    request = base_request("press_in") | {"target_um": 8}
    required = _budget(request).required
    assert required is not None
    assert required.factor is not None
    assert required.factor < 1
    for part in request["stack"]["components"]:
        for statement in part.get("runout", {"statements": ()})["statements"]:
            statement["tir_um"] *= required.factor
    assert quantile(_budget(request), "gauge_plane") == pytest.approx(8, abs=2e-3)


def test_known_directions_add_as_vectors() -> None:
    """First principles: 4 µm toward 0° and 4 µm toward 180° cancel; toward 0° and 90° they read 4·√2."""
    opposite = _budget(_measured({"holder": 0, "end-mill": 180}, ALL_AT_ZERO))
    assert _worst(opposite) == pytest.approx(0, abs=1e-9)
    square = _budget(_measured({"holder": 0, "end-mill": 90}, ALL_AT_ZERO))
    assert _worst(square) == pytest.approx(4 * math.sqrt(2), abs=1e-3)


def test_clocking_of_joints_turns_what_lies_beyond() -> None:
    """First principles: turning one joint by 180° turns the cutter's vector against the holder's."""
    turned = _budget(_measured({"holder": 0, "end-mill": 0}, ALL_AT_ZERO | {"extension": 180}))
    assert _worst(turned) == pytest.approx(0, abs=1e-9)


def test_an_unknown_clocking_leaves_the_direction_open() -> None:
    """One joint not stated: the two vectors point anywhere to each other, up to 8 µm together."""
    open_joint = _budget(_measured({"holder": 0, "end-mill": 180}, ALL_AT_ZERO | {"extension": None}))
    assert _worst(open_joint) == pytest.approx(8)
    # two vectors of 2 µm: P(R ≤ r) = (2/π)·asin(r/4)
    assert quantile(open_joint, "gauge_plane", "p50") == pytest.approx(2 * 4 * math.sin(math.pi / 4), abs=1e-3)


def test_turning_one_joint_leaves_the_difference() -> None:
    """First principles: 4 µm against 4 µm leave nothing, turned by what parts them from opposite."""
    clocking = _budget(_measured({"holder": 0, "end-mill": 60}, ALL_AT_ZERO)).clocking
    assert clocking is not None
    assert not clocking.marks
    assert clocking.measured_tir_um == pytest.approx(2 * 4 * math.cos(math.radians(30)), abs=1e-3)
    for turn in clocking.one_joint:
        assert turn.leaves_tir_um == pytest.approx(0, abs=1e-6)
        assert turn.turn_deg == pytest.approx(120)
        assert turn.positions is None


def test_turns_do_what_they_say() -> None:
    """Set to the turns of all joints, the stack reads what was promised."""
    request = _measured({"holder": 10, "extension": 100, "end-mill": 250}, ALL_AT_ZERO)
    clocking = _budget(request).clocking
    assert clocking is not None
    turns = {named(turn.joint): turn.turn_deg for turn in clocking.all_joints}
    for joint in request["stack"]["joints"]:
        joint["clocking_deg"] += turns.get(f"{joint['upper']}/{joint['lower']}", 0) - 360
        joint["clocking_deg"] %= 360
    after = _budget(request)
    # turns are told to a hundredth of a degree
    assert _worst(after) == pytest.approx(clocking.all_joints[0].leaves_tir_um, abs=5e-3)


def test_without_clockings_angles_go_from_mark_to_mark() -> None:
    """Set from mark to mark to the angles told, the measured parts cancel as promised."""
    request = _measured({"holder": 10, "extension": 100, "end-mill": 250}, {})
    clocking = _budget(request).clocking
    assert clocking is not None
    assert clocking.marks
    assert clocking.one_joint == []
    turns = {named(turn.joint): turn.turn_deg for turn in clocking.all_joints}
    for joint in request["stack"]["joints"]:
        joint["clocking_deg"] = turns.get(f"{joint['upper']}/{joint['lower']}", 0.0)
    after = _worst(_budget(request))
    assert after == pytest.approx(clocking.all_joints[0].leaves_tir_um, abs=5e-3)


def test_keyed_tapers_turn_to_their_positions_only() -> None:
    """A steep taper has two positions in its spindle: the spindle's runout is met at 0° or 180°."""
    request = _measured({"holder": 0}, ALL_AT_ZERO)
    request["machine"] = base_request("press_in")["machine"] | {
        "spindle_runout": {
            "law": "measured",
            "statements": [{"tir_um": 4, "at_mm": 0, "angle_deg": 0}, {"tir_um": 4, "at_mm": 300, "angle_deg": 0}],
        },
    }
    request["stack"]["joints"].append({"upper": "spindle", "lower": "holder", "clocking_deg": 0})
    clocking = _budget(request).clocking
    assert clocking is not None
    (turn,) = [item for item in clocking.one_joint if named(item.joint) == "spindle/holder"]
    assert (turn.positions, turn.turn_deg, turn.leaves_tir_um) == (2, 180.0, 0.0)


def test_a_stack_of_limits_has_no_clocking() -> None:
    """Without measured directions there is nothing to turn by calculation."""
    assert _budget(base_request("press_in")).clocking is None


def test_mean_clearance_reads_less_than_the_largest() -> None:
    """Literature: ISO 286-1, 20 H5/h6: 0 to 22 µm, mean 11 µm."""
    request = base_request("side_lock")
    found = {}
    for which in ("maximum", "mean"):
        report = _budget(request | {"policy": {"slip_fit": which}})
        (found[which],) = [item.tir_um["tip"] for item in report.contributors if item.id == "clearance:holder/end-mill"]
    assert found == {"maximum": 22.0, "mean": 11.0}


def test_pin_described_by_its_form_needs_no_runout() -> None:
    """First principles: 2 µm of bow over 90 mm, clamped at mid-grip, reads 2·4·t·(d/L)² at the tip; roundness adds."""
    request = base_request("nut_collet")
    side = request["stack"]["components"][2]["machine_side"]
    request["stack"]["components"][2] = {
        "id": "end-mill", "kind": "gauge_pin", "machine_side": side | {"length_mm": 90}, "overall_length_mm": 90,
        "straightness_um": 2, "roundness_um": 0.5, "mass_kg": 0.08, "unbalance_g_mm": 0, "coolant_through": False,
        "centre_of_mass_mm": 45,
    }  # fmt: skip
    report = _budget(request)
    assert report.complete
    own = {item.id: item.tir_um["tip"] for item in report.contributors}
    assert own["roundness:end-mill"] == 0.5
    assert own["straightness:end-mill"] == pytest.approx(2 * 4 * 2 * ((90 - 20) / 90) ** 2, abs=1e-3)


def test_missing_statements_leave_it_incomplete() -> None:
    """Planes and known contributors are listed, but no quantile, share or required runout: it would be too small."""
    request = base_request("press_in") | {"target_um": 8}
    del request["stack"]["components"][1]["runout"]
    report = _budget(request)
    assert not report.complete
    assert report.required is None
    assert [(one.plane, one.predictions) for one in report.planes] == [
        ("gauge_plane", []),
        ("tip", []),
        ("reading_plane", []),
    ]
    assert all(one.tir_um and not one.share and not one.p95_if_halved_um for one in report.contributors)
    assert report.not_stated[0].at == ["/stack/components/1/runout"]


def test_misspelt_thresholds_are_refused_here_too() -> None:
    """A budget judges no rule, yet a misspelt threshold would mislead its sender."""
    with pytest.raises(BadRequestError):
        _budget(
            base_request("press_in")
            | {"policy": {"thresholds": [{"code": "OVH-999", "threshold": "max_length_to_diameter", "value": 1}]}}
        )


@settings(max_examples=25)
@given(st.permutations(range(5)), st.floats(0.25, 4))
def test_scaling_the_parts_scales_the_budget(order: list[int], factor: float) -> None:
    """All statements doubled, all readings doubled, whichever part they stand at."""
    request = base_request("press_in")
    scaled = copy.deepcopy(request)
    for index in order:
        for statement in scaled["stack"]["components"][index]["runout"]["statements"]:
            statement["tir_um"] *= factor
    plain, grown = _budget(request), _budget(scaled)
    expected = factor * known(quantile(plain, "tip"))
    assert quantile(grown, "tip") == pytest.approx(expected, rel=1e-4, abs=2e-3)
    assert _worst(grown, "tip") == pytest.approx(factor * _worst(plain, "tip"), rel=1e-6, abs=2e-3)


def test_one_part_alone_reaches_the_target() -> None:
    """With one part at what it alone must hold, the others as stated, 95 % read the target; hopeless ones say so."""
    request = base_request("press_in") | {"target_um": 9.0}
    required = _budget(request).required
    assert required is not None
    possible = [one for one in required.one_alone if one.required_tir_um]
    assert possible
    assert [one.id for one in required.one_alone][: len(possible)] == [one.id for one in possible]
    parts = {one["id"]: one for one in request["stack"]["components"]}
    for one in possible:
        kind, _, part = one.id.partition(":")
        if kind != "part_runout":
            continue
        again = copy.deepcopy(request)
        changed = next(each for each in again["stack"]["components"] if each["id"] == part)
        assert one.required_tir_um is not None
        for statement in changed["runout"]["statements"]:
            statement["tir_um"] *= one.required_tir_um / one.stated_tir_um
        plane = next(each for each in _budget(again).planes if each.plane == "gauge_plane")
        assert plane.quantile_um("p95") == pytest.approx(9.0, rel=2e-3)
        assert part in parts


def test_a_measured_part_keeps_its_uncertainty() -> None:
    """What is required of the others grows stricter with it, and the uncertainty is no part to buy better."""
    request = base_request("press_in") | {"target_um": 9.0}
    runout = request["stack"]["components"][0]["runout"]
    runout["law"] = "measured"
    sure = _budget(request).required
    runout["statements"][0]["uncertainty_um"] = runout["statements"][-1]["uncertainty_um"] = 3.0
    unsure = _budget(request).required
    assert sure is not None
    assert unsure is not None
    assert sure.factor is not None
    assert unsure.factor is not None
    assert unsure.factor < sure.factor
    assert not any("uncertainty" in one.id for one in unsure.contributors)


def test_a_clocking_that_is_off() -> None:
    """First principles: 4 and 4 µm against each other leave nothing, and 5° off twice 4·2·sin(2.5°) as a reading."""
    clocking = _budget(_measured({"holder": 0, "end-mill": 60}, ALL_AT_ZERO)).clocking
    assert clocking is not None
    best = clocking.all_joints[0].leaves_tir_um if clocking.all_joints else clocking.measured_tir_um
    assert clocking.off_by_5_deg_tir_um > best
    assert clocking.after_reseating_p95_um is not None
    # a steep taper of new parts seats within 10 µm of the axis of rotation, a hollow one within 3
    assert clocking.after_reseating_p95_um > 2 * 0.9 * (10 if "steep" in str(base_request("press_in")) else 3)
