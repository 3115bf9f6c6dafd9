"""Assessment of a stack, from the request to the report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from copy import copy
from dataclasses import replace
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Final, NamedTuple

from rules.analysis import StackAnalysis, analyse, cautions_of
from rules.answer.findings import finding, not_judged, repointed, undecided
from rules.answer.provenance import provenance, request_sha256, threshold_overrides
from rules.assembly.instruction import Digests, assembly_section
from rules.assumptions.combining import combined, dependence, lacking, relief, results, weighty
from rules.assumptions.laying import Assumed, End, Laying, unknown_classes
from rules.balance.report import balance_section, operation_balance
from rules.bending.report import (
    ASSUMPTION_SET,
    JUDGED_BY_ASSUMPTION,
    operation_bending,
    resting_properties,
    stiffness_assumptions,
    stiffness_section,
)
from rules.cutting.report import load_section
from rules.exchange.catalogue import entry_of, load_catalogue
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.grip.report import grip_section, operation_grips
from rules.parts.aliases import NO_ALIASES, load_aliases
from rules.quantities.missing import Missing
from rules.quantities.models import construct
from rules.quantities.work_limit import charge
from rules.rulebook.book import Example, Judgement, Overrides, Rule, Rulebook, threshold_in_force
from rules.rulebook.engine import Engine, EngineFaultError
from rules.rulebook.expression import inner_names
from rules.rulebook.fact import Fact
from rules.rulebook.loader import example_request, load_books
from rules.rulebook.source import Problem, RulebookError
from rules.rulebook.vocabulary import Vocabulary
from rules.runout.report import operation_runout, runout_section
from rules.schema.parsing import BadRequestError, Fault, parse_request
from rules.schema.report import Finding, OperationReport, Report, Summary, Undecided, Verdict
from rules.schema.request import DEFAULT_POLICY, CheckRequest, Operation, Policy
from rules.speed.report import operation_speed, speed_section
from rules.stack.chain import Mounted, Resolved, designation_facts, reference_facts, resolve
from rules.stack.report import geometry_section, labels_section, mass_section, standard_section, understood_section
from rules.stack.view import RequestView, request_vocabulary, views_of

__all__ = ["Assessor", "EngineFaultError", "Situation", "Situations"]

CRITICAL_SHARE: Final = ("SPD-040", "max_share")
"""Rule and threshold of the permitted share of the critical speed."""

_STEPS: Final = 50_000
"""Approximate work of an ordinary stack, without the laws of its sums."""

_ASSUMED_CHECKS: Final = 25
"""Checks of an ordinary sparse stack with assumed values."""

_GRAVITY: Final = {"error": 0, "warning": 1, "advice": 2}


class Assessor:
    """Loaded and compiled rulebooks; judges any number of requests from any number of threads."""

    def __init__(self, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> None:
        self.engine = Engine(book)
        self.book = book
        self.catalogue = catalogue
        self._on_assumptions = {
            rule.code: needs for rule in book.rules if (needs := JUDGED_BY_ASSUMPTION.intersection(rule.needs))
        }
        self._of_operation = frozenset(rule.code for rule in book.rules if _depends_on_operation(rule, book.vocabulary))

    @classmethod
    def load(
        cls,
        extra_rulebooks: Sequence[Path] = (),
        catalogue: Path | None = None,
        *,
        today: date | None = None,
        accepted: Collection[str] = (),
        aliases: Path | None = None,
        strict_catalogue: bool = False,
        built_in: Rulebook | None = None,
    ) -> Assessor:
        """Load the built-in rulebooks, then those of the given folders, component catalogue and alias file.

        The examples of an operator's rules are judged by the rules as written, without adjustments. A rule that
        replaces a safety rule must fire on the firing examples of the original. Adjustments that end before ``today``
        do not count. Rules whose codes are ``accepted`` may replace a safety rule or switch it off all the same.
        An invalid part of the catalogue is quarantined unless ``strict_catalogue`` refuses it.
        ``built_in`` is the rulebook without extra folders, if it has been read before.

        Raises :class:`~rules.rulebook.source.RulebookError` and :class:`~rules.exchange.documents.CatalogueError`,
        both with file, line and reason of every defect.
        """
        book = None if extra_rulebooks else built_in
        if book is None:
            book = load_books([files("rules").joinpath("books"), *extra_rulebooks], request_vocabulary(), today)
        own = [rule for rule in book.rules if rule.code in book.own]
        problems = [*_unsafe_adjustments(book, accepted)]
        if own or problems:
            assessor = cls(replace(book, adjustments=()))
            problems += [one for rule in own for one in assessor.refuted(rule)]
            problems += assessor.hollowed(accepted)
        if problems:
            raise RulebookError(problems)
        names = NO_ALIASES if aliases is None else load_aliases(aliases)
        if catalogue is None:
            return cls(book, NO_CATALOGUE.naming(names))
        return cls(book, load_catalogue(catalogue, strict=strict_catalogue, aliases=names))

    def for_examples(self) -> Assessor:
        """Return an assessor that judges alike; its reports show zeros as the digest of what judges.

        The examples of the contract are judged by it, because they would change with every line of code.
        """
        found = copy(self)
        found.book = replace(self.book, of_examples=True)
        return found

    def refuted(self, rule: Rule) -> list[Problem]:
        """Return what the examples of a rule refute: each on which it does not do what the example says."""
        problems = []
        for kind in ("fires", "silent", "undecided"):
            for example in getattr(rule.examples, kind):
                outcome = self.outcome(rule.code, example)
                if outcome != kind:
                    reason = f"the example {example.name!r} says {_SAYS[kind]}; it {_DOES[outcome]}"
                    problems.append(Problem(rule.file, rule.line, rule.code, reason))
        return problems

    def hollowed(self, accepted: Collection[str] = ()) -> list[Problem]:
        """Return each rule that replaces a safety rule and stays silent where the original is to fire."""
        return [
            Problem(
                rule.file,
                rule.line,
                rule.code,
                f"replaces a safety rule and does not fire on its example {example.name!r}; mend the rule, or accept it"
                " by STACKGAUGE_WEAKENED_SAFETY_RULES",
            )
            for code, original in self.book.originals.items()
            if original.safety and code not in accepted
            for rule in (self.book.rule(code),)
            for example in original.examples.fires
            if self.outcome(code, example) != "fires"
        ]

    def outcome(self, code: str, example: Example) -> str:
        """Return what a rule does on an example: fires, silent or undecided; or why the example is no request."""
        assessor = self
        try:
            if example.catalogue:
                entries = {key: [entry_of(one) for one in found] for key, found in example.catalogue.items()}
                assessor = Assessor(self.book, Catalogue(Mounted(entries, {})))
            report = assessor.assess(parse_request(example_request(example, self.book.bases)))
        except (KeyError, IndexError, TypeError, ValueError) as error:
            words = error.faults[0] if isinstance(error, BadRequestError) else error
            return f"is no request: {words}"
        if any(one.code == code for one in report.findings):
            return "fires"
        return "undecided" if any(one.code == code for one in report.undecided) else "silent"

    def assess(self, request: CheckRequest) -> Report:
        """Return the report on one request.

        Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows, and
        :class:`~rules.rulebook.engine.EngineFaultError` when the engine fails; there is then no report.
        """
        return self.assess_derived(request)[0]

    def assess_derived(self, request: CheckRequest) -> tuple[Report, StackAnalysis]:
        """Return the report on one request and its derived properties; errors as `assess`."""
        policy = request.policy or DEFAULT_POLICY
        overrides = threshold_overrides(policy, self.book)
        _refuse_shared_ids(request.operations or ())
        _refuse_unknown_classes(policy)
        resolved = resolve(request, self.catalogue.definitions)
        report, derived = self._reported(request, resolved, policy, overrides)
        if resolved.by_standard:
            used = self._lacking_without_standards(request, resolved, overrides)
            report = report.model_copy(update={"stated_by_standard": standard_section(resolved, used)})
        if policy.unstated != "undecided" and not resolved.broken:
            return self._assumed(request, resolved, policy, overrides, report, derived)
        return repointed(report, resolved.lead) if resolved.homes else report, derived

    def _assumed(
        self,
        request: CheckRequest,
        resolved: Resolved,
        policy: Policy,
        overrides: Overrides,
        unassumed: Report,
        derived: StackAnalysis,
    ) -> tuple[Report, StackAnalysis]:
        """Return the report with assumed values laid in where a rule lacks them, and its derived properties."""
        charge(_ASSUMED_CHECKS * _STEPS)  # ahead, so that a server does this aside from short requests
        laying = Laying(resolved.request, policy.assumption_set)
        ends: dict[End, tuple[Report, StackAnalysis]] = {"typical": (unassumed, derived)}

        def judged(end_of: Callable[[Assumed], End]) -> tuple[Report, StackAnalysis]:
            laid = replace(resolved, request=laying.request(end_of))
            return self._reported(request, laid, policy, overrides)

        for _ in range(laying.rounds):
            if not laying.fill(lacking(ends["typical"][0])):
                break
            ends["typical"] = judged(lambda _: "typical")
        if not laying.assumed:
            return repointed(unassumed, resolved.lead) if resolved.homes else unassumed, derived
        ends["cautious"] = judged(lambda _: "cautious")
        typical = results(ends["typical"][0], resolved.request)
        cautious = results(ends["cautious"][0], resolved.request)
        known = weighty(ends["typical"][0])

        def alone(own: Assumed) -> float | None:
            report, _ = judged(lambda one: "cautious" if one.at == own.at else "typical")
            single, decides = results(report, resolved.request), weighty(report) != known
            found = dependence(single, typical, cautious, decides=decides)
            return None if found is None else max(found, relief(ends["typical"][0], own, typical))

        dependences = [alone(own) for own in laying.assumed]
        chosen: End = "cautious" if policy.unstated == "cautious" else "typical"
        report, analysis = ends[chosen]
        found = combined(
            unassumed,
            report,
            ends["typical" if chosen == "cautious" else "cautious"][0],
            laying.assumed,
            dependences,
            (typical, cautious),
            policy.assumption_set,
        )
        kept = {"assembly": unassumed.assembly, "stated_by_standard": unassumed.stated_by_standard}
        found = _reviewed(found, report, policy).model_copy(update=kept)
        return repointed(found, lambda pointer: resolved.lead(laying.stated(pointer))), analysis

    def _lacking_without_standards(
        self, request: CheckRequest, resolved: Resolved, overrides: Overrides
    ) -> dict[str, list[str]]:
        """Return the codes of the rules that lack a field without the standards' values, by its pointer."""
        if resolved.broken:
            return {}
        bare = replace(resolved, request=resolved.without_standard_values())
        judged = [
            self._judged(bare, operation, f"/operations/{number}", overrides)
            for number, operation in enumerate(request.operations or [None])
        ]
        used: dict[str, list[str]] = {}
        for gap in self._merged(judged)[1]:
            for pointer in (pointer for lack in gap.lacks for pointer in lack.at):
                used.setdefault(pointer, []).append(gap.code)
        return used

    def _reported(
        self, request: CheckRequest, resolved: Resolved, policy: Policy, overrides: Overrides
    ) -> tuple[Report, StackAnalysis]:
        """Return the report on a resolved request, its pointers into that, and the derived properties."""
        judged = [
            self._judged(resolved, operation, f"/operations/{number}", overrides)
            for number, operation in enumerate(request.operations or [None])
        ]
        findings, gaps, decided = self._merged(judged)
        adjusted = sorted({place for one in judged for place in one.judgement.adjusted})
        derived = judged[0].analysis
        chain = derived.chain
        critical_share = threshold_in_force(self.book, overrides, *CRITICAL_SHARE)
        source = provenance(
            request,
            request.policy,
            self.book,
            self.catalogue.digests,
            adjusted,
            ASSUMPTION_SET if derived.stiffness.rests_on else None,
            _never_measured(derived),
        )
        rests_on = derived.stiffness.rests_on
        used_by = self._using(resting_properties(derived.stiffness), judged)
        if used_by:
            findings = [
                one.model_copy(update={"rests_on": list(rests_on)}) if one.code in used_by else one for one in findings
            ]
        report = construct(
            Report,
            verdict=_verdict(findings, gaps, policy),
            if_assumptions_hold=None,
            stack_id=request.stack.id,
            labels=labels_section(resolved.request),
            summary=_summary(findings, gaps, decided, len(rests_on)),
            findings=findings,
            undecided=gaps,
            decided=decided,
            not_judged=not_judged(self.book, judged[0].judgement, derived.facts),
            understood=understood_section(resolved),
            stated_by_standard=[],
            ranges=[],
            assumptions=stiffness_assumptions(derived.stiffness, used_by),
            geometry=geometry_section(chain, derived.geometry),
            runout=runout_section(
                chain, derived.geometry, derived.contributors, derived.gauge_plane, derived.tip, derived.reading
            ),
            speed=speed_section(derived.speed_limits, critical_share),
            balance=balance_section(derived.balance),
            grip=grip_section(derived.grips_at_rest, derived.geometry),
            stiffness=stiffness_section(chain, derived.stiffness),
            mass=mass_section(chain, derived.masses),
            operations=[
                _operation_report(one.operation, one.analysis, findings, gaps, policy, critical_share)
                for one in judged
                if one.operation is not None
            ],
            assembly=assembly_section(
                [one.analysis for one in judged],
                findings,
                gaps,
                Digests(source.request_sha256, source.judgement_sha256),
            )
            if "assembly" in request.sections
            else None,
            cautions=cautions_of(derived),
            provenance=source,
        )
        return report, derived

    def assess_instructed(self, request: CheckRequest) -> tuple[Report, StackAnalysis]:
        """Return the same with the work instruction, whether requested or not.

        The request digest is that of the original request, so it is the same in every format.
        """
        report, derived = self.assess_derived(request.with_assembly())
        own = {"request_sha256": request_sha256(request)}
        assembly = report.assembly
        if assembly is not None:
            assembly = assembly.model_copy(update={"record": assembly.record.model_copy(update=own)})
        provenance = report.provenance.model_copy(update=own)
        return report.model_copy(update={"provenance": provenance, "assembly": assembly}), derived

    def situations(self, request: CheckRequest) -> Situations:
        """Return a request as the rules see it, once for each of its operations; errors as :meth:`assess`."""
        overrides = threshold_overrides(request.policy or DEFAULT_POLICY, self.book)
        _refuse_shared_ids(request.operations or ())
        resolved = resolve(request, self.catalogue.definitions)
        found = [
            _situation(resolved, operation, f"/operations/{number}", self.book.vocabulary)
            for number, operation in enumerate(request.operations or [None])
        ]
        return Situations(tuple(found), overrides, resolved.lead)

    def depends_on_operation(self, code: str) -> bool:
        """Whether what a rule says may differ between the operations of a request."""
        return code in self._of_operation

    def _judged(
        self, resolved: Resolved, operation: Operation | None, at: str, overrides: Overrides
    ) -> _JudgedOperation:
        one = _situation(resolved, operation, at, self.book.vocabulary)
        return _JudgedOperation(operation, one.analysis, self.engine.judge(one.analysis.facts, overrides, one.view_of))

    def _merged(self, judged: Sequence[_JudgedOperation]) -> tuple[list[Finding], list[Undecided], list[str]]:
        """Return what was found for the stack, and for each operation what depends on it.

        Findings are sorted by severity; of equal severity, those of the stack come before those of operations.
        """
        findings: list[Finding] = []
        gaps: list[Undecided] = []
        decided: dict[str, None] = {}
        open_codes: set[str] = set()
        words = self.book.vocabulary
        for number, one in enumerate(judged):
            for fired in one.judgement.fired:
                name = self._operation_of(fired.rule, one.operation)
                if number == 0 or name is not None:
                    findings.append(finding(fired, words.of(fired.fact.kind), name))
            for gap in one.judgement.undecided:
                open_codes.add(gap.rule.code)
                name = self._operation_of(gap.rule, one.operation)
                if number == 0 or name is not None:
                    gaps.append(undecided(gap, words.of(gap.fact.kind), name))
            decided.update(dict.fromkeys(one.judgement.decided))
        findings.sort(key=lambda item: _GRAVITY[item.severity])
        return findings, gaps, sorted(code for code in decided if code not in open_codes)

    def _using(self, properties: frozenset[str], judged: Sequence[_JudgedOperation]) -> list[str]:
        """Return the codes of the rules that judged by one of the properties, or lack something beside it."""
        if not properties:
            return []
        using = {code for code, needs in self._on_assumptions.items() if not needs.isdisjoint(properties)}
        codes = {code for one in judged for code in one.judgement.decided}
        codes |= {item.rule.code for one in judged for item in one.judgement.fired}
        codes |= {item.rule.code for one in judged for item in one.judgement.undecided}
        return sorted(codes & using)

    def _operation_of(self, rule: Rule, operation: Operation | None) -> str | None:
        return operation.id if operation is not None and rule.code in self._of_operation else None


