"""The gate: release, hold or stop for each operation of a work order. No operation is released unjudged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.answer.findings import enumerated
from rules.answer.provenance import provenance, threshold_overrides
from rules.assessor import Assessor
from rules.gate.digest import context_sha256, decision_sha256, input_sha256
from rules.gate.required import Requirement, impossible, in_words, requirements, unstated
from rules.schema.gate import (
    EVALUATIONS,
    REQUIREMENTS,
    Decision,
    Effect,
    Expectation,
    GateCounts,
    GateOperationReport,
    GateReason,
    GateReport,
    GateRequest,
    GateUndecided,
    NotRequired,
    RequirementName,
    UnmetExpectation,
)
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.report import Finding, NotJudged, Provenance, Report, Undecided, Verdict
from rules.schema.request import DEFAULT_POLICY, CheckRequest, Operation, Policy

__all__ = ["SHARED_ID", "gate"]


_POINTERS: Final = frozenset({"at", "fields"})
"""Fields of a report that hold lists of pointers; `at` of an assumption holds one."""


@dataclass(frozen=True, slots=True)
class Place:
    """An operation of a gate, with the places of the parts of its check."""

    at: str
    """JSON Pointer of the operation."""
    own: frozenset[str]
    """Parts of the check that the operation states itself; the others come from the order."""

    def leads(self, pointers: Iterable[str]) -> list[str]:
        """Return pointers of the check as pointers into the request of the gate.

        >>> place = Place("/operations/2", frozenset({"stack"}))
        >>> place.leads(["/stack/components/1/runout", "/machine/spindle", "/operations/0/limits/runout"])
        ['/operations/2/stack/components/1/runout', '/machine/spindle', '/operations/2/limits/runout']
        """
        return [self._lead(pointer) for pointer in pointers]

    def report(self, report: Report) -> Report:
        """Return a report with all pointers converted."""
        return Report.model_validate(self._led(report.model_dump()))

    def _lead(self, pointer: str) -> str:
        if pointer.startswith("/operations/0"):
            return self.at + pointer.removeprefix("/operations/0")
        part = pointer.removeprefix("/").partition("/")[0]
        return self.at + pointer if part in self.own else pointer

    def _led(self, value: Any) -> Any:
        if isinstance(value, list):
            return [self._led(one) for one in value]
        if isinstance(value, dict):
            return {
                name: self._lead(one)
                if name == "at" and isinstance(one, str)
                else self.leads(one)
                if name in _POINTERS and isinstance(one, list)
                else self._led(one)
                for name, one in value.items()
            }
        return value


def place_of(request: GateRequest, number: int) -> Place:
    """Return the place of the operation of this number, counted from zero."""
    operation = request.operations[number]
    own = {"stack"}
    own.update(name for name in ("machine", "policy", "gauge_plane") if getattr(operation, name) is not None)
    return Place(f"/operations/{number}", frozenset(own))


SHARED_ID: Final = "GATE-100"
"""Code of the reason that holds operations with equal or similar ids; it cannot be switched off."""

_OF_VERDICT: Final[dict[Verdict, Decision]] = {"pass": "release", "review": "hold", "fail": "stop"}
_OF_POLICY: Final[dict[str, Effect]] = {"review": "hold", "fail": "stop"}
_GRAVITY: Final[dict[Decision, int]] = {"release": 0, "hold": 1, "stop": 2}


def gate(request: GateRequest, assessor: Assessor) -> GateReport:
    """Return the decision on a work order.

    Each operation is judged by a check, on its machine and under its policy: pass releases, review holds, fail stops.
    It is also held if required data is missing or its id is not unique. The decision on the order is the worst of its
    operations.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows and for policies
    that assume what is not stated, and :class:`~rules.rulebook.engine.EngineFaultError` when the engine fails; there
    is then no decision and no release.
    """
    _check_policies(request, assessor)
    required: list[RequirementName] = [
        name for name in REQUIREMENTS if request.required is None or name in request.required
    ]
    judged = [_judged(request, number, required, assessor) for number in range(len(request.operations))]
    operations = [operation for operation, _ in judged]
    decision = _worst([one.decision for one in operations])
    evaluation, evaluation_name = EVALUATIONS[decision]
    counts = Counter(one.decision for one in operations)
    understood = input_sha256(request)
    source = provenance(request, request.policy, assessor.book, assessor.catalogue.digest)
    digest = decision_sha256(
        input_digest=understood,
        judgement_digest=source.judgement_sha256,
        catalogue_digest=assessor.catalogue.digest,
        required=required,
        decision=decision,
        operations=operations,
    )
    unmet = _unmet(request.expect, source, understood, digest)
    loosened = bool(source.deviations) or len(required) < len(REQUIREMENTS) or any(it.deviations for it in operations)
    return GateReport(
        may_start=decision == "release" and not loosened and not unmet,
        decision=decision,
        evaluation=evaluation,
        evaluation_name=evaluation_name,
        order=request.order,
        revision=request.revision,
        operations=operations,
        counts=GateCounts(
            operations=len(operations), release=counts["release"], hold=counts["hold"], stop=counts["stop"]
        ),
        required=required,
        not_required=[
            NotRequired(name=one.name, code=one.code, title=one.title, why=one.why)
            for one in requirements()
            if one.name not in required
        ],
        digest=digest,
        input_sha256=understood,
        context_sha256=context_sha256(request.context),
        cautions=list(dict.fromkeys(text for _, report in judged for text in report.cautions)),
        unmet=unmet,
        provenance=source,
        context=request.context,
    )


def _unmet(expected: Expectation | None, source: Provenance, order_digest: str, digest: str) -> list[UnmetExpectation]:
    """Return the stated expectations that the decision does not meet."""
    if expected is None:
        return []
    found = {
        "version": source.version,
        "judgement_sha256": source.judgement_sha256,
        "rulebook_sha256": source.rulebook_sha256,
        "catalogue_sha256": source.catalogue_sha256,
        "input_sha256": order_digest,
        "digest": digest,
    }
    stated = {name: value for name, value in expected if value is not None}
    return [
        UnmetExpectation(name=name, expected=value, found=found[name])
        for name, value in stated.items()
        if value != found[name]
    ]


def _check_policies(request: GateRequest, assessor: Assessor) -> None:
    """Reject invalid thresholds and assumed values in every policy, including one that no operation uses."""
    policies = {"": request.policy} | {f"/operations/{n}": one.policy for n, one in enumerate(request.operations)}
    faults: list[Fault] = []
    for at, policy in policies.items():
        if policy is not None and policy.unstated != "undecided":
            reason = "a gate assumes nothing; only undecided is accepted"
            faults.append(Fault(f"{at}/policy/unstated", reason, "not_one_of"))
        try:
            threshold_overrides(policy, assessor.book)
        except BadRequestError as error:
            faults.extend(one.under(at) for one in error.faults)
    if faults:
        raise BadRequestError(faults)


def _judged(
    request: GateRequest, number: int, required: Sequence[RequirementName], assessor: Assessor
) -> tuple[GateOperationReport, Report]:
    operation = request.operations[number]
    place = place_of(request, number)
    policy = _merged_policy(request.policy, operation.policy)
    stated = {name: getattr(operation, name) for name in Operation.model_fields if name in operation.model_fields_set}
    parts = {
        "stack": operation.stack,
        "components": request.components,
        "operations": [Operation.model_validate(stated)],
        "machine": operation.machine or request.machine,
        "gauge_plane": operation.gauge_plane,
        "policy": policy,
        "include": request.include,
    }
    check = CheckRequest.model_validate({name: part for name, part in parts.items() if part is not None})
    report, derived = assessor.assess_derived(check)
    missing = list(unstated(check, derived))
    reasons, advice = _of_findings(report.findings, place, policy or DEFAULT_POLICY)
    reasons += [_of_requirement(one, place.leads(at)) for one, at in missing if one.name in required]
    reasons += _of_shared_id(request, number)
    decision = _worst([_OF_VERDICT[report.verdict], *(one.effect for one in reasons if one.effect is not None)])
    evaluation, evaluation_name = EVALUATIONS[decision]
    judged = GateOperationReport(
        id=operation.id,
        at=place.at,
        stack_id=report.stack_id,
        decision=decision,
        verdict=report.verdict,
        evaluation=evaluation,
        evaluation_name=evaluation_name,
        reasons=sorted(reasons, key=lambda one: one.effect != "stop"),
        undecided=_of_gaps(report.undecided, place, policy or DEFAULT_POLICY),
        advice=advice,
        waived=[one.name for one, _ in missing if one.name not in required],
        not_judged=[_idle(one) for one in report.not_judged if assessor.book.rule(one.code).safety],
        summary=report.summary,
        deviations=report.provenance.deviations,
        report=None if request.include is None else place.report(report).only(request.include),
    )
    return judged, report


def _idle(one: NotJudged) -> NotJudged:
    """Return a safety rule without anything to judge, with what it concerns where that is known."""
    what = impossible().get(one.code)
    return one if what is None else one.model_copy(update={"reason": f"The rule concerns: {what}."})


def _merged_policy(order: Policy | None, own: Policy | None) -> Policy | None:
    """Return the order's policy with the fields that the operation states laid over, thresholds one by one."""
    if order is None or own is None:
        return own or order
    fields = {name: getattr(own, name) for name in own.model_fields_set if name != "thresholds"}
    thresholds = {(one.code, one.threshold): one for one in (*(order.thresholds or ()), *(own.thresholds or ()))}
    return order.model_copy(update={**fields, "thresholds": list(thresholds.values()) or None})


