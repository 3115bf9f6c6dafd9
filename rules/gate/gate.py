"""The gate: release, hold or stop for each operation of a work order. No operation is released unjudged."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from rules.analysis import StackAnalysis
from rules.answer.findings import enumerated
from rules.answer.provenance import provenance, threshold_overrides
from rules.assessor import Assessor
from rules.gate.digest import context_sha256, decision_sha256, input_sha256
from rules.gate.profile import STRICT, Profile, changed_policy, merged_policy
from rules.gate.required import Requirement, impossible, in_words, requirements, unstated
from rules.quantities.missing import value_or
from rules.schema.components import ComponentReference, StackEntry
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
    PolicyDeviation,
    RequirementName,
    UnmetExpectation,
)
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.report import Finding, NotJudged, Provenance, Report, Undecided, Verdict
from rules.schema.request import DEFAULT_POLICY, CheckRequest, Machine, MachineReference, Operation, Policy
from rules.stack.positions import stated_plane

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

CHANGED_PART: Final = "GATE-230"
"""Code of the reason that holds operations with a changed part of the operator's catalogue."""

FOREIGN_MACHINE: Final = "GATE-240"
"""Code of the reason that holds operations on a machine that the operator's profile does not have."""

_OF_VERDICT: Final[dict[Verdict, Decision]] = {"pass": "release", "review": "hold", "fail": "stop"}
_OF_POLICY: Final[dict[str, Effect]] = {"review": "hold", "fail": "stop"}
_GRAVITY: Final[dict[Decision, int]] = {"release": 0, "hold": 1, "stop": 2}


def gate(request: GateRequest, assessor: Assessor, profile: Profile = STRICT) -> GateReport:
    """Return the decision on a work order.

    Each operation is judged by a check, on its machine and under its policy: pass releases, review holds, fail stops.
    It is also held if required data is missing or its id is not unique. The decision on the order is the worst of its
    operations. The order's policy is laid over that of the operator's profile; whatever weakens it keeps the order from
    starting.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows and for policies
    that assume what is not stated, and :class:`~rules.rulebook.engine.EngineFaultError` when the engine fails; there
    is then no decision and no release.
    """
    _check_policies(request, assessor)
    required: list[RequirementName] = [
        name for name in REQUIREMENTS if request.required is None or name in request.required
    ]
    judged = [_judged(request, number, required, assessor, profile) for number in range(len(request.operations))]
    operations = [one.report for one in judged]
    decision = _worst([one.decision for one in operations])
    evaluation, evaluation_name = EVALUATIONS[decision]
    counts = Counter(one.decision for one in operations)
    understood = input_sha256(request)
    source = provenance(request, request.policy, assessor.book, assessor.catalogue.digests)
    digest = decision_sha256(
        input_digest=understood,
        judgement_digest=source.judgement_sha256,
        catalogue_digest=source.catalogue_sha256,
        aliases_digest=source.aliases_sha256,
        profile_digest=profile.digest,
        required=required,
        decision=decision,
        operations=operations,
    )
    unmet = _unmet(request.expect, source, profile.digest, understood, digest)
    departures = [*_departures(request, assessor, profile), *(one.plane for one in judged if one.plane is not None)]
    loosened = (
        len(required) < len(REQUIREMENTS)
        or any(one.weakens for one in departures)
        or any(one.book is not None for one in source.deviations)
    )
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
        signature=None,
        cautions=list(dict.fromkeys(text for one in judged for text in one.cautions)),
        profile=profile.report(),
        policy_deviations=departures,
        unmet=unmet,
        provenance=source,
        context=request.context,
    )


def _departures(request: GateRequest, assessor: Assessor, profile: Profile) -> Iterator[PolicyDeviation]:
    """Yield what the request changes against the profile: policies, and limits of the operator's machines."""
    yield from changed_policy(profile.policy, request.policy, "/policy", assessor.book)
    order = merged_policy(profile.policy, request.policy)
    for number, one in enumerate(request.operations):
        yield from changed_policy(order, one.policy, f"/operations/{number}/policy", assessor.book)
    machines = {"": request.machine} | {f"/operations/{n}": one.machine for n, one in enumerate(request.operations)}
    for at, machine in machines.items():
        own = profile.machines.get(machine.id or "") if isinstance(machine, Machine) else None
        if own is None or not isinstance(machine, Machine):
            continue
        for name in Machine.model_fields:
            value, default = getattr(machine, name), getattr(own, name)
            if name in machine.model_fields_set and value is not None and value != default:
                yield PolicyDeviation(at=f"{at}/machine/{name}", value=str(value), default=str(default), weakens=True)


def _machine_id(machine: Machine | MachineReference | None, assessor: Assessor) -> str | None:
    """Return the id of a machine, of the mounted one if it is a reference to one alone."""
    if not isinstance(machine, MachineReference):
        return None if machine is None else machine.id
    found = assessor.catalogue.definitions.machines.get(machine.of.key, ())
    only = found[0] if len(found) == 1 else None
    return only.id if isinstance(only, Machine) else None


