"""Batches of checks: what is asked and what is answered, as one document or as lines.

The base of the models of answers.

The couplings known, in short and with the tables behind them.

The names of the pictures of a stack.

A problem as it is answered (RFC 9457).

The rules in force, in short and in full.

How the service is, and what runs there.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, JsonValue, WithJsonSchema

from rules.quantities.models import OPEN, Model
from rules.quantities.tables import Confidence
from rules.schema.components import MAX_DEFINITIONS, Definitions
from rules.schema.report import Report, Severity, Summary, Verdict
from rules.schema.request import CheckRequest, Machine, Operation, Policy

__all__ = [
    "MAX_STACKS",
    "PROBLEM_MEDIA_TYPE",
    "Answer",
    "BatchReport",
    "BatchRequest",
    "BatchSummary",
    "CouplingAnswer",
    "CouplingList",
    "CouplingSummary",
    "Defaults",
    "Include",
    "NeedAnswer",
    "PictureName",
    "Problem",
    "ProblemPart",
    "RuleAnswer",
    "RuleList",
    "RuleSummary",
    "State",
    "StreamSummary",
    "ThresholdAnswer",
    "VerdictCounts",
    "VerdictResult",
    "Version",
]


class Answer(BaseModel):
    """The base of the answers that only the HTTP face gives: closed, and every field always there."""

    model_config = ConfigDict(extra="forbid", frozen=True)


MAX_STACKS: Final = 1000

Include: TypeAlias = Literal["reports", "verdicts"]


class Defaults(Model):
    """What holds for every stack of a batch that says nothing else."""

    components: Definitions | None = Field(
        None,
        max_length=MAX_DEFINITIONS,
        description="Components defined once, for references to name; a stack's own of the same key wins.",
    )
    operation: Operation | None = Field(None, description="Demands, for stacks that come without.")
    machine: Machine | None = Field(None, description="The machine, for stacks that come without.")
    policy: Policy | None = Field(None, description="How strictly to judge, for stacks that come without.")


class VerdictCounts(Answer):
    """Stacks by verdict."""

    passed: int = Field(alias="pass")
    review: int
    fail: int


class BatchSummary(Answer):
    """Counts over a whole batch."""

    stacks: int = Field(description="Stacks that were judged.")
    problems: int = Field(description="Stacks or lines answered with a problem.")
    verdicts: VerdictCounts
    codes: dict[str, int] = Field(description="Stacks with a finding of this code.", examples=[{"GRIP-010": 3}])
    undecided: dict[str, int] = Field(
        description="Stacks on which the rule of this code could not be decided.", examples=[{"BAL-010": 1}]
    )


class StreamSummary(BatchSummary):
    """Counts over a batch of lines."""

    lines: int = Field(description="Lines read; each is a stack, a problem, definitions or blank.")
    definitions: int = Field(description="Lines that set what later lines share.")
    blank: int
    complete: bool = Field(
        description="False where lines were left unread, because there are too many or the service is stopping."
    )


class BatchRequest(Defaults):
    """Stacks, each as in a single check, and what those that say nothing else have in common."""

    stacks: list[CheckRequest] = Field(
        min_length=1, max_length=MAX_STACKS, description="A check each; what it states itself wins whole."
    )
    include: Include | None = Field(
        None, description="Whole reports or the verdicts in short; left out, as the query says."
    )


class ReportResult(Answer):
    """A stack's report."""

    report: Report


class VerdictResult(Answer):
    """A stack's verdict in short."""

    stack: str | None = Field(description="The caller's name for the stack.")
    verdict: Verdict
    summary: Summary
    codes: list[str] = Field(description="Codes of the findings, each once.")
    undecided: list[str] = Field(description="Codes of the rules that could not be decided, each once.")
    gauge_plane_p95_um: float | None = Field(
        description="Runout at the gauge plane that 95 % of the assemblies stay below; null unless it is known whole."
    )


class ProblemResult(Answer):
    """What went wrong with a stack."""

    # Problem itself would come a second time into the OpenAPI document, where the framework spells it otherwise.
    problem: Annotated[Any, WithJsonSchema({"allOf": [{"$ref": "#/components/schemas/Problem"}]})]


class BatchReport(Answer):
    """The answer to a batch."""

    results: list[ReportResult | VerdictResult | ProblemResult] = Field(description="In the order of the stacks.")
    summary: BatchSummary


