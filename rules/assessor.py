"""The one way through the house: a request goes in, a report comes out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Final

from rules.analysis import StackAnalysis, analyse, cautions_of
from rules.answer.findings import finding, not_judged, repointed, undecided
from rules.answer.provenance import provenance, threshold_overrides
from rules.assembly.instruction import assembly_section
from rules.balance.report import balance_section
from rules.bending.report import stiffness_section
from rules.cutting.report import load_section
from rules.exchange.documents import NO_CATALOGUE, Catalogue, load_catalogue
from rules.grip.report import grip_section
from rules.quantities.models import construct
from rules.quantities.work_limit import charge
from rules.rulebook.book import Rulebook, threshold_in_force
from rules.rulebook.engine import Engine, EngineFaultError
from rules.rulebook.loader import load_books
from rules.runout.report import runout_section
from rules.schema.report import Finding, Report, Summary, Undecided, Verdict
from rules.schema.request import DEFAULT_POLICY, NO_OPERATION, CheckRequest, Policy
from rules.speed.report import speed_section
from rules.stack.chain import Resolved, reference_facts, resolve
from rules.stack.report import geometry_section, mass_section

__all__ = ["Assessor", "EngineFaultError"]

CRITICAL_SHARE: Final = ("SPD-040", "max_share")
"""Rule and threshold that say which share of the critical speed is allowed."""

_STEPS: Final = 50_000
"""About what an ordinary stack costs beside the laws of its sums."""

_GRAVITY: Final = {"error": 0, "warning": 1, "advice": 2}


class Assessor:
    """Rulebooks, loaded and compiled once; judges any number of requests from any number of threads."""

    def __init__(self, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> None:
        self.engine = Engine(book)
        self.book = book
        self.catalogue = catalogue

    @classmethod
    def load(cls, extra_rulebooks: Sequence[Path] = (), catalogue: Path | None = None) -> Assessor:
        """Load the package's rulebooks, then an operator's folders; and the components an operator mounts.

        Raises :class:`~rules.rulebook.source.RulebookError` and :class:`~rules.exchange.documents.CatalogueError`,
        each with
        file, line and reason of every defect.
        """
        book = load_books([files("rules").joinpath("books"), *extra_rulebooks])
        return cls(book, NO_CATALOGUE if catalogue is None else load_catalogue(catalogue))

    def assess(self, request: CheckRequest) -> Report:
        """Judge one request.

        Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows, and
        :class:`~rules.rulebook.engine.EngineFaultError` when the engine failed: then there is no report.
        """
        return self.assess_derived(request)[0]

    def assess_derived(self, request: CheckRequest) -> tuple[Report, StackAnalysis]:
        """Judge one request and return what was derived of it beside the report; errors as `assess`."""
        charge(_STEPS)
        policy = request.policy or DEFAULT_POLICY
        overrides = threshold_overrides(policy, self.book)
        resolved = resolve(request, self.catalogue.definitions)
        derived = _derived(resolved)
        judgement = self.engine.judge(derived.facts, overrides)
        words = self.book.vocabulary
        findings = sorted(
            (finding(item, words.of(item.fact.kind)) for item in judgement.fired), key=lambda f: _GRAVITY[f.severity]
        )
        gaps = [undecided(item, words.of(item.fact.kind)) for item in judgement.undecided]
        chain, operation = derived.chain, derived.chain.request.operation
        report = construct(
            Report,
            verdict=_verdict(findings, gaps, policy),
            if_assumptions_hold=None,
            stack_id=request.stack.id,
            summary=_summary(findings, gaps, judgement.decided),
            findings=findings,
            undecided=gaps,
            decided=list(judgement.decided),
            not_judged=not_judged(self.book, judgement, derived.facts),
            stated_by_standard=[],
            assumptions=[],
            geometry=geometry_section(chain, derived.geometry),
            runout=runout_section(chain, derived.geometry, derived.contributors, derived.gauge_plane, derived.tip),
            speed=speed_section(
                derived.speed_limits, derived.speed, threshold_in_force(self.book, overrides, *CRITICAL_SHARE)
            ),
            balance=balance_section(derived.balance, (operation or NO_OPERATION).balance_grade),
            load=load_section(derived.load),
            grip=grip_section(derived.grips, derived.geometry),
            stiffness=stiffness_section(chain, derived.stiffness, derived.load, derived.speed),
            mass=mass_section(chain, derived.masses),
            assembly=assembly_section(derived, findings) if request.with_assembly else None,
            cautions=cautions_of(derived),
            provenance=provenance(request, request.policy, self.book, self.catalogue.digest),
        )
        return repointed(report, resolved.homes) if resolved.homes else report, derived


def _derived(resolved: Resolved) -> StackAnalysis:
    """Derive all that follows; of a stack with a part that is not defined, nothing but that follows."""
    if not resolved.cases:
        return analyse(resolved.request)
    if not resolved.broken:
        derived = analyse(resolved.request)
        return replace(derived, facts=(*derived.facts, *reference_facts(resolved)))
    return replace(analyse(resolved.without_stack()), facts=tuple(reference_facts(resolved)))


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
    return construct(
        Summary,
        errors=counts["error"],
        warnings=counts["warning"],
        advice=counts["advice"],
        undecided=len(gaps),
        decided=len(decided),
        assumed=0,
    )