def _unmet(
    expected: Expectation | None, source: Provenance, profile_digest: str, order_digest: str, digest: str
) -> list[UnmetExpectation]:
    """Return the stated expectations that the decision does not meet."""
    if expected is None:
        return []
    found = {
        "version": source.version,
        "judgement_sha256": source.judgement_sha256,
        "rulebook_sha256": source.rulebook_sha256,
        "catalogue_sha256": source.catalogue_sha256,
        "aliases_sha256": source.aliases_sha256,
        "profile_sha256": profile_digest,
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


class _JudgedOperation(NamedTuple):
    report: GateOperationReport
    cautions: Sequence[str]
    plane: PolicyDeviation | None
    """The plane of the limit, where it is not the policy's."""


def _of_plane(derived: StackAnalysis, place: Place) -> PolicyDeviation | None:
    """Return how the stated gauge plane departs from the policy's; at the clamp it would accept any runout."""
    plane, operation = stated_plane(derived.chain, derived.geometry), derived.chain.operation
    if plane is None or operation is None or operation.runout_limit_at == "tip":
        return None
    default = value_or(plane.policy_mm, None)
    if default is not None and math.isclose(plane.distance_mm, default):
        return None
    (at,) = place.leads(["/gauge_plane/distance_mm"])
    policy = "not known" if default is None else f"{default:.12g}"
    return PolicyDeviation(at=at, value=str(plane.distance_mm), default=policy, weakens=not plane.readable)


def _judged(
    request: GateRequest, number: int, required: Sequence[RequirementName], assessor: Assessor, profile: Profile
) -> _JudgedOperation:
    operation = request.operations[number]
    place = place_of(request, number)
    policy = merged_policy(merged_policy(profile.policy, request.policy), operation.policy)
    stated_machine = operation.machine or request.machine
    machine_id = _machine_id(stated_machine, assessor)
    # the limits of the operator's machine hold, whatever the request states
    machine = profile.machines.get(machine_id or "", stated_machine)
    waived = profile.waived(machine_id)
    asked = [name for name in required if name not in waived]
    stated = {name: getattr(operation, name) for name in Operation.model_fields if name in operation.model_fields_set}
    parts = {
        "stack": operation.stack,
        "components": request.components,
        "operations": [Operation.model_validate(stated)],
        "machine": machine,
        "gauge_plane": operation.gauge_plane,
        "policy": policy,
        "include": request.include,
    }
    check = CheckRequest.model_validate({name: part for name, part in parts.items() if part is not None})
    report, derived = assessor.assess_derived(check)
    missing = list(unstated(check, derived))
    reasons, advice = _of_findings(report.findings, place, policy or DEFAULT_POLICY)
    reasons += [_of_requirement(one, place.leads(at)) for one, at in missing if one.name in asked]
    reasons += _of_shared_id(request, number)
    reasons += _of_foreign_machine(stated_machine, machine_id, place, profile)
    reasons += _of_changed_parts(request, number, place, assessor)
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
        waived=[one.name for one, _ in missing if one.name not in asked],
        not_judged=[_idle(one) for one in report.not_judged if assessor.book.rule(one.code).safety],
        summary=report.summary,
        deviations=report.provenance.deviations,
        report=None if request.include is None else place.report(report).only(request.include),
    )
    return _JudgedOperation(judged, report.cautions, _of_plane(derived, place))


def _idle(one: NotJudged) -> NotJudged:
    """Return a safety rule without anything to judge, with what it concerns where that is known."""
    what = impossible().get(one.code)
    return one if what is None else one.model_copy(update={"reason": f"The rule concerns: {what}."})


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


def _of_foreign_machine(
    machine: Machine | MachineReference | None, machine_id: str | None, place: Place, profile: Profile
) -> Iterator[GateReason]:
    if profile.machines and machine is not None and machine_id not in profile.machines:
        yield GateReason(
            code=FOREIGN_MACHINE,
            severity="warning",
            effect="hold",
            title="Machine not in the operator's profile",
            message=f"The profile has no machine {machine_id or 'without an id'}, so it has not approved its limits.",
            at=place.leads(["/machine/id" if isinstance(machine, Machine) else "/machine/of/key"]),
            remedy="Name a machine of the profile, or add it there.",
            source="definition of the gate",
        )


def _of_changed_parts(request: GateRequest, number: int, place: Place, assessor: Assessor) -> Iterator[GateReason]:
    """Yield the parts of the operator's catalogue that a request replaces or changes."""
    mounted, own = assessor.catalogue.definitions.components, request.components or {}
    components = request.operations[number].stack.components
    at = [f"/stack/components/{part}" for part, one in enumerate(components) if _changes_mounted(one, own, mounted)]
    if at:
        yield GateReason(
            code=CHANGED_PART,
            severity="warning",
            effect="hold",
            title="Part of the operator's catalogue replaced",
            message="The request replaces or changes a part that the operator's catalogue defines.",
            at=place.leads(at),
            remedy="Refer to the part of the catalogue as it is, or correct the catalogue.",
            source="definition of the gate",
        )


def _changes_mounted(entry: StackEntry, own: Mapping[str, StackEntry], mounted: Container[str]) -> bool:
    """Whether a reference, over any number of definitions, replaces a mounted part or lays fields over one."""
    seen: set[str] = set()
    laid = False
    while isinstance(entry, ComponentReference):
        laid = laid or entry.overlay is not None
        key = entry.of.key
        if entry.of.source != "request":
            return laid and entry.of.source == "catalogue"
        if key in mounted:
            return True
        if key in seen or key not in own:
            return False
        seen.add(key)
        entry = own[key]
    return False


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
