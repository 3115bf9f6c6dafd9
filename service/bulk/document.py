"""A batch as one JSON document: the request, the answer, and the way from one to the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from pydantic_core import to_json

from rules.answer.provenance import requested_thresholds
from rules.assessor import Assessor
from rules.rulebook.book import Rulebook
from rules.schema.parsing import BadRequestError, Fault, parse, pointer
from rules.schema.request import Policy
from service.bulk.chunks import CHUNK_LINES, Chunk
from service.bulk.lines import LineAnswer, answer_lines
from service.bulk.pool import Pool
from service.bulk.shared import Shared
from service.bulk.tally import Tally
from service.contract.batches import MAX_STACKS, BatchReport, BatchRequest, Include

__all__ = ["MAX_STACKS", "BatchReport", "BatchRequest", "answer_document"]


def answer_document(
    data: Any,
    assessor: Assessor,
    pool: Pool,
    include: Include,
    inline: int,
    told: Callable[[Sequence[LineAnswer]], None] | None = None,
) -> bytes:
    """Judge a batch and return the JSON of a :class:`BatchReport`; up to ``inline`` stacks in this process.

    Raises :class:`~rules.schema.parsing.BadRequestError` for a batch that breaks the contract anywhere.
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
    tally = Tally(told)
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
