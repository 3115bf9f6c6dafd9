"""Requests and reports of the work-order gate and of the verification of a stored decision."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, JsonValue

from rules.quantities.models import Model, Out, Pointer, Token
from rules.schema.components import Definitions
from rules.schema.report import Provenance, Report, Severity, Summary, ThresholdReport, Undecided, Verdict
from rules.schema.request import Machine, Operation, Policy, Stack

__all__ = [
    "EVALUATIONS",
    "MAX_OPERATIONS",
    "REQUIREMENTS",
    "Decision",
    "Effect",
    "GateCounts",
    "GateOperationReport",
    "GateReason",
    "GateReport",
    "GateRequest",
    "GateUndecided",
    "GateVerification",
    "GateVerificationReport",
    "NotRequired",
    "RequirementName",
]


MAX_OPERATIONS: Final = 100

Decision = Literal["release", "hold", "stop"]
"""From the best to the worst; the order's is the worst of its operations."""

Effect = Literal["hold", "stop"]

Evaluation = Literal[1, 2, 3]
EvaluationName = Literal["OK", "NotOK", "NotDecidable"]

EVALUATIONS: Final[dict[Decision, tuple[Evaluation, EvaluationName]]] = {
    "release": (1, "OK"),
    "hold": (3, "NotDecidable"),
    "stop": (2, "NotOK"),
}
"""The result evaluation of OPC 40001-101 for each decision; 0, Undefined, is never answered."""

RequirementName = Literal[
    "machine", "spindle", "spindle_speed", "runout_limit", "balance_grade", "machine_speed", "cutter"
]
"""What an operation must state to be released; the words stand in rules/reporting/gate_requirements.yaml."""

REQUIREMENTS: Final[tuple[RequirementName, ...]] = (
    "machine", "spindle", "spindle_speed", "runout_limit", "balance_grade", "machine_speed", "cutter",
)  # fmt: skip

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256, 64 lower-case hexadecimal digits.")]


class GateOperation(Model):
    """One operation of the order with the tool it is to run with."""

    id: Token = Field(
        description="The caller's name for it. Operations that share a name are held, since the answer could be"
        " taken for that of the other.",
        examples=["20"],
    )
    stack: Stack
    operation: Operation | None = Field(None, description="Demands: speed, feeds, limits. Left out, it is held.")
    machine: Machine | None = Field(None, description="The machine, where it is not the order's; it replaces it whole.")
    policy: Policy | None = Field(None, description="The policy, where it is not the order's; it replaces it whole.")


class GateRequest(Model):
    """A work order: a machine and the operations that are to run on it."""

    order: Token = Field(description="The caller's name for the order.", examples=["KB-WO-2107"])
    revision: Token | None = Field(None, description="Revision of the order.", examples=["A"])
    machine: Machine | None = Field(None, description="The machine of all operations that state none.")
    components: Definitions | None = Field(None, description="Components defined once, for references to name.")
    operations: list[GateOperation] = Field(min_length=1, max_length=MAX_OPERATIONS)
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")
    required: list[RequirementName] | None = Field(
        None,
        max_length=len(REQUIREMENTS),
        description="What every operation must state to be released; all of it when left out. The report names what"
        " was not required.",
    )
    include: Literal["reasons", "reports"] = Field(
        "reasons", description="'reports' adds the full report of a check to each operation."
    )
    context: dict[str, JsonValue] | None = Field(
        None,
        description="Anything the caller wants back untouched, such as job, lot or equipment; it is not judged.",
        examples=[{"job_order": "J-88", "equipment": "mill 1"}],
    )


class GateReason(Out):
    """Something that holds or stops an operation by itself, or an advice that does neither."""

    code: str = Field(description="The rule's code; GATE for what only a gate demands.", examples=["GATE-030"])
    severity: Severity
    effect: Effect | None = Field(description="What it does to the decision by itself; null for an advice.")
    title: str
    message: str
    at: list[Pointer] = Field(description="JSON Pointers into the request of the gate.")
    remedy: str
    source: str


class GateUndecided(Undecided):
    """A rule that could not be decided, with pointers into the request of the gate."""

    effect: Effect = Field(description="What it does to the decision by itself, as the policy says.")


