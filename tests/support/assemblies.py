"""Work instructions of requests, and a holder and cutting tool joined by any coupling."""

from __future__ import annotations

import copy
from typing import Any

from rules.schema.parsing import parse_request
from rules.schema.report import AssemblyReport, AssemblyStep
from tests.support.operations import operation_of
from tests.support.stacks import assessor, named


def assembly_of(request: dict[str, Any]) -> AssemblyReport:
    """Return the work instruction of a request, with the findings of its check."""
    report = assessor().assess(parse_request(copy.deepcopy(request)).with_assembly())
    assert report.assembly is not None
    return report.assembly


def two_parts(workpiece_side: dict[str, Any], machine_side: dict[str, Any], **joint: Any) -> dict[str, Any]:
    """Return a holder of 80 mm and a cutting tool, joined by these two ends."""
    holder = {
        "id": "holder",
        "kind": "base_holder",
        "machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"},
        "workpiece_side": workpiece_side,
        "gauge_length_mm": 80,
        "material": "steel",
        "profile": [{"length_mm": 80, "outer_mm": 60, "bore_mm": workpiece_side.get("diameter_mm", 20)}],
        "runout": {"statements": [{"tir_um": 3, "at_mm": 0}]},
    }
    cutter = {
        "id": "end-mill",
        "kind": "cutter",
        "machine_side": machine_side,
        "material": "cemented_carbide",
        "overall_length_mm": 100,
        "gauge_length_mm": 60,
        "profile": [{"length_mm": 100, "outer_mm": machine_side.get("diameter_mm", 20)}],
        "cutting_diameter_mm": 12,
        "runout": {"character": "offset", "statements": [{"tir_um": 4, "at_mm": 40}]},
    }
    joints = [{"upper": "holder", "lower": "end-mill", **joint}]
    stack: dict[str, Any] = {"components": [holder, cutter], "joints": joints}
    return {"stack": stack, "operations": [operation_of({"runout_limit_um": 50})]}


def not_stated(step: AssemblyStep) -> list[str]:
    """Return the request fields that would make a step more precise."""
    return [field for one in step.not_stated for field in one.at]


def at_joint(report: AssemblyReport, joint: str) -> list[AssemblyStep]:
    """Return the steps of one joint after cleaning, in order."""
    return [step for step in report.steps if named(step.joint) == joint and step.action != "clean"]


def words_of(report: AssemblyReport, joint: str, action: str) -> str:
    """Return the text of the one step of a joint with this action."""
    (step,) = (one for one in report.steps if named(one.joint) == joint and one.action == action)
    return step.text


def halted(report: AssemblyReport) -> list[str]:
    """Return the texts of the steps that forbid something."""
    return [step.text for step in report.steps if step.action == "stop"]


def values_of(step: AssemblyStep) -> dict[str, tuple[float | None, float | None, float | None]]:
    """Return the numbers of a step by name, each with value, lower and upper bound."""
    return {one.name: (one.value, one.at_least, one.at_most) for one in step.values}