def _worst(decisions: Sequence[Decision]) -> Decision:
    return max(decisions, key=_GRAVITY.__getitem__)


def _of_findings(
    findings: Sequence[Finding], place: Place, policy: Policy
) -> tuple[list[GateReason], list[GateReason]]:
    """Return the reasons to hold or stop, and separately the advice."""
    effects: dict[str, Effect | None] = {"error": "stop", "warning": _OF_POLICY[policy.on_warning], "advice": None}
    judged = [
        GateReason(
            code=one.code,
            severity=one.severity,
            effect=effects[one.severity],
            title=one.title,
            message=one.message,
            at=place.leads(one.at),
            remedy=one.remedy,
            source=one.source,
        )
        for one in findings
    ]
    return [one for one in judged if one.effect is not None], [one for one in judged if one.effect is None]


def _of_gaps(gaps: Sequence[Undecided], place: Place, policy: Policy) -> list[GateUndecided]:
    return [
        GateUndecided(
            code=one.code,
            severity=one.severity,
            title=one.title,
            operation=one.operation,
            at=place.leads(one.at),
            lacks=[lack.model_copy(update={"at": place.leads(lack.at)}) for lack in one.lacks],
            effect=_OF_POLICY[policy.on_undecided],
        )
        for one in gaps
    ]


