"""Assumed values: known, assumed and unknown never look alike, and nothing assumed releases a stack."""

from __future__ import annotations

import copy
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assumptions.combining import Result, _Key, dependence
from tests.support.stacks import report_of

_SPARSE: dict[str, Any] = {
    "stack": {
        "components": [
            {
                "kind": "base_holder",
                "id": "holder",
                "machine_side": {"coupling": "steep_taper", "size": "40", "form": "iso_7388_1_ad"},
                "workpiece_side": {"coupling": "nut_collet", "size": "32"},
                "gauge_length_mm": 70,
            },
            {
                "kind": "collet",
                "id": "collet",
                "machine_side": {"coupling": "nut_collet", "size": "32"},
                "workpiece_side": {"coupling": "collet_bore", "nominal_mm": 12},
            },
            {
                "kind": "cutter",
                "id": "mill",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 12},
                "cutting_diameter_mm": 12,
                "overall_length_mm": 83,
                "teeth": 4,
            },
        ],
        "joints": [{"upper": "collet", "lower": "mill", "projection_mm": 38}],
    },
    "operations": [
        {
            "id": "10",
            "spindle_speed_rpm": 5000,
            "feed_per_tooth_mm": 0.06,
            "limits": {"runout": {"tir_um": 30}},
            "cut": {"kind": "milling", "axial_depth_mm": 6, "radial_depth_mm": 3, "work_material": "c45"},
        }
    ],
}


def _with(unstated: str, **changes: Any) -> dict[str, Any]:
    request = copy.deepcopy(_SPARSE)
    request["policy"] = {"unstated": unstated, **changes}
    return request


def test_the_sparse_stack_of_a_40_taper() -> None:
    """Common practice: such a stack with a size 32 collet reads 10 to 20 µm at three diameters from the nut."""
    report = report_of(_with("typical"))
    plane = report.runout.plane("gauge_plane")
    assert plane is not None
    assert plane.from_last_clamping_face_mm == 36.0
    p50, p95 = plane.quantile_um("p50"), plane.quantile_um("p95")
    assert p50 is not None
    assert p95 is not None
    assert 8.0 <= p50 <= 16.0
    assert 16.0 <= p95 <= 26.0
    assert {one.quantity for one in report.assumptions} >= {"runout_tir", "mass", "torque_capacity"}
    assert report.verdict == "review"


def test_without_assumptions_there_are_no_figures() -> None:
    """The default of the contract: what is not stated stays undecided."""
    report = report_of(copy.deepcopy(_SPARSE))
    plane = report.runout.plane("gauge_plane")
    assert plane is not None
    assert plane.predictions == []
    assert report.ranges == []
    assert report.if_assumptions_hold is None
    assert all(one.quantity == "joint_stiffness" for one in report.assumptions)


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
def test_an_error_on_assumed_values_is_a_warning(unstated: str) -> None:
    """The limit of 3 µm is missed by far, yet only on assumed runouts: the verdict says so."""
    request = _with(unstated)
    request["operations"][0]["limits"]["runout"]["tir_um"] = 3
    report = report_of(request)
    (found,) = [one for one in report.findings if one.code == "RUN-010"]
    assert found.severity == "warning"
    assert found.message.startswith("Likely")
    names = {one.id: one for one in report.assumptions}
    assert {names[name].quantity for name in found.rests_on} == {"runout_tir"}
    assert (report.verdict, report.if_assumptions_hold) == ("review", "fail")


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
def test_what_is_stated_stays_an_error(unstated: str) -> None:
    """A finding that rests on nothing assumed keeps its severity and its words."""
    request = _with(unstated)
    request["stack"]["components"][1]["workpiece_side"]["nominal_mm"] = 6
    known = [one for one in report_of({**request, "policy": {}}).findings if one.severity == "error"]
    assert known
    findings = report_of(request).findings
    assert all(one in findings for one in known)
    assert report_of(request).verdict == "fail"


def test_the_policy_for_undecided_rules_holds_for_assumptions() -> None:
    """A stack that would pass is no better than an undecided one."""
    assert report_of(_with("typical", on_undecided="fail")).verdict == "fail"


def test_a_stated_value_is_never_replaced() -> None:
    """However implausible; the field then does not appear among the assumptions."""
    request = _with("typical")
    request["stack"]["components"][0]["mass_kg"] = 77.0
    report = report_of(request)
    assert report.mass.components[0].mass_kg == 77.0
    assert "/stack/components/0/mass_kg" not in {one.at for one in report.assumptions}


def test_stating_what_is_assumed_gives_the_same_figures() -> None:
    """The assumed masses, stated, give the same mass of the stack; then they are no assumptions."""
    report = report_of(_with("typical"))
    masses = {one.at: one.value for one in report.assumptions if one.quantity == "mass"}
    assert masses
    request = _with("typical")
    for at, value in masses.items():
        request["stack"]["components"][int(at.split("/")[3])]["mass_kg"] = value
    again = report_of(request)
    assert again.mass.total_kg == report.mass.total_kg
    assert not {one.at for one in again.assumptions} & masses.keys()


def test_the_mass_of_a_tool_by_hand() -> None:
    """First principles: 83 mm of 12 mm carbide at 14.5 g/cm³ weigh 136 g."""
    request = _with("typical")
    request["machine"] = {"kind": "stated", "max_tool_mass_kg": 8}
    report = report_of(request)
    (mass,) = [one for one in report.assumptions if one.quantity == "mass" and one.subject == "mill"]
    assert mass.value == pytest.approx(math.pi / 4 * 1.2**2 * 8.3 * 14.5e-3, rel=0.01)


