"""Several operations of one stack: what depends on one of them, and what does not."""

from __future__ import annotations

from typing import Any

import pytest

from rules.analysis import analyse
from rules.assessor import Assessor
from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import Report
from tests.support.operations import operation_of

ASSESSOR = Assessor.load()

EASY = operation_of({"spindle_speed_rpm": 3000, "runout_limit_um": 80, "coolant": "external"}, "10")
HARD = operation_of(
    {
        "spindle_speed_rpm": 15500,
        "runout_limit_um": 3,
        "balance_grade": "G0.4",
        "coolant": "through",
        "feed_per_tooth_mm": 0.05,
        "torque_n_m": 20,
    },
    "20",
)


def _report(base: str, *operations: dict[str, Any]) -> Report:
    return ASSESSOR.assess(parse_request({**base_request(base), "operations": list(operations)}))


@pytest.mark.parametrize("base", base_names())
def test_each_operation_is_judged_as_if_it_were_the_only_one(base: str) -> None:
    """Its section and its findings are those of a check with it alone."""
    both = _report(base, EASY, HARD)
    for number, operation in enumerate((EASY, HARD)):
        alone = _report(base, operation)
        assert both.operations[number] == alone.operations[0]
        name = operation["id"]
        for listed in ("findings", "undecided"):
            told = [(one.code, one.operation) for one in getattr(both, listed) if one.operation in (None, name)]
            assert told == [(one.code, one.operation) for one in getattr(alone, listed)]
    assert both.verdict == max((one.verdict for one in both.operations), key=["pass", "review", "fail"].index)


def test_what_the_stack_breaks_is_told_once() -> None:
    """A grip that is too short is no matter of an operation; a speed that is too high is one of the second alone."""
    request = base_request("press_in") | {"operations": [EASY, HARD]}
    request["stack"]["joints"][-1]["grip_length_mm"] = 1
    report = ASSESSOR.assess(parse_request(request))
    told = [(one.code, one.operation) for one in report.findings if one.severity == "error"]
    assert told.count(("GRIP-010", None)) == 1
    assert ("SPD-010", "20") in told
    assert ("SPD-010", "10") not in told
    assert {one.at[0] for one in report.findings if one.code == "RUN-010"} == {"/operations/1"}


def test_without_an_operation_the_stack_itself_is_judged() -> None:
    """Sections of the stack are there, none of an operation, and no finding names one."""
    report = ASSESSOR.assess(parse_request(base_request("press_in") | {"operations": []}))
    assert report.operations == []
    assert report.speed.governing is not None
    assert {one.operation for one in (*report.findings, *report.undecided)} <= {None}


@pytest.mark.parametrize("base", base_names())
def test_facts_of_the_stack_do_not_depend_on_the_operation(base: str) -> None:
    """What the vocabulary does not mark as of the operation is the same in every one of them, and without any."""
    request = parse_request({**base_request(base), "operations": [EASY, HARD]})
    vocabulary = ASSESSOR.book.vocabulary
    told = []
    for operation in (None, *(request.operations or ())):
        facts = [one for one in analyse(request, operation).facts if one.kind != "operation"]
        told.append(
            [
                (
                    one.key,
                    {k: v for k, v in one.known.items() if not vocabulary.of(one.kind)[k].of_operation},
                    {k: v for k, v in one.lacking.items() if not vocabulary.of(one.kind)[k].of_operation},
                )
                for one in facts
            ]
        )
    assert told[0] == told[1] == told[2]


def test_two_operations_of_one_id_are_refused() -> None:
    """A finding names its operation by it."""
    with pytest.raises(BadRequestError) as caught:
        _report("press_in", EASY, HARD, {**HARD, "id": "10"})
    assert [(fault.pointer, fault.code) for fault in caught.value.faults] == [("/operations/2/id", "repeated")]
