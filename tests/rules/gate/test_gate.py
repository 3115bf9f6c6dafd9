"""The gate: decisions, required data, pointers into the order, and no release without judgement."""

from __future__ import annotations

import copy
import json
import random
import re
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.gate.gate import SHARED_ID, gate
from rules.gate.required import impossible, requirements
from rules.schema.gate import (
    EVALUATIONS,
    MAX_OPERATIONS,
    REQUIREMENTS,
    Decision,
    GateOperationReport,
    GateReport,
    GateRequest,
    RequirementName,
)
from rules.schema.parsing import BadRequestError, parse
from rules.schema.request import SECTIONS
from tests.support.orders import CHANGES, check_of, decided, operation_of, order_of
from tests.support.random_stacks import random_stack
from tests.support.stacks import assessor, report_of

EXPECTED: dict[str, tuple[str, str, set[str], set[str]]] = {
    "good": ("release", "pass", set(), set()),
    "cutting speed": ("release", "pass", set(), set()),
    "advice": ("release", "pass", set(), set()),
    "warning": ("hold", "review", {"DAT-030"}, set()),
    "undecided": (
        "hold",
        "review",
        set(),
        {"BAL-020", "RUN-010", "RUN-020", "RUN-030", "RUN-040", "RUN-060", "SPD-020"},
    ),
    "error": ("stop", "fail", {"SPD-010"}, set()),
    "no machine": (
        "hold",
        "pass",
        {"GATE-010", "GATE-020", "GATE-060", *(f"GATE-{n}" for n in range(110, 170, 10))},
        set(),
    ),
    "no spindle": ("hold", "review", {"GATE-020"}, {"SPN-010"}),
    "no speed": ("hold", "pass", {"GATE-030"}, set()),
    "no runout limit": ("hold", "pass", {"GATE-040"}, set()),
    "no balance grade": ("hold", "pass", {"GATE-050"}, set()),
    "no machine speed": ("hold", "pass", {"GATE-060"}, set()),
    "no operation": (
        "hold",
        "pass",
        {"GATE-030", "GATE-040", "GATE-050", "GATE-170", "GATE-180", "GATE-210", "GATE-220"},
        set(),
    ),
    "no tool mass": ("hold", "pass", {"GATE-110"}, set()),
    "no tool length": ("hold", "pass", {"GATE-120"}, set()),
    "no tool diameter": ("hold", "pass", {"GATE-130"}, set()),
    "no moment": ("hold", "pass", {"GATE-140"}, set()),
    "no torque": ("hold", "pass", {"GATE-150"}, set()),
    "no power": ("hold", "pass", {"GATE-160"}, set()),
    "no load": ("hold", "pass", {"GATE-170", "GATE-180"}, set()),
    "no pull": ("hold", "pass", {"GATE-170"}, set()),
    "nil load": ("hold", "pass", {"GATE-180"}, set()),
    "declared": ("hold", "pass", {"GATE-190"}, set()),
    "slender": ("hold", "review", {"OVH-020", "GATE-200"}, set()),
    "no coolant": ("hold", "pass", {"GATE-210"}, set()),
    "no feed": ("hold", "pass", {"GATE-220"}, set()),
    "drill": ("release", "pass", set(), set()),
    "no cutter": ("hold", "pass", {"GATE-070"}, set()),
    "undefined part": ("stop", "fail", {"REF-010", "GATE-070"}, set()),
}
"""Operation -> decision, verdict of the check, codes of reasons, codes of undecided rules."""

GRAVITY = {"release": 0, "hold": 1, "stop": 2}


def _only(report: GateReport) -> GateOperationReport:
    (operation,) = report.operations
    return operation


def test_every_change_is_expected() -> None:
    """No way to list an operation without an expectation."""
    assert EXPECTED.keys() == CHANGES.keys()


@pytest.mark.parametrize("name", EXPECTED)
def test_one_operation(name: str) -> None:
    """Decision, verdict, reasons and undecided rules are those the operation was listed for."""
    report = decided(order_of(name))
    one = _only(report)
    found = (one.decision, one.verdict, {it.code for it in one.reasons}, {it.code for it in one.undecided})
    assert found == EXPECTED[name]
    assert report.decision == one.decision
    # at the speed of the error the teeth pass near a natural frequency
    assert bool(one.advice) is (name in ("advice", "error"))