class CouplingSummary(Answer):
    """A coupling in short."""

    name: str = Field(description="As a request names it.", examples=["steep_taper"])
    title: str
    what: str
    standards: list[str]


class CouplingList(Answer):
    """The couplings the service knows."""

    couplings: list[CouplingSummary]


class ColumnAnswer(Answer):
    """Unit and meaning of a column."""

    unit: str
    meaning: str


class TableAnswer(Answer):
    """A table of standards data; each row says where it comes from and how far to trust it."""

    name: str
    title: str
    standard: str | None
    note: str | None
    key: list[str] = Field(description="Columns that tell the rows apart.")
    columns: dict[str, ColumnAnswer]
    rows: list[dict[str, JsonValue]] = Field(
        description="Cells by column, with 'source', 'confidence' and 'note'; null is not known."
    )


class CouplingAnswer(CouplingSummary):
    """All there is to say about a coupling."""

    ends: list[str] = Field(description="Ends of a component it may stand at.")
    accepts: list[str] = Field(description="Couplings its workpiece side takes.")
    joint_class: str
    taper: str | None = Field(description="Rate of taper on the diameter.")
    half_angle_deg: float | None
    clocking: Annotated[Literal["free", "indexed", "by_form", "not_stated"], OPEN]
    clocking_positions: int | None
    seating_eccentricity_um: float | None = Field(
        description="Eccentricity one reseating may bring, µm; null where none is known."
    )
    source: str
    confidence: Annotated[Confidence, OPEN]
    note: str | None
    tables: list[TableAnswer]


PictureName: TypeAlias = Literal["stack", "budget", "distribution", "axis", "speed"]


PROBLEM_MEDIA_TYPE: Final = "application/problem+json"


class ProblemPart(BaseModel):
    """One of several things wrong, and where."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    detail: str
    pointer: str | None = Field(
        None,
        description="JSON Pointer into the body, as a URI fragment (RFC 6901, section 6).",
        examples=["#/stack/components/0/mass_kg"],
    )
    line: int | None = Field(None, description="Line in the body, from 1.")
    column: int | None = Field(None, description="Column in the line, from 1, in characters.")


class Problem(BaseModel):
    """What went wrong (RFC 9457)."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    type: str = Field(description="Kind of problem: a URI reference.", examples=["/problems/invalid-request"])
    title: str = Field(description="The kind in words.")
    status: int = Field(description="HTTP status.", ge=400, le=599)
    detail: str = Field(description="This occurrence in words.")
    instance: str | None = Field(None, description="The path that was asked.", examples=["/v1/checks"])
    errors: list[ProblemPart] | None = Field(None, description="Each fault with its place, where there is one.")


class RuleSummary(Answer):
    """A rule in short."""

    code: str = Field(description="The rule's stable code.", examples=["GRIP-010"])
    title: str
    severity: Annotated[Severity, OPEN]
    applies_to: Annotated[Literal["stack", "component", "joint", "operation"], OPEN]
    safety: bool = Field(description="An operator can't lower its severity without the report saying so.")
    book: str = Field(description="The rulebook it stands in.")


class RuleList(Answer):
    """The rules in force."""

    rulebook_sha256: str
    rules: list[RuleSummary] = Field(description="In the order of their codes.")


class NeedAnswer(Answer):
    """A quantity without which a rule stays undecided."""

    name: str
    unit: str
    meaning: str


class ThresholdAnswer(Answer):
    """A number the rule compares with; a request's policy may move it between the bounds."""

    name: str
    value: float
    unit: str
    minimum: float
    maximum: float
    meaning: str


class RuleAnswer(RuleSummary):
    """All there is to say about a rule."""

    message: str = Field(description="The finding's message, with names of quantities in braces.")
    why: str
    remedy: str
    known_limits: str
    source: str
    needs: list[NeedAnswer]
    thresholds: list[ThresholdAnswer]
    observed: str | None = Field(description="The quantity reported as observed.")
    limit: str | None = Field(description="The quantity or threshold reported as limit.")
    unit: str


class State(Answer):
    """How the service is."""

    status: Literal["ok"]


class Version(Answer):
    """What runs here."""

    service: Literal["stackgauge"]
    version: str
    rulebooks: list[str] = Field(description="Rulebooks in force.")
    rulebook_sha256: str = Field(description="SHA-256 over the rules in force; equal rules judge equally.")
