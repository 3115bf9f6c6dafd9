"""Analysed requests, and small stacks whose bending is easily calculated by hand."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator
from functools import cache
from typing import Any, TypeVar

import pytest

from rules.analysis import StackAnalysis, analyse
from rules.assessor import Assessor
from rules.bending import analysis as bending_analysis
from rules.bending import interfaces
from rules.bending.beam import Segment
from rules.quantities.missing import Missing, OrMissing
from rules.schema.parsing import parse_request
from rules.schema.report import JointEnds, JudgementDeviation, Report
from rules.schema.request import CheckRequest

T = TypeVar("T")

STEEL_GPA, STEEL_KG_M3 = 210.0, 7850.0
CARBIDE_GPA, CARBIDE_KG_M3 = 600.0, 14500.0
"""Values of the two materials of these stacks in the table."""


@cache
def assessor() -> Assessor:
    """Return the built-in rulebooks, compiled once per test run."""
    return Assessor.load()


def analysis_of(request: CheckRequest) -> StackAnalysis:
    """Return what follows from a request without references, for its first operation where it has one."""
    return analyse(request, *(request.operations or ())[:1])


def derived_of(request: dict[str, Any]) -> StackAnalysis:
    """Return the derived properties of a request."""
    return analysis_of(parse_request(copy.deepcopy(request)))


def report_of(request: dict[str, Any]) -> Report:
    """Return the report on a request."""
    return assessor().assess(parse_request(copy.deepcopy(request)))


def known(value: OrMissing[T] | None) -> T:
    """Return a value that must be known."""
    assert value is not None
    assert not isinstance(value, Missing), value
    return value


def slender_and_rigid(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out shear and rotary inertia, and make every joint rigid that is not stated: beams by hand."""
    monkeypatch.setattr(bending_analysis, "Segment", lambda *figures: Segment(*figures[:3]))
    monkeypatch.setattr(interfaces, "_between", lambda *_: None)


def quantile(answer: Any, plane: str, name: str = "p95", of: str = "assemblies") -> float | None:
    """Return a quantile of the predicted runout at a plane, µm; None if it is not known.

    The answer is a model or its JSON: a check, a budget, one alternative, one result of a search.
    """
    data = answer if isinstance(answer, dict) else answer.model_dump(mode="json")
    planes = data.get("runout", data)["planes"]
    (found,) = [one for one in planes if one["plane"] == plane]
    quantiles = [one["quantiles_um"].get(name) for one in found["predictions"] if one["of"] == of]
    return quantiles[0] if quantiles else None


def named(joint: JointEnds | None) -> str | None:
    """Return a joint of an answer as upper/lower."""
    return None if joint is None else f"{joint.upper}/{joint.lower}"


def deviation(kind: str, code: str, *, safety: bool, **fields: object) -> JudgementDeviation:
    """Return a deviation whose other fields are null."""
    empty = dict.fromkeys(JudgementDeviation.model_fields)
    return JudgementDeviation.model_validate({**empty, "kind": kind, "code": code, "safety": safety, **fields})


def undecided_fields(report: Report, code: str) -> set[str]:
    """Return the missing request fields of an undecided rule."""
    return {field for gap in report.undecided if gap.code == code for lack in gap.lacks for field in lack.at}


def codes(report: Report) -> set[str]:
    """Return the codes of the findings."""
    return {finding.code for finding in report.findings}


def figures_in(value: Any) -> Iterator[float]:
    """Yield every number of a report's dump."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for inner in value:
            yield from figures_in(inner)
    elif isinstance(value, float):
        yield value


def ring_mm4(outer: float, bore: float = 0.0) -> float:
    """Return π/64·(D⁴ − d⁴)."""
    return math.pi / 64.0 * (outer**4 - bore**4)


def ring_kg_per_mm(outer: float, bore: float, density: float) -> float:
    """Return ρ·π/4·(D² − d²)."""
    return density * 1e-9 * math.pi / 4.0 * (outer**2 - bore**2)


def bent_by_hand(pieces: list[tuple[float, float, float]], tip: float) -> float:
    """Return mm/N at the tip by ∫(L − z)²/(E·I) dz over pieces of from, to (mm) and E·I (N·mm²)."""
    return sum(((tip - a) ** 3 - (tip - b) ** 3) / (3.0 * stiffness) for a, b, stiffness in pieces)


def one_rod(*profile: dict[str, float], **fields: Any) -> dict[str, Any]:
    """Return the request of a cutting tool alone, clamped at its end: a cantilever."""
    rod = {"id": "rod", "kind": "cutter", "material": "steel", "profile": list(profile)} | fields
    return {"stack": {"components": [rod]}}


def holder_and_cutter() -> dict[str, Any]:
    """Return a steel cylinder ⌀40 × 60 mm with a 12 mm bore, and a carbide rod ⌀12 × 80 mm inserted 30 mm."""
    return {
        "stack": {
            "components": [
                {
                    "id": "holder",
                    "kind": "base_holder",
                    "material": "steel",
                    "machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"},
                    "workpiece_side": {"coupling": "hydraulic", "diameter_mm": 12},
                    "gauge_length_mm": 60,
                    "profile": [{"length_mm": 60, "outer_mm": 40, "bore_mm": 12}],
                },
                {
                    "id": "end-mill",
                    "kind": "cutter",
                    "material": "cemented_carbide",
                    "machine_side": {"coupling": "cylindrical", "diameter_mm": 12},
                    "overall_length_mm": 80,
                    "profile": [{"length_mm": 80, "outer_mm": 12}],
                },
            ],
            "joints": [{"upper": "holder", "lower": "end-mill", "grip_length_mm": 30}],
        }
    }