_SAYS: Final = {"fires": "that it fires", "silent": "that it stays silent", "undecided": "that it is undecided"}


class _Does(dict[str, str]):
    def __missing__(self, outcome: str) -> str:
        return outcome


_DOES: Final = _Does(fires="fires", silent="stays silent", undecided="is undecided")


def _unsafe_adjustments(book: Rulebook, accepted: Collection[str]) -> list[Problem]:
    """Return each adjustment that weakens a safety rule beyond what a request may do."""
    return [
        Problem(
            one.file,
            one.line,
            one.entry.code,
            f"{'switches off' if one.entry.disable else 'lowers'} a safety rule; accept it by"
            " STACKGAUGE_WEAKENED_SAFETY_RULES",
        )
        for one in book.adjustments
        for rule in (book.rule(one.entry.code),)
        if rule.safety and rule.code not in accepted
        if one.entry.disable
        or (one.entry.severity is not None and _GRAVITY[one.entry.severity] > _GRAVITY[rule.severity])
    ]


class Situation(NamedTuple):
    """A stack with one of its operations, as the rules see it."""

    operation: Operation | None
    analysis: StackAnalysis
    view_of: Callable[[Fact], RequestView]


class Situations(NamedTuple):
    """A request as the rules see it; ``lead`` leads a pointer to the place in the request that states the field."""

    each: tuple[Situation, ...]
    overrides: Overrides
    lead: Callable[[str], str]


