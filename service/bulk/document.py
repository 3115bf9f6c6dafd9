"""A batch as one JSON document: the request, the answer, and the way from one to the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Final

from pydantic import Field, WithJsonSchema
from pydantic_core import to_json

from rules.assess import Assessor
from rules.input_faults import pointer
from rules.model.policy import Policy
from rules.model.report import Report, Summary, Verdict
from rules.model.request import CheckRequest
from rules.requests import BadRequestError, Fault, parse
from rules.rulebook.model import Rulebook
from rules.rulebook.requested_thresholds import requested_thresholds
from service.answers import Answer
from service.bulk.chunks import CHUNK_LINES, Chunk
from service.bulk.lines import Include, LineAnswer, answer_lines
from service.bulk.pool import Pool
from service.bulk.shared import Defaults, Shared
from service.bulk.tally import BatchSummary, Tally

__all__ = ["MAX_STACKS", "BatchReport", "BatchRequest", "answer_document"]

MAX_STACKS: Final = 1000


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


def answer_document(data: Any, assessor: Assessor, pool: Pool, include: Include, inline: int) -> bytes:
    """Judge a batch and return the JSON of a :class:`BatchReport`; up to ``inline`` stacks in this process.

    Raises :class:`~rules.requests.BadRequestError` for a batch that breaks the contract anywhere.
    """
    batch = parse(BatchRequest, data)
    _refuse_thresholds(batch, assessor.book)
    shared = Shared().joined(batch, data)
    wanted = batch.include or include
    lines = [to_json(stack) for stack in data["stacks"]]
    if len(lines) <= inline:
        answers = answer_lines(assessor, 1, lines, shared, wanted)
    else:
        answers = list(pool.answers(_chunks(lines, shared, wanted)))
    tally = Tally()
    tally.add(answers)
    results = b",".join(map(_without_number, answers))
    return b'{"results":[%b],"summary":%b}' % (results, to_json(tally.summary(), by_alias=True))


def _chunks(lines: Sequence[bytes], shared: Shared, include: Include) -> Iterator[Chunk]:
    for start in range(0, len(lines), CHUNK_LINES):
        yield Chunk(start + 1, tuple(lines[start : start + CHUNK_LINES]), shared, include)


def _without_number(answer: LineAnswer) -> bytes:
    return b"{" + answer.text.partition(b",")[2]


def _refuse_thresholds(batch: BatchRequest, book: Rulebook) -> None:
    """Thresholds that no rule has are no part of the contract, wherever they stand."""
    faults = _faults(batch.policy, "", book)
    for place, stack in enumerate(batch.stacks):
        faults.extend(_faults(stack.policy, pointer(("stacks", place)), book))
    if faults:
        raise BadRequestError(faults)


def _faults(policy: Policy | None, where: str, book: Rulebook) -> list[Fault]:
    try:
        requested_thresholds(policy, book)
    except BadRequestError as error:
        return [Fault(where + fault.pointer, fault.detail) for fault in error.faults]
    return []