@pytest.mark.parametrize(
    ("names", "decision", "counts"),
    [
        (("good", "good"), "release", (2, 0, 0)),
        (("good", "warning"), "hold", (1, 1, 0)),
        (("no speed", "good", "undecided"), "hold", (1, 2, 0)),
        (("warning", "error", "good"), "stop", (1, 1, 1)),
        (("error", "error"), "stop", (0, 0, 2)),
    ],
)
def test_the_worst_operation_decides(names: tuple[str, ...], decision: str, counts: tuple[int, ...]) -> None:
    """Stop before hold before release, and every operation is counted once."""
    report = decided(order_of(*names))
    assert report.decision == decision
    assert (report.counts.release, report.counts.hold, report.counts.stop) == counts
    assert report.counts.operations == len(names)


@pytest.mark.parametrize(
    ("name", "number", "word"), [("good", 1, "OK"), ("error", 2, "NotOK"), ("warning", 3, "NotDecidable")]
)
def test_evaluations_of_the_companion_specification(name: str, number: int, word: str) -> None:
    """Literature: OPC 40001-101, ResultEvaluationEnum: 1 OK, 2 NotOK, 3 NotDecidable (numbers from memory)."""
    report = decided(order_of(name))
    one = _only(report)
    assert (report.evaluation, report.evaluation_name) == (number, word)
    assert (one.evaluation, one.evaluation_name) == (number, word)
    assert EVALUATIONS[report.decision] == (number, word)


@pytest.mark.parametrize(
    ("name", "policy", "decision"),
    [
        ("warning", {"on_warning": "review"}, "hold"),
        ("warning", {"on_warning": "fail"}, "stop"),
        ("warning", {"on_undecided": "fail"}, "hold"),
        ("undecided", {"on_undecided": "review"}, "hold"),
        ("undecided", {"on_undecided": "fail"}, "stop"),
        ("undecided", {"on_warning": "fail"}, "hold"),
        ("no speed", {"on_undecided": "fail", "on_warning": "fail"}, "hold"),
        ("error", {"thresholds": [{"code": "SPD-040", "threshold": "max_share", "value": 0.5}]}, "stop"),
    ],
)
def test_policies(name: str, policy: dict[str, Any], decision: str) -> None:
    """A stricter policy stops what else is held; what is not stated is held by any. An operation's own policy wins."""
    assert decided(order_of(name, policy=policy)).decision == decision
    own = order_of(name, policy={"on_warning": "review"})
    own["operations"][0]["policy"] = policy
    assert decided(own).decision == decision


@pytest.mark.parametrize("name", EXPECTED)
@pytest.mark.parametrize("policy", [{}, {"on_undecided": "fail"}, {"on_warning": "fail"}])
def test_the_decision_follows_from_the_effects(name: str, policy: dict[str, Any]) -> None:
    """The gravest effect told is the decision, and what stops is told first."""
    one = _only(decided(order_of(name, policy=policy)))
    effects = [it.effect for it in (*one.reasons, *one.undecided)]
    assert one.decision == max((it or "release" for it in effects), key=GRAVITY.__getitem__, default="release")
    gravities = [GRAVITY[it.effect or "release"] for it in one.reasons]
    assert gravities == sorted(gravities, reverse=True)
    assert all(it.effect is None and it.severity == "advice" for it in one.advice)


