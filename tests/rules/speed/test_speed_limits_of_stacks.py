"""Speed limits of a stack: each cause by hand, the list, the margin and missing data."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from rules.schema.report import SpeedReport
from service.sheets.figures import value_of
from tests.support.operations import change, drop
from tests.support.stacks import codes, derived_of, known, named, report_of


def _all_causes() -> dict[str, Any]:
    """Return a shrink fit on a machine, with a grade, a stated cutting speed and a torque: every cause applies.

    The tap test is low, since a critical speed above all stated limits is none.
    """
    request = base_request("shrink")
    request["stack"]["tap_test_hz"] = 450
    request["stack"]["components"][1]["max_cutting_speed_m_per_min"] = 400
    change(request["operations"][0], {"torque_n_m": 5})
    return request


def _speed(request: dict[str, Any]) -> SpeedReport:
    return report_of(request).operation.speed


def _limits(request: dict[str, Any]) -> dict[tuple[str, str | None], float]:
    return {(one.cause, one.component or named(one.joint)): one.speed_rpm.value for one in _speed(request).limits}


def test_the_list_holds_every_cause() -> None:
    """First principles: statements as they stand, v_c/(π·D), 9549.3·G·m/U, 60·f·share, and where the grip is met."""
    request = _all_causes()
    derived = derived_of(request)
    unbalance = derived.balance.unbalance
    assert not isinstance(unbalance, Missing)
    balance = 30e3 / math.pi * 16 * known(derived.masses.total) / unbalance.p95
    assert _limits(request) == pytest.approx(
        {
            ("component", "holder"): 25_000,
            ("component", "end-mill"): 30_000,
            ("machine", None): 18_000,
            ("cutting_speed", "end-mill"): 400e3 / (math.pi * 12),
            ("balance", None): balance,
            ("critical_speed", None): 0.75 * 60 * 450,
            ("shrink_fit", "holder/end-mill"): known(derived.grips[0].holding_speed_rpm),
        },
        abs=0.06,
    )
    assert _speed(request).complete


@pytest.mark.parametrize("share", [0.05, 0.5, 1.0])
def test_share_of_the_critical_speed_is_the_policy_s(share: float) -> None:
    """The limit listed is the one the rule judges by, and the policy moves both."""
    request = _all_causes() | {
        "policy": {"thresholds": [{"code": "SPD-040", "threshold": "max_share", "value": share}]}
    }
    critical = value_of(report_of(request).stiffness.critical_speed_rpm)
    assert critical is not None
    limit = _limits(request)[("critical_speed", None)]
    assert limit == pytest.approx(share * critical, abs=0.11)
    for factor, fires in ((0.999, False), (1.001, True)):
        change(request["operations"][0], {"spindle_speed_rpm": limit * factor})
        assert ("SPD-040" in codes(report_of(request))) is fires


def test_lowest_first_and_the_lowest_governs() -> None:
    """The list is in order, whatever the causes."""
    speeds = [one.speed_rpm.value for one in _speed(_all_causes()).limits]
    assert speeds == sorted(speeds)
    assert len(speeds) == 7
    governing = _speed(_all_causes()).governing
    assert governing is not None
    assert governing.speed_rpm.value == speeds[0]
    assert governing.cause == "cutting_speed"


@pytest.mark.parametrize(
    ("change", "cause"),
    [
        (("stack", "components", 0, "max_speed_rpm", 900), "component"),
        (("stack", "components", 0, "unbalance_g_mm", 900), "balance"),
        (("policy", {"thresholds": [{"code": "SPD-040", "threshold": "max_share", "value": 0.05}]}), "critical_speed"),
        (("stack", "components", 0, "workpiece_side", "deviation", {"lower_um": -20, "upper_um": -11}), "shrink_fit"),
        (("machine", "max_speed_rpm", 900), "machine"),
        (("stack", "components", 1, "max_cutting_speed_m_per_min", 20), "cutting_speed"),
    ],
)
def test_every_cause_may_govern(change: tuple[Any, ...], cause: str) -> None:
    """Whichever is lowest is named."""
    request: Any = _all_causes()
    place = request
    *steps, last, value = change
    for step in steps:
        place = place[step]
    place[last] = value
    governing = _speed(request).governing
    assert governing is not None
    assert governing.cause == cause


@pytest.mark.parametrize(("asked", "margin"), [(8000, 2000), (10_000, 0), (12_500, -2500)])
def test_margin_has_a_sign(asked: float, margin: float) -> None:
    """First principles: limit less speed asked, and its share of the speed asked; negative beyond the limit."""
    request = _all_causes()
    request["machine"]["max_speed_rpm"] = 10_000
    change(request["operations"][0], {"spindle_speed_rpm": asked})
    speed = _speed(request)
    assert speed.programmed_rpm == asked
    assert speed.margin_rpm == margin
    assert speed.relative_margin == pytest.approx(margin / asked, abs=6e-7)


def test_no_speed_asked_has_no_margin() -> None:
    """The limits stand all the same."""
    request = _all_causes()
    drop(request["operations"][0], "spindle_speed_rpm")
    speed = _speed(request)
    assert (speed.programmed_rpm, speed.margin_rpm, speed.relative_margin) == (None, None, None)
    assert len(speed.limits) == 7


@pytest.mark.parametrize(
    ("pointer", "gone"),
    [
        ("/stack/components/0/max_speed_rpm", ("component", "holder")),
        ("/stack/components/1/max_speed_rpm", ("component", "end-mill")),
        ("/stack/components/0/mass_kg", ("balance", None)),
        ("/stack/components/1/unbalance_g_mm", ("balance", None)),
        ("/stack/components/1/runout", ("balance", None)),
        ("/stack/components/0/profile", ("critical_speed", None)),
        ("/stack/components/1/cutting_diameter_mm", ("cutting_speed", "end-mill")),
        ("/stack/components/0/workpiece_side/deviation", ("shrink_fit", "holder/end-mill")),
    ],
)
def test_a_limit_that_is_not_known_leaves_the_list_incomplete(pointer: str, gone: tuple[str, str | None]) -> None:
    """What applies and is not known is missing from the list, the list says so, and the reason is a field."""
    request: Any = _all_causes()
    if gone[0] == "critical_speed":
        del request["stack"]["tap_test_hz"]  # measured, it needs no outline
    place = request
    *steps, last = pointer.split("/")[1:]
    for step in steps:
        place = place[int(step)] if isinstance(place, list) else place[step]
    del place[last]
    assert gone not in _limits(request)
    assert not _speed(request).complete
    lacking = derived_of(request).speed_limits.lacking
    assert lacking is not None
    assert pointer.removesuffix("deviation") in " ".join(lacking.fields)


@pytest.mark.parametrize(
    ("steps", "gone"),
    [
        (("operations", 0, "limits", "balance_grade"), ("balance", None)),
        (("machine", "max_speed_rpm"), ("machine", None)),
        (("machine",), ("machine", None)),
        (("stack", "components", 1, "max_cutting_speed_m_per_min"), ("cutting_speed", "end-mill")),
    ],
)
def test_a_limit_that_nobody_asks_for_is_not_missed(steps: tuple[Any, ...], gone: tuple[str, str | None]) -> None:
    """Without a grade, a machine or a stated cutting speed there is no such limit, and the list is complete."""
    request: Any = _all_causes()
    place = request
    for step in steps[:-1]:
        place = place[step]
    del place[steps[-1]]
    assert gone not in _limits(request)
    assert _speed(request).complete


def test_nothing_out_of_balance_limits_no_speed() -> None:
    """First principles: U = 0 keeps every grade at every speed."""
    request = base_request("shell_mill")
    for part in request["stack"]["components"]:
        part |= {"unbalance_g_mm": 0, "runout": {"statements": [{"tir_um": 0, "at_mm": 10}]}}
    assert ("balance", None) not in _limits(request)
    assert _speed(request).complete


def test_a_knob_that_states_a_speed_counts() -> None:
    """A knob, like a collet, need state no speed, but what it states limits the stack."""
    request = base_request("press_in")
    assert ("component", "knob") not in _limits(request)
    assert _speed(request).complete
    request["stack"]["components"][5]["max_speed_rpm"] = 500
    request["stack"]["components"][1]["max_speed_rpm"] = 600
    assert [one.component for one in _speed(request).limits][:2] == ["knob", "collet-1"]


def test_a_stack_that_is_read_has_no_critical_speed() -> None:
    """A gauge pin is turned by hand: neither bending nor balance limits it, and neither is missed."""
    request = base_request("nut_collet")
    cutter = request["stack"]["components"][2]
    request["stack"]["components"][2] = {
        key: cutter[key] for key in ("id", "machine_side", "material", "overall_length_mm", "profile", "runout")
    } | {"kind": "gauge_pin"}
    report = report_of(request)
    assert {one.cause for one in report.operation.speed.limits} == {"component", "machine"}
    assert report.speed_complete
    assert report.stiffness.critical_speed_rpm is None
    assert report.stiffness.bending_frequencies_hz
    assert report.operation.balance.highest_speed_rpm is None
    assert "SPD-040" not in {gap.code for gap in report.undecided} | set(report.decided)


def test_a_shrink_fit_that_speed_tightens_limits_nothing() -> None:
    """First principles: a solid shank grows with ρ/E·(1 − ν); at 30,000 kg/m³ and 1 GPa it outruns the bore."""
    request = base_request("shrink")
    request["stack"]["components"][1] |= {"density_kg_m3": 30_000, "youngs_modulus_gpa": 1}
    assert derived_of(request).grips[0].holding_speed_rpm is None
    assert not [cause for cause, _ in _limits(request) if cause == "shrink_fit"]
    assert _speed(request).complete
