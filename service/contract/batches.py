"""Batches of checks: what is asked and what is answered, as one document or as lines."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import Field, WithJsonSchema

from rules.quantities.models import Model
from rules.schema.components import MAX_DEFINITIONS, Definitions
from rules.schema.report import Report, Summary, Verdict
from rules.schema.request import CheckRequest, Machine, Operation, Policy
from service.contract.answer import Answer

__all__ = [
    "MAX_STACKS",
    "BatchReport",
    "BatchRequest",
    "BatchSummary",
    "Defaults",
    "Include",
    "ProblemResult",
    "ReportResult",
    "StreamSummary",
    "VerdictCounts",
    "VerdictResult",
]

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