REQUIRED: list[tuple[RequirementName, str, str, str]] = [
    ("machine", "no machine", "GATE-010", "/machine"),
    ("spindle", "no spindle", "GATE-020", "/operations/0/machine/spindle"),
    ("spindle_speed", "no speed", "GATE-030", "/operations/0/spindle_speed_rpm"),
    ("runout_limit", "no runout limit", "GATE-040", "/operations/0/limits/runout"),
    ("balance_grade", "no balance grade", "GATE-050", "/operations/0/limits/balance_grade"),
    ("machine_speed", "no machine speed", "GATE-060", "/operations/0/machine/max_speed_rpm"),
    ("cutter", "no cutter", "GATE-070", "/operations/0/stack/components"),
    ("machine_mass", "no tool mass", "GATE-110", "/operations/0/machine/max_tool_mass_kg"),
    ("machine_length", "no tool length", "GATE-120", "/operations/0/machine/max_tool_length_mm"),
    ("machine_diameter", "no tool diameter", "GATE-130", "/operations/0/machine/max_tool_diameter_mm"),
    ("machine_moment", "no moment", "GATE-140", "/operations/0/machine/max_tilting_moment_n_m"),
    ("machine_torque", "no torque", "GATE-150", "/operations/0/machine/max_torque_n_m"),
    ("machine_power", "no power", "GATE-160", "/operations/0/machine/max_power_kw"),
    ("cut", "no pull", "GATE-170", "/operations/0/load/axial_pull_n"),
    ("clamping", "nil load", "GATE-180", "/operations/0/stack/components/1"),
    ("couplings", "declared", "GATE-190", "/operations/0/stack/components/3"),
    ("coolant", "no coolant", "GATE-210", "/operations/0/coolant"),
    ("feed", "no feed", "GATE-220", "/operations/0/feed_per_tooth_mm"),
    ("critical_speed", "slender", "GATE-200", "/operations/0/stack/tap_test_hz"),
]
"""Requirement -> operation that lacks it, code of the reason, field it names."""


@pytest.mark.parametrize(("name", "lacking", "code", "field"), REQUIRED)
def test_what_is_required_and_not_stated_is_held(name: RequirementName, lacking: str, code: str, field: str) -> None:
    """Fail closed, three ways: stated releases; not stated is held and named; not required is told as not judged."""
    assert decided(order_of("good", required=[name])).decision == "release"

    held = decided(order_of(lacking, required=[name]))
    (reason,) = [it for it in _only(held).reasons if it.code.startswith("GATE")]
    assert (held.decision, reason.code, reason.effect) == ("hold", code, "hold")
    assert field in reason.at
    assert held.required == [name]

    others = [other for other in REQUIREMENTS if other != name]
    let_go = decided(order_of(lacking, required=others))
    assert code not in {it.code for it in _only(let_go).reasons}
    assert _only(let_go).waived == [name]
    assert [it.name for it in let_go.not_required] == [name]
    assert let_go.not_required[0].why


def test_nothing_required_leaves_the_checks() -> None:
    """An empty list demands nothing; the decision is then that of the checks, and the report names all that is not."""
    report = decided(order_of("no operation", "no machine", required=[]))
    assert report.decision == "release"
    assert [it.name for it in report.not_required] == list(REQUIREMENTS)
    assert report.operations[0].waived == [
        "spindle_speed",
        "runout_limit",
        "balance_grade",
        "cut",
        "clamping",
        "coolant",
        "feed",
    ]
    assert decided(order_of("error", required=[])).decision == "stop"


def test_everything_is_required_by_default() -> None:
    """Left out and written out are one; the list, its order and its words agree with the contract."""
    assert decided(order_of("good")).required == list(REQUIREMENTS)
    assert decided(order_of("good")).not_required == []
    assert decided(order_of("good", required=list(reversed(REQUIREMENTS)))).required == list(REQUIREMENTS)
    assert [one.name for one in requirements()] == list(REQUIREMENTS) == list(get_args(RequirementName))
    codes = [one.code for one in requirements()]
    assert codes == sorted(set(codes))
    assert SHARED_ID not in codes
    assert {one[0] for one in REQUIRED} == set(REQUIREMENTS)


def test_no_safety_rule_may_fall_silent_unnoticed() -> None:
    """Each is asked for by a requirement, or is idle only where the stack has no such thing."""
    asked = {code for one in requirements() for code in one.rules}
    by_nature = set(impossible())
    safety = {rule.code for rule in assessor().book.rules if rule.safety}
    assert asked & by_nature == {"SPD-040", "STF-020"}  # a far critical speed need not be known well
    assert asked | by_nature == safety | {"REF-010", "REF-020", "REF-030", "REF-050"}