class GateOperationReport(Out):
    """One operation: the decision, and everything that led to it."""

    id: str
    at: Pointer = Field(examples=["/operations/1"])
    stack: str | None = Field(description="The caller's name for the stack.")
    decision: Decision
    verdict: Verdict = Field(description="That of a check of the stack, which knows nothing of what a gate requires.")
    evaluation: Evaluation
    evaluation_name: EvaluationName
    reasons: list[GateReason] = Field(description="What holds or stops it, what stops first; empty when released.")
    undecided: list[GateUndecided] = Field(description="Rules for which data are missing; empty when released.")
    advice: list[GateReason] = Field(description="Good to know; decides nothing.")
    not_judged: list[RequirementName] = Field(description="Not stated, and not required either.")
    summary: Summary
    thresholds_changed: list[ThresholdReport]
    report: Report | None = Field(
        description="The full report with pointers into the request of the gate; null unless asked for. Its"
        " provenance is that of a check of this operation alone."
    )


class GateCounts(Out):
    """Operations by decision."""

    operations: int
    release: int
    hold: int
    stop: int


class NotRequired(Out):
    """Something a gate requires by default and was told not to."""

    name: RequirementName
    code: str
    title: str
    why: str = Field(description="Why it is required by default.")


class GateReport(Out):
    """The answer of the gate.

    release: every check passes and all that is required is stated (OK, 1). stop: an error, or whatever the policy
    lets fail (NotOK, 2). hold: data are missing or a warning wants a person (NotDecidable, 3).
    """

    decision: Decision = Field(description="The worst of the operations: stop before hold before release.")
    evaluation: Evaluation = Field(
        description="Result evaluation of OPC 40001-101: 1 OK for release, 2 NotOK for stop, 3 NotDecidable for hold."
    )
    evaluation_name: EvaluationName
    order: str
    revision: str | None
    operations: list[GateOperationReport] = Field(description="In the order of the request.")
    counts: GateCounts
    required: list[RequirementName] = Field(description="What every operation had to state.")
    not_required: list[NotRequired]
    digest: Sha256 = Field(
        description="Of the decision: SHA-256 over the JSON (keys sorted, no blanks, ASCII) of an object of form (1),"
        " service, version, rulebook_sha256, catalogue_sha256, input_sha256, required, decision and operations, each"
        " of these with id, decision, verdict and the codes of its reasons, undecided and advice; all as told in this"
        " report. The context does not enter."
    )
    input_sha256: Sha256 = Field(
        description="Of the order as understood: without context, include and required; lengths in mm, defaults"
        " filled in, nulls left out, keys sorted."
    )
    context_sha256: Sha256 | None = Field(description="Of the context alone, keys sorted; null where there is none.")
    cautions: list[str]
    provenance: Provenance = Field(description="Thresholds changed here are those of the order's policy.")
    context: dict[str, JsonValue] | None = Field(description="As it was given.")


class GateVerification(Model):
    """The request of a gate and what was stored of its answer; the more is given, the more a difference is told."""

    gate: GateRequest = Field(description="The request as it was sent to the gate.")
    digest: Sha256 = Field(description="The digest the gate answered.")
    decision: Decision | None = Field(None, description="The decision it answered.")
    input_sha256: Sha256 | None = Field(None, description="The digest of the order it answered.")
    context_sha256: Sha256 | None = Field(None, description="The digest of the context it answered.")
    rulebook_sha256: Sha256 | None = Field(None, description="The rulebooks named in its provenance.")
    catalogue_sha256: Sha256 | None = Field(None, description="The catalogue named in its provenance.")
    version: Token | None = Field(None, description="The version named in its provenance.", examples=["0.1.0"])


class GateVerificationReport(Out):
    """Whether the same order still gets the same decision."""

    reproduced: bool = Field(
        description="The digest is the stored one: the same order, judged by the same version, rulebooks and catalogue,"
        " gets the same decision for the same reasons."
    )
    decision: Decision = Field(description="The decision as it is made now.")
    evaluation: Evaluation
    evaluation_name: EvaluationName
    order: str
    digest_expected: Sha256 = Field(description="The stored digest.")
    digest_found: Sha256 = Field(description="The digest as it is made now.")
    same_rulebook: bool | None = Field(description="Null where none was given to compare with.")
    differences: list[str] = Field(description="What differs from what was given, in words.")
    provenance: Provenance
