"""By what alternatives are compared, and what is missing where a value is not known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rules.answer.findings import enumerated, field_in_words
from rules.facts.derive import Derived
from rules.quantities.missing import Lack
from rules.schema.comparison import CriterionName
from rules.schema.report import Report

__all__ = ["CRITERIA", "Criterion", "Judged", "missing_for"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One alternative with its report."""

    name: str
    report: Report
    derived: Derived

    @property
    def fails(self) -> bool:
        """Whether the verdict is fail."""
        return self.report.verdict == "fail"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion: its value is rounded as in the report, so that no difference decides that nobody sees."""

    name: CriterionName
    words: str
    unit: str | None
    higher_is_better: bool
    value: Callable[[Judged], float | None]


def _p95(judged: Judged) -> float | None:
    runout = judged.report.runout
    return runout.gauge_plane.p95_um if runout.complete and runout.gauge_plane is not None else None


def _worst(judged: Judged) -> float | None:
    runout = judged.report.runout
    return runout.gauge_plane.worst_case_um if runout.complete and runout.gauge_plane is not None else None


def _speed(judged: Judged) -> float | None:
    governing = judged.report.speed.governing
    return governing.speed_rpm if governing is not None and judged.report.speed.complete else None


CRITERIA: Final = (
    Criterion("runout_p95", "runout", "um", False, _p95),
    Criterion("runout_worst_case", "worst case", "um", False, _worst),
    Criterion("projection", "projection", "mm", False, lambda one: one.report.geometry.tip_mm),
    Criterion("speed_limit", "speed", "rpm", True, _speed),
    Criterion("stiffness", "stiffness", "N/um", True, lambda one: one.report.stiffness.tip_stiffness_n_per_um),
    Criterion("joints", "joints", None, False, lambda one: len(one.derived.chain.joints)),
    Criterion("errors", "errors", None, False, lambda one: one.report.summary.errors),
    Criterion("warnings", "warnings", None, False, lambda one: one.report.summary.warnings),
    Criterion("undecided", "undecided rules", None, False, lambda one: one.report.summary.undecided),
)


def missing_for(judged: Judged, criterion: Criterion) -> str:
    """Say what is missing for a value that is not known."""
    fields: list[str] = []
    derived = judged.derived
    if criterion.name in ("runout_p95", "runout_worst_case"):
        fields = [*_fields(derived.contributors.lacking), *_fields(derived.geometry.gauge_plane)]
        if not fields and criterion.name == "runout_worst_case":
            return "a contributor has no hard limit"
    elif criterion.name == "projection":
        fields = _fields(derived.geometry.tip)
    elif criterion.name == "speed_limit":
        fields = _fields(derived.speed_limits.lacking)
    elif criterion.name == "stiffness":
        fields = _fields(derived.stiffness.bending)
    if not fields:
        return "nothing states it"
    words = dict.fromkeys(field_in_words(field, derived.chain.request.stack) for field in fields)
    return f"{enumerated(list(words))} {'is' if len(words) == 1 else 'are'} not stated"


def _fields(value: object) -> list[str]:
    return list(value.fields) if isinstance(value, Lack) else []