@pytest.mark.parametrize("name", EXPECTED)
def test_every_safety_rule_is_decided_impossible_or_held(name: str) -> None:
    """First principles: what neither judged nor is named with a reason would have consented by silence."""
    report = decided(order_of(name, include=["decided"]))
    one = _only(report)
    assert one.report is not None
    told = {*one.report.decided, *(it.code for it in one.undecided)}
    told |= {it.code for it in (*one.reasons, *one.advice)}
    idle = {it.code: it.reason for it in one.not_judged}
    assert all(idle.values())
    assert {rule.code for rule in assessor().book.rules if rule.safety} == (told | idle.keys()) & {
        rule.code for rule in assessor().book.rules if rule.safety
    }
    held = {code for it in requirements() if it.code in told for code in it.rules}
    if name == "undefined part":
        assert one.decision == "stop"  # nothing but the reference was judged
    elif one.decision == "release":
        assert idle.keys() <= impossible().keys()
    else:
        assert idle.keys() <= impossible().keys() | held


def test_gate_codes_are_of_no_rule() -> None:
    """A code of the gate is never that of a rule in the books."""
    assert not [rule.code for rule in assessor().book.rules if rule.code.startswith("GATE")]


def test_operations_that_share_an_id_are_held() -> None:
    """Both are held, each points at both; a third is not concerned."""
    order = order_of("good", "good", "error", "good")
    order["operations"][1]["id"] = order["operations"][2]["id"] = "10"
    report = decided(order)
    assert [one.decision for one in report.operations] == ["hold", "hold", "stop", "release"]
    for one in report.operations[:3]:
        (shared,) = [it for it in one.reasons if it.code == SHARED_ID]
        assert shared.at == ["/operations/0/id", "/operations/1/id", "/operations/2/id"]
        assert "3 operations" in shared.message


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("1O", "10"),
        ("I0", "10"),
        ("l0", "10"),
        ("Op 10", "OP 10"),
        ("op  10", "op 10"),
        ("2x5", "2\u00d75"),
        ("rn1", "m1"),
    ],
)
def test_operations_whose_ids_look_alike_are_held(one: str, other: str) -> None:
    """Literature: Unicode Technical Standard 39, confusables of the signs that an id may have."""
    order = order_of("good", "good", "good")
    order["operations"][0]["id"], order["operations"][1]["id"] = one, other
    report = decided(order)
    assert [it.decision for it in report.operations] == ["hold", "hold", "release"]
    (reason,) = report.operations[1].reasons
    assert (reason.code, reason.at) == (SHARED_ID, ["/operations/0/id", "/operations/1/id"])
    assert one in reason.message
    assert other in reason.message


@pytest.mark.parametrize("name", ["10 ", " 10", "\u0661\u0660", "1\u041e", "10\u200b", "1\n", ""])
def test_an_id_has_no_blanks_around_it_and_no_foreign_letters(name: str) -> None:
    """What cannot be told from another id on paper is refused."""
    order = order_of("good")
    order["operations"][0]["id"] = name
    with pytest.raises(BadRequestError) as caught:
        decided(order)
    assert [fault.pointer for fault in caught.value.faults] == ["/operations/0/id"]


def test_machine_and_policy_of_the_order_hold_where_an_operation_states_none() -> None:
    """The order's machine is judged with, and pointed at where it stands."""
    order = order_of("good", "good")
    machine = order["operations"][0].pop("machine") | {"max_speed_rpm": 8000}
    report = decided({**order, "machine": machine})
    assert [one.decision for one in report.operations] == ["stop", "release"]
    del machine["max_speed_rpm"]
    first, second = decided({**order, "machine": machine}).operations
    assert [(it.code, it.at) for it in first.reasons] == [("GATE-060", ["/machine/max_speed_rpm"])]
    assert second.reasons == []


@pytest.mark.parametrize("name", [name for name in EXPECTED if name != "no machine"])
def test_a_full_report_is_that_of_a_check(name: str) -> None:
    """Asked for, each operation carries the report of a check of its own, pointers apart."""
    order = order_of("good", name, include=list(SECTIONS))
    told = decided(order).operations[1].report
    assert told is not None
    check = check_of(name)
    check["operations"] = [{**operation, "id": "20"} for operation in check.get("operations", [{}])]
    check["include"] = list(SECTIONS)
    alone = report_of(check).model_dump_json()
    alone = re.sub(r'"/operations/0(?=[/"])', '"/operations/1', alone)
    alone = re.sub(r'"/(?=(?:stack|machine)[/"])', '"/operations/1/', alone)
    assert json.loads(told.model_dump_json()) == json.loads(alone)
    assert decided(order_of(name)).operations[0].report is None


