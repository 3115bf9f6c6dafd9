"""Request and report of the gate of a work order."""

from __future__ import annotations

from typing import Annotated, Final, Literal, get_args

from pydantic import Field, JsonValue

from rules.quantities.models import OPEN, Model, Out, Pointer, Token
from rules.schema.components import Definitions
from rules.schema.report import JudgementDeviation, NotJudged, Provenance, Report, Severity, Summary, Undecided, Verdict
from rules.schema.request import AxialPosition, MachineEntry, Operation, Policy, Section, Sha256, Stack

__all__ = [
    "EVALUATIONS",
    "MAX_OPERATIONS",
    "REQUIREMENTS",
    "Decision",
    "Effect",
    "Expectation",
    "GateCounts",
    "GateOperationReport",
    "GateReason",
    "GateReport",
    "GateRequest",
    "GateUndecided",
    "NotRequired",
    "PolicyDeviation",
    "ProfileReport",
    "RequirementName",
    "UnmetExpectation",
    "WaiverReport",
]


MAX_OPERATIONS: Final = 100

Decision = Literal["release", "hold", "stop"]
"""Decisions from best to worst; the order gets the worst of its operations."""

Effect = Literal["hold", "stop"]

Evaluation = Literal[1, 2, 3]
EvaluationName = Literal["OK", "NotOK", "NotDecidable"]

EVALUATIONS: Final[dict[Decision, tuple[Evaluation, EvaluationName]]] = {
    "release": (1, "OK"),
    "hold": (3, "NotDecidable"),
    "stop": (2, "NotOK"),
}
"""Result evaluation of OPC 40001-101 by decision; 0 (Undefined) is never used."""

RequirementName = Literal[
    "machine",
    "spindle",
    "spindle_speed",
    "runout_limit",
    "balance_grade",
    "machine_speed",
    "cutter",
    "machine_mass",
    "machine_length",
    "machine_diameter",
    "machine_moment",
    "machine_torque",
    "machine_power",
    "cut",
    "clamping",
    "couplings",
    "critical_speed",
    "coolant",
    "feed",
]
"""Data required for a release; texts in rules/gate/gate_requirements.yaml."""

REQUIREMENTS: Final[tuple[RequirementName, ...]] = get_args(RequirementName)


class GateOperation(Operation):
    """Operation of the order with its tool.

    Operations whose ids are the same or look alike (0 and O, 1 and l, upper and lower case) are put on hold.
    """

    stack: Stack
    gauge_plane: AxialPosition | None = Field(
        None, description="Gauge plane, in place of the policy's multiple of the cutting diameter."
    )
    machine: MachineEntry | None = Field(None, description="Machine of this operation, in place of the order's.")
    policy: Policy | None = Field(None, description="Fields in place of those of the order's policy.")


class Expectation(Model):
    """What the caller expects of a decision: a version, or the digests of an earlier one."""

    version: Token | None = Field(None, description="Version of the service.", examples=["1.0.0"])
    judgement_sha256: Sha256 | None = Field(None, description="Digest of all that judges.")
    rulebook_sha256: Sha256 | None = Field(None, description="Digest of the rulebooks.")
    catalogue_sha256: Sha256 | None = Field(None, description="Digest of the mounted catalogue.")
    aliases_sha256: Sha256 | None = Field(None, description="Digest of the alias file.")
    profile_sha256: Sha256 | None = Field(None, description="Digest of the operator's profile.")
    input_sha256: Sha256 | None = Field(None, description="Digest of the order.")
    digest: Sha256 | None = Field(None, description="Digest of the decision.")


class UnmetExpectation(Out):
    """Expectation that the decision does not meet."""

    name: str = Field(description="Name of the expectation.", examples=["rulebook_sha256"])
    expected: str = Field(description="Value expected.")
    found: str | None = Field(description="Value behind the decision; null if there is none.")


class GateRequest(Model):
    """Work order: a machine and its operations."""

    order: Token = Field(description="Caller's name of the order.", examples=["KB-WO-2107"])
    revision: Token | None = Field(None, description="Revision of the order.", examples=["A"])
    machine: MachineEntry | None = Field(None, description="Machine of operations without their own.")
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    operations: list[GateOperation] = Field(
        description="Operations of the order, each with its stack.", min_length=1, max_length=MAX_OPERATIONS
    )
    policy: Policy | None = Field(
        None, description="Treatment of warnings, undecided rules and thresholds; defaults apply if absent."
    )
    required: list[RequirementName] | None = Field(
        None,
        max_length=len(REQUIREMENTS),
        description="Data required of every operation for a release; defaults to all. The report lists those not"
        " required.",
    )
    expect: Expectation | None = Field(
        None, description="What the decision must rest on; if it does not, the order may not start."
    )
    include: list[Section] | None = Field(
        None,
        max_length=20,
        description="Sections of the check report of each operation; if absent, the reasons alone.",
        examples=[["findings", "runout"]],
    )
    context: dict[str, JsonValue] | None = Field(
        None,
        description="Caller's data, such as job, lot or equipment; returned unchanged, not judged.",
        examples=[{"job_order": "J-88", "equipment": "mill 1"}],
    )


class PolicyDeviation(Out):
    """Field of the request that departs from the operator's profile."""

    at: Pointer = Field(examples=["/policy/slip_fit"])
    value: str = Field(description="Value in the request.", examples=["mean"])
    default: str = Field(description="Value of the profile.", examples=["maximum"])
    weakens: bool = Field(description="Whether it may judge less strictly; the order may then not start.")


