"""The one way through the house: a request goes in, a report comes out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Final

from rules.engine import Engine, EngineFaultError
from rules.facts.derive import Derived, derive
from rules.model.policy import DEFAULT_POLICY, Policy
from rules.model.report import Finding, Report, Summary, Undecided, Verdict
from rules.model.request import CheckRequest
from rules.reporting.cautions import cautions
from rules.reporting.findings import finding, undecided
from rules.reporting.provenance import provenance
from rules.reporting.sections import (
    balance_section,
    geometry_section,
    grip_section,
    mass_section,
    runout_section,
    speed_section,
)
from rules.rulebook.loader import load_books
from rules.rulebook.model import Rulebook
from rules.rulebook.requested_thresholds import requested_thresholds

__all__ = ["Assessor", "EngineFaultError"]

_GRAVITY: Final = {"error": 0, "warning": 1, "advice": 2}


class Assessor:
    """Rulebooks, loaded and compiled once; judges any number of requests from any number of threads."""

    def __init__(self, book: Rulebook) -> None:
        self.engine = Engine(book)
        self.book = book

    @classmethod
    def load(cls, extra_rulebooks: Sequence[Path] = ()) -> Assessor:
        """Load the package's rulebooks, then an operator's folders.

        Raises :class:`~rules.rulebook.problem.RulebookError` with file, line and reason of every defect.
        """
        return cls(load_books([files("rules").joinpath("books"), *extra_rulebooks]))

    def assess(self, request: CheckRequest) -> Report:
        """Judge one request.

        Raises :class:`~rules.requests.BadRequestError` for thresholds that no rule has or allows, and
        :class:`~rules.engine.EngineFaultError` when the engine failed: then there is no report.
        """
        return self.assess_derived(request)[0]

    def assess_derived(self, request: CheckRequest) -> tuple[Report, Derived]:
        """Judge one request and return what was derived of it beside the report; errors as `assess`."""
        policy = request.policy or DEFAULT_POLICY
        overrides = requested_thresholds(policy, self.book)
        derived = derive(request)
        judgement = self.engine.judge(derived.facts, overrides)
        words = self.book.vocabulary
        findings = sorted(
            (finding(item, words.of(item.fact.kind)) for item in judgement.fired), key=lambda f: _GRAVITY[f.severity]
        )
        gaps = [undecided(item) for item in judgement.undecided]
        report = Report(
            verdict=_verdict(findings, gaps, policy),
            stack=request.stack.id,
            summary=_summary(findings, gaps, judgement.decided),
            findings=findings,
            undecided=gaps,
            decided=list(judgement.decided),
            geometry=geometry_section(derived),
            runout=runout_section(derived),
            speed=speed_section(derived),
            balance=balance_section(derived),
            grip=grip_section(derived),
            mass=mass_section(derived),
            cautions=cautions(derived),
            provenance=provenance(request, request.policy, self.book),
        )
        return report, derived


def _verdict(findings: Sequence[Finding], gaps: Sequence[Undecided], policy: Policy) -> Verdict:
    """An error fails; a warning or a gap asks for review, or fails where the policy is stricter; advice passes."""
    severities = {item.severity for item in findings}
    if "error" in severities:
        return "fail"
    outcomes = set()
    if "warning" in severities:
        outcomes.add(policy.on_warning)
    if gaps:
        outcomes.add(policy.on_undecided)
    if "fail" in outcomes:
        return "fail"
    return "review" if outcomes else "pass"


def _summary(findings: Sequence[Finding], gaps: Sequence[Undecided], decided: Sequence[str]) -> Summary:
    counts = Counter(item.severity for item in findings)
    return Summary(
        errors=counts["error"],
        warnings=counts["warning"],
        advice=counts["advice"],
        undecided=len(gaps),
        decided=len(decided),
    )