def test_pointers_lead_into_the_order() -> None:
    """What is missing in the third operation is pointed at there."""
    gaps = decided(order_of("good", "good", "undecided")).operations[2].undecided
    fields = {field for gap in gaps for lack in gap.lacks for field in lack.at}
    assert "/operations/2/stack/components/1/runout" in fields
    assert all(place.startswith("/operations/2") for gap in gaps for place in gap.at)


def test_a_component_of_the_order_is_pointed_at_where_it_is_defined() -> None:
    """A reference is followed; what its definition lacks is missing under components of the order."""
    order = order_of("good", "good")
    for operation in order["operations"]:
        collet = operation["stack"]["components"][1]
        operation["stack"]["components"][1] = {
            "kind": "reference",
            "of": {"from": "request", "key": "KB-C1"},
            "id": "collet-1",
        }
    assert decided({**order, "components": {"KB-C1": collet}}).decision == "release"
    del collet["runout"]
    for one in decided({**order, "components": {"KB-C1": collet}}).operations:
        assert one.decision == "hold"
        assert {field for gap in one.undecided for lack in gap.lacks for field in lack.at} == {
            "/components/KB-C1/runout"
        }
    undefined = decided(order).operations[1]
    assert ("REF-010", ["/operations/1/stack/components/1"]) in [(it.code, it.at) for it in undefined.reasons]


NAMES = st.sampled_from(sorted(EXPECTED))


@settings(max_examples=40)
@given(st.lists(NAMES, min_size=1, max_size=4), NAMES)
def test_one_operation_more_is_never_better(names: list[str], more: str) -> None:
    """First principles: the worst of a set does not improve when the set grows; nor does any operation already in."""
    before, after = decided(order_of(*names)), decided(order_of(*names, more))
    assert GRAVITY[after.decision] >= GRAVITY[before.decision]
    assert after.operations[:-1] == before.operations
    assert after.decision == max((EXPECTED[name][0] for name in (*names, more)), key=GRAVITY.__getitem__)