def _situation(resolved: Resolved, operation: Operation | None, at: str, vocabulary: Vocabulary) -> Situation:
    charge(_STEPS)
    if resolved.broken:  # nothing follows from a stack with a part that is not defined
        analysis = replace(analyse(resolved.without_stack()), facts=tuple(reference_facts(resolved)))
    else:
        analysis = analyse(resolved.request, operation, at)
        if resolved.understood:
            analysis = replace(analysis, facts=(*analysis.facts, *designation_facts(resolved)))
    return Situation(operation, analysis, views_of(analysis.chain, analysis.facts, vocabulary))


class _JudgedOperation(NamedTuple):
    operation: Operation | None
    analysis: StackAnalysis
    judgement: Judgement


def _refuse_shared_ids(operations: Sequence[Operation]) -> None:
    ids = [one.id for one in operations]
    faults = [
        Fault(f"/operations/{place}/id", "another operation has this id", "repeated")
        for place, name in enumerate(ids)
        if name in ids[:place]
    ]
    if faults:
        raise BadRequestError(faults)


def _refuse_unknown_classes(policy: Policy) -> None:
    own = policy.assumption_set
    faults = [
        Fault(f"/policy/assumption_set/classes/{place}/category", "the table of assumed values has no such class")
        for place in (() if own is None else unknown_classes(own))
    ]
    if faults:
        raise BadRequestError(faults)