def test_both_ends_are_shown() -> None:
    """The cautious end is never better, and the report of either policy shows the same ranges."""
    typical, cautious = report_of(_with("typical")), report_of(_with("cautious"))
    assert typical.ranges == cautious.ranges
    rows = {(one.quantity, one.plane): one for one in typical.ranges}
    runout, safety = rows["runout_tir", "gauge_plane"], rows["safety_factor", None]
    assert runout.typical is not None
    assert runout.cautious is not None
    assert runout.typical < runout.cautious
    assert runout.limit == 30
    assert safety.typical is not None
    assert safety.cautious is not None
    assert safety.typical > safety.cautious


def test_assumptions_come_in_order_of_dependence() -> None:
    """The first line says what to measure first."""
    found = [one.dependence for one in report_of(_with("typical")).assumptions if one.dependence is not None]
    assert found
    assert found == sorted(found, reverse=True)


def test_dependence_by_hand() -> None:
    """20 µm to 26 µm against 30 µm: ln 1.3 of ln 1.5; what keeps its limit at both ends decides nothing."""
    runout, mass = (_Key(name, None, None, None) for name in ("runout_tir", "mass"))

    def told(value: float, limit: float | None, kilograms: float = 2.0) -> dict[_Key, Result]:
        return {runout: Result(value, limit, "um", None), mass: Result(kilograms, None, "kg", None)}

    over, kept = told(31.0, 30.0), told(29.0, 30.0)
    found = dependence(told(26.0, 30.0), told(20.0, 30.0), over)
    assert found == pytest.approx(math.log(1.3) / math.log(1.5))
    assert dependence(told(40.0, 30.0), told(20.0, 30.0), over) > 1.0  # type: ignore[operator]
    undecisive = dependence(told(26.0, 30.0), told(20.0, 30.0), kept)
    asked = dependence(told(26.0, None), told(20.0, None), told(31.0, None))
    assert undecisive is not None
    assert asked == pytest.approx(math.log(1.3))
    assert undecisive < asked
    assert dependence(told(900.0, None), told(20.0, None), told(31.0, None)) < 1.0  # type: ignore[operator]
    assert dependence(told(20.0, 30.0, 99.0), told(20.0, 30.0), kept) <= undecisive  # type: ignore[operator]
    assert dependence(told(20.0, 30.0), told(20.0, 30.0), kept, decides=True) == 1.0
    assert dependence({}, told(20.0, 30.0), kept) is None


def _first(**machine: Any) -> str:
    """Return what the report of a sparse stack without any limit but the machine's says to measure first."""
    request = _with("typical")
    request["operations"][0].pop("limits", None)
    request["machine"] = {"kind": "stated", **machine}
    first = report_of(request).assumptions[0]
    return f"{first.quantity} of {first.subject}"


def test_without_a_limit_the_runout_comes_first() -> None:
    """Mass and stiffness decide nothing then; with a limit for the mass just above it, the mass does."""
    assert _first().startswith("runout_tir of")
    assert _first(max_tool_mass_kg=1.9).startswith("mass of")


def test_a_runout_above_its_limit_leads_to_the_part_that_makes_it() -> None:
    """The largest share of a runout above its limit is worth the first measurement, since the part may be better."""
    request = _with("typical")
    request["operations"][0]["limits"] = {"runout": {"tir_um": 8}}
    report = report_of(request)
    shares = {one.component: one.share["gauge_plane"] for one in report.runout.contributors}
    named = [one.subject for one in report.assumptions if one.quantity == "runout_tir"]
    assert len(named) > 1
    assert shares[named[0]] == max(shares[one] for one in named)


@settings(deadline=None, max_examples=15)
@given(
    remove=st.sets(
        st.sampled_from(["gauge_length_mm", "overall_length_mm", "teeth", "cutting_diameter_mm"]), max_size=3
    ),
    diameter=st.sampled_from([3, 6, 12, 20]),
    unstated=st.sampled_from(["typical", "cautious"]),
)
def test_any_gaps_are_filled_or_stay_undecided(remove: set[str], diameter: float, unstated: str) -> None:
    """Never a fault, never a pass, and the same answer twice."""
    request = _with(unstated)
    parts = request["stack"]["components"]
    parts[1]["workpiece_side"]["nominal_mm"] = diameter
    parts[2]["machine_side"]["diameter_mm"] = diameter
    for part in parts:
        for name in remove & part.keys():
            del part[name]
    first, second = report_of(copy.deepcopy(request)), report_of(request)
    assert first == second
    assert first.verdict in ("review", "fail")


def test_an_assumed_value_is_never_implausible() -> None:
    """A cautious mass beyond a solid cylinder is the assumption's fault, so nobody is told to weigh the part."""
    request = _with("cautious")
    request["stack"]["components"][2]["profile"] = [{"length_mm": 83, "outer_mm": 12}]
    request["machine"] = {"kind": "stated", "max_tool_mass_kg": 8}
    report = report_of(request)
    assert "mass" in {one.quantity for one in report.assumptions}
    assert not [one.code for one in report.findings if one.code.startswith("PLA-")]


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
@pytest.mark.parametrize("diameter_mm", [1666.6, 1667.0, 5000.0])
def test_a_runout_is_assumed_for_the_largest_tool(unstated: str, diameter_mm: float) -> None:
    """Three diameters from its face may be further than any length of the contract."""
    request = copy.deepcopy(_SPARSE)
    mill = request["stack"]["components"][2]
    mill["cutting_diameter_mm"] = mill["machine_side"]["diameter_mm"] = diameter_mm
    report = report_of({**request, "policy": {"unstated": unstated}})
    assert {one.subject for one in report.assumptions if one.quantity == "runout_tir"} >= {"holder", "collet"}