@settings(max_examples=30)
@given(st.lists(NAMES, min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_the_order_of_operations_decides_nothing(names: list[str], rng: random.Random) -> None:
    """Shuffled, every operation and the order as a whole get the same decision."""
    order = order_of(*names)
    shuffled = copy.deepcopy(order)
    rng.shuffle(shuffled["operations"])
    one, other = decided(order), decided(shuffled)
    assert (one.decision, one.counts) == (other.decision, other.counts)
    assert {it.id: it.decision for it in one.operations} == {it.id: it.decision for it in other.operations}


@settings(max_examples=80)
@given(st.integers(0, 2**32))
def test_nothing_is_released_that_was_not_judged(number: int) -> None:
    """Senseless stacks get a decision, never a better one than their check; released is who passes and states all."""
    rng = random.Random(number)
    made = [{"id": str(rng.randint(0, 20)), **random_stack(rng)} for _ in range(rng.randint(1, 3))]
    try:
        request = parse(GateRequest, {"order": "x", "operations": made})
    except BadRequestError:
        return
    report = gate(request, assessor())
    of_verdict: dict[str, Decision] = {"pass": "release", "review": "hold", "fail": "stop"}
    for one, listed in zip(report.operations, made, strict=True):
        assert GRAVITY[one.decision] >= GRAVITY[of_verdict[one.verdict]]
        if one.decision == "release":
            assert listed["limits"].keys() >= {"runout", "balance_grade"}
            machine = listed["machine"]
            assert listed.keys() & {"spindle_speed_rpm", "cutting_speed_m_per_min"}
            assert machine.keys() >= {"spindle", "max_speed_rpm"}
            assert [*one.reasons, *one.undecided] == []
    assert GateReport.model_validate_json(report.model_dump_json()) == report


def test_the_same_order_gives_the_same_bytes() -> None:
    """Asked twice, one answer."""
    order = order_of("good", "warning", "undecided", context={"a": 1})
    assert decided(order).model_dump_json() == decided(order).model_dump_json()


def test_as_many_operations_as_allowed() -> None:
    """A hundred are decided, none and one more are no order."""
    operation = operation_of("good")
    many = [operation | {"id": str(n)} for n in range(MAX_OPERATIONS)]
    assert decided({"order": "x", "operations": many}).counts.release == MAX_OPERATIONS
    for wrong in ([], [*many, operation]):
        with pytest.raises(BadRequestError) as caught:
            parse(GateRequest, {"order": "x", "operations": wrong})
        assert [fault.pointer for fault in caught.value.faults] == ["/operations"]


def test_wrong_thresholds_are_pointed_at() -> None:
    """In the order's policy, though every operation has its own, and in that of each operation."""
    order = order_of("good", "good", policy={"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]})
    order["operations"][0]["policy"] = {}
    order["operations"][1]["policy"] = {
        "thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 1e9}]
    }
    with pytest.raises(BadRequestError) as caught:
        decided(order)
    assert [fault.pointer for fault in caught.value.faults] == [
        "/policy/thresholds/0/code",
        "/operations/1/policy/thresholds/0/value",
    ]


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
def test_a_gate_assumes_nothing(unstated: str) -> None:
    """Assumed values are refused in every policy; what is not stated stays undecided."""
    order = order_of("undecided", "undecided", policy={"unstated": unstated})
    order["operations"][1]["policy"] = {"unstated": unstated}
    with pytest.raises(BadRequestError) as caught:
        decided(order)
    assert [(fault.pointer, fault.code) for fault in caught.value.faults] == [
        ("/policy/unstated", "not_one_of"),
        ("/operations/1/policy/unstated", "not_one_of"),
    ]
    assert decided(order_of("undecided", policy={"unstated": "undecided"})).decision == "hold"


def test_changed_thresholds_are_told_by_operation() -> None:
    """Each operation names the thresholds that were changed for it, the order's among them."""
    order = order_of(
        "good", "good", policy={"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 6}]}
    )
    order["operations"][1]["policy"] = {"thresholds": [{"code": "SPD-040", "threshold": "max_share", "value": 0.6}]}
    report = decided(order)
    assert [[it.code for it in one.deviations] for one in report.operations] == [
        ["OVH-010"],
        ["OVH-010", "SPD-040"],
    ]
    assert [it.code for it in report.provenance.deviations] == ["OVH-010"]


def test_a_fault_of_the_engine_is_no_decision(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the rules could not be judged there is no report, so nothing can be taken for a release."""
    monkeypatch.setattr(Assessor, "assess_derived", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        decided(order_of("good"))


@pytest.mark.parametrize(
    ("place", "text", "holds"),
    [
        (4, {"machine_side.tolerance": "8 h6"}, None),
        (4, {"machine_side.tolerance": "12 h6"}, "reason"),
        (4, {"machine_side.tolerance": "snug"}, "undecided"),
        (4, {"thread": "M99x7"}, "undecided"),
        (2, {"machine_side.tolerance": "25 h"}, "undecided"),
        (0, {"machine_side": {"coupling": "designated", "designation": "capsule 26"}}, "undecided"),
    ],
)
def test_a_text_that_is_not_understood_is_not_released(place: int, text: dict[str, Any], holds: str | None) -> None:
    """Even one that no other rule reads; its own pointer is named."""
    order = order_of("good")
    part = order["operations"][0]["stack"]["components"][place]
    for field, value in text.items():
        *inner, last = field.split(".")
        (part[inner[0]] if inner else part)[last] = value
    report = decided(order)
    (operation,) = report.operations
    at = f"/operations/0/stack/components/{place}/{next(iter(text)).replace('.', '/')}"
    found = {
        "reason": [pointer for one in operation.reasons if one.code == "DAT-090" for pointer in one.at],
        "undecided": [pointer for one in operation.undecided if one.code == "DAT-090" for pointer in one.at],
    }
    assert report.may_start == (holds is None)
    assert {name for name, pointers in found.items() if at in pointers} == ({holds} if holds else set())