def _operation_report(
    operation: Operation,
    analysis: StackAnalysis,
    findings: Sequence[Finding],
    gaps: Sequence[Undecided],
    policy: Policy,
    critical_share: float | None,
) -> OperationReport:
    concerned = (None, operation.id)
    return construct(
        OperationReport,
        id=operation.id,
        verdict=_verdict(
            [one for one in findings if one.operation in concerned],
            [one for one in gaps if one.operation in concerned],
            policy,
        ),
        runout=operation_runout(operation, analysis.contributors, analysis.gauge_plane, analysis.tip),
        speed=operation_speed(analysis.speed_limits, analysis.speed, critical_share),
        balance=operation_balance(analysis.balance, operation.stated_limits.balance_grade),
        load=load_section(analysis.load),
        grip=operation_grips(analysis.grips),
        bending=operation_bending(analysis.chain, analysis.stiffness, analysis.load, analysis.speed),
    )


def _depends_on_operation(rule: Rule, vocabulary: Vocabulary) -> bool:
    known = vocabulary.of(rule.applies_to)
    conditions = [one for one in (rule.scope, rule.requirement) if one is not None]
    return (
        rule.applies_to == "operation"
        or any(known[name].of_operation for name in rule.reads)
        or any(vocabulary.of(kind)[name].of_operation for one in conditions for kind, name in inner_names(one))
    )