def _of_requirement(requirement: Requirement, at: list[str]) -> GateReason:
    return GateReason(
        code=requirement.code,
        severity="warning",
        effect="hold",
        title=requirement.title,
        message=in_words(requirement),
        at=at,
        remedy=requirement.remedy,
        source=requirement.source,
    )


_ALIKE: Final = (("\u00d7", "x"), ("0", "o"), ("1", "l"), ("i", "l"), ("rn", "m"), ("vv", "w"), ("5", "s"))
"""Characters of an id, in lower case, that look like others in some typeface; after Unicode Technical Standard 39."""


def appearance(name: str) -> str:
    """Return what ids that people may take for each other have in common.

    >>> appearance("OP 10") == appearance("op  1O")
    True
    >>> appearance("10") == appearance("20")
    False
    """
    found = " ".join(name.casefold().split())
    for one, other in _ALIKE:
        found = found.replace(one, other)
    return found


def _of_shared_id(request: GateRequest, number: int) -> list[GateReason]:
    name = request.operations[number].id
    alike = {n: one.id for n, one in enumerate(request.operations) if appearance(one.id) == appearance(name)}
    if len(alike) == 1:
        return []
    at = [f"/operations/{n}/id" for n in alike]
    names = enumerated(list(dict.fromkeys(alike.values())))
    return [
        GateReason(
            code=SHARED_ID,
            severity="warning",
            effect="hold",
            title="Ids of operations look alike",
            message=f"{len(at)} operations of the order have the id {names}, so their decisions look alike."
            if len(set(alike.values())) == 1
            else f"The ids {names} look alike, so their decisions can be confused.",
            at=at,
            remedy="Give each operation a unique id.",
            source="definition of the request",
        )
    ]