class WaiverReport(Out):
    """Requirement that the operator lifts."""

    requirement: Annotated[RequirementName, OPEN]
    machine: str | None = Field(description="Id of the machine; null for all.")
    reason: str
    owner: str = Field(description="Who answers for it.")
    until: str = Field(description="Last day, ISO 8601.")


class ProfileReport(Out):
    """Profile of the operator, from which a request may depart only to be stricter."""

    name: str = Field(examples=["strict"])
    revision: str | None
    sha256: Sha256
    waivers: list[WaiverReport] = Field(description="Waivers in force.")


class GateReason(Out):
    """Reason to hold or stop an operation, or an advice without effect."""

    code: str = Field(description="Rule code; GATE for requirements of the gate itself.", examples=["GATE-030"])
    severity: Annotated[Severity, OPEN]
    effect: Annotated[Effect, OPEN] | None = Field(description="Effect on the decision; null for an advice.")
    title: str
    message: str
    at: list[Pointer] = Field(description="JSON Pointers into the gate request.")
    remedy: str
    source: str


class GateUndecided(Undecided):
    """Undecided rule, with JSON Pointers into the gate request."""

    effect: Annotated[Effect, OPEN] = Field(description="Effect on the decision by the policy.")


class GateOperationReport(Out):
    """Decision on one operation and its reasons."""

    id: str = Field(description="Id of the operation, as in the request.")
    at: Pointer = Field(examples=["/operations/1"])
    stack_id: str | None = Field(description="Caller's name of the stack.")
    decision: Decision
    verdict: Verdict = Field(description="Verdict of the check, without the gate's requirements.")
    evaluation: Evaluation
    evaluation_name: EvaluationName
    reasons: list[GateReason] = Field(description="Reasons to stop or hold, stops first; empty if released.")
    undecided: list[GateUndecided] = Field(description="Rules with missing data; empty if released.")
    advice: list[GateReason] = Field(description="Advice without effect on the decision.")
    waived: list[Annotated[RequirementName, OPEN]] = Field(description="Data neither stated nor required.")
    not_judged: list[NotJudged] = Field(description="Safety rules that have nothing to judge here, and why.")
    summary: Summary
    deviations: list[JudgementDeviation] = Field(description="Deviations from the rulebooks for this operation.")
    report: Report | None = Field(
        description="Full check report with JSON Pointers into the gate request; null unless requested. Its provenance"
        " is that of a check of this operation alone."
    )


class GateCounts(Out):
    """Numbers of operations by decision."""

    operations: int = Field(description="Number of operations.")
    release: int = Field(description="Number of operations released.")
    hold: int = Field(description="Number of operations on hold.")
    stop: int = Field(description="Number of operations stopped.")


class NotRequired(Out):
    """Default requirement that the request waived."""

    name: Annotated[RequirementName, OPEN]
    code: str
    title: str
    why: str = Field(description="Reason for the default requirement.")


class GateReport(Out):
    """Report of the gate.

    release: every check passes and all required data are stated (OK, 1). stop: an error, or a finding that the policy
    treats as a failure (NotOK, 2). hold: missing data, or a warning that someone must review (NotDecidable, 3).
    """

    may_start: bool = Field(
        description="Whether the order may start: released, judged by unchanged rules with nothing waived, and every"
        " expectation met. The one field to read."
    )
    decision: Decision = Field(description="Decision on the order, the worst of its operations: stop, hold, release.")
    evaluation: Evaluation = Field(
        description="Result evaluation of OPC 40001-101: 1 OK for release, 2 NotOK for stop, 3 NotDecidable for hold."
    )
    evaluation_name: EvaluationName
    order: str
    revision: str | None
    operations: list[GateOperationReport] = Field(description="Operations in the order of the request.")
    counts: GateCounts
    required: list[Annotated[RequirementName, OPEN]] = Field(description="Data required of every operation.")
    not_required: list[NotRequired] = Field(description="Requirements that the request has lifted.")
    digest: Sha256 = Field(
        description="SHA-256 of the decision: of the JSON (keys sorted, no blanks, ASCII) of an object with form (1),"
        " service, version, judgement_sha256, catalogue_sha256, aliases_sha256, profile_sha256, input_sha256, required,"
        " decision and operations. Each operation has id, decision, verdict and the codes of its reasons, undecided and"
        " advice, as in this report. The context is excluded."
    )
    input_sha256: Sha256 = Field(
        description="SHA-256 of the order as parsed: without context, expect, include and required; lengths in mm,"
        " defaults filled in, nulls left out, keys sorted."
    )
    context_sha256: Sha256 | None = Field(description="SHA-256 of the context, keys sorted; null without a context.")
    signature: str | None = Field(
        description="Compact JWS (Ed25519) over the record of the decision: order, revision, decision, may_start,"
        " digests, unmet, deviations. Null without a key of the operator."
    )
    profile: ProfileReport
    policy_deviations: list[PolicyDeviation] = Field(description="Departures from the profile, those that tighten too.")
    unmet: list[UnmetExpectation] = Field(description="Expectations that the decision does not meet.")
    cautions: list[str]
    provenance: Provenance = Field(
        description="Version, rulebooks and catalogue; its deviations are those of the order's policy."
    )
    context: dict[str, JsonValue] | None = Field(description="Context of the request, unchanged.")