def _verdict(findings: Sequence[Finding], gaps: Sequence[Undecided], policy: Policy) -> Verdict:
    """Return the verdict.

    An error fails. A warning or an undecided rule requires review, or fails under a stricter policy. Otherwise the
    stack passes."""
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


def _never_measured(derived: StackAnalysis) -> list[str]:
    """Return the computed quantities of a stack that no test compares with a measurement."""
    shown = {
        "runout of assemblies": not isinstance(derived.tip, Missing),
        "unbalance of assemblies": not isinstance(derived.balance.unbalance, Missing),
        "grip and release speed of shrink fits": any(grip.shrink is not None for grip in derived.grips_at_rest),
    }
    return [name for name, is_shown in shown.items() if is_shown]


def _reviewed(report: Report, judged: Report, policy: Policy) -> Report:
    """Return the report on assumed values with its verdicts: at best that of an undecided rule."""

    def verdict(concerned: Collection[str | None] | None) -> Verdict:
        found = _verdict(
            [one for one in report.findings if concerned is None or one.operation in concerned],
            [one for one in report.undecided if concerned is None or one.operation in concerned],
            policy,
        )
        return policy.on_undecided if found == "pass" else found

    operations = [one.model_copy(update={"verdict": verdict((None, one.id))}) for one in report.operations]
    return report.model_copy(
        update={"verdict": verdict(None), "if_assumptions_hold": judged.verdict, "operations": operations}
    )


def _summary(findings: Sequence[Finding], gaps: Sequence[Undecided], decided: Sequence[str], assumed: int) -> Summary:
    counts = Counter(item.severity for item in findings)
    return construct(
        Summary,
        errors=counts["error"],
        warnings=counts["warning"],
        advice=counts["advice"],
        undecided=len(gaps),
        decided=len(decided),
        assumed=assumed,
    )
