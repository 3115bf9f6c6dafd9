"""One stack of a search judged as a check would, and held against what the request itself asks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rules.assess import Assessor
from rules.facts.derive import Derived
from rules.schema.report import Report, Verdict
from rules.schema.request import DEFAULT_POLICY
from rules.schema.search import Reason, Requirement, SearchRequest
from rules.searching.building import Built
from rules.searching.requirement import NotKnown, kept_by, not_known_reason

__all__ = ["JudgedStack", "judge"]


@dataclass(frozen=True, slots=True)
class JudgedStack:
    """A stack with its report, and why it is not kept, if it is not."""

    built: Built
    report: Report
    derived: Derived
    verdict: Verdict
    not_known: tuple[NotKnown, ...]
    reasons: tuple[Reason, ...]
    """Empty for a stack that is kept."""


def judge(built: Built, request: SearchRequest, assessor: Assessor) -> JudgedStack:
    """Judge a stack; its verdict is that of the check, but no pass where the requirement is not known to be kept."""
    report, derived = assessor.assess_derived(built.check)
    kept = kept_by(request.requirement or Requirement(), derived.chain, derived.geometry)
    verdict = report.verdict
    if kept.reasons:
        verdict = "fail"
    elif kept.not_known and verdict == "pass":
        verdict = "review"
    refused = verdict == "fail" or (verdict == "review" and request.accept == "pass")
    reasons = (*kept.reasons, *_reasons(report, request, kept.not_known)) if refused else ()
    return JudgedStack(built, report, derived, verdict, kept.not_known, reasons)


def _reasons(report: Report, request: SearchRequest, not_known: tuple[NotKnown, ...]) -> Iterator[Reason]:
    """Yield what keeps a verdict from being accepted: errors, and what the policy or the request counts like them."""
    policy, strict = request.policy or DEFAULT_POLICY, request.accept == "pass"
    for one in report.findings:
        if one.severity == "error" or (one.severity == "warning" and (strict or policy.on_warning == "fail")):
            yield Reason(code=one.code, title=one.title, message=one.message)
    if strict or policy.on_undecided == "fail":
        for gap in report.undecided:
            fields = ", ".join(dict.fromkeys(field for lack in gap.lacks for field in lack.fields))
            yield Reason(
                code=gap.code,
                title=gap.title,
                message="The rule could not be decided" + (f"; it lacks {fields}." if fields else "."),
            )
    if strict:
        yield from map(not_known_reason, not_known)
