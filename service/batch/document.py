"""Batches as one JSON document, and the counts of a batch."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from pydantic_core import to_json

from rules.answer.provenance import threshold_overrides
from rules.assessor import Assessor
from rules.rulebook.book import Rulebook
from rules.schema.parsing import BadRequestError, Fault, parse, pointer
from rules.schema.request import Policy
from service.batch.lines import CHUNK_LINES, Chunk, Chunker, LineAnswer, Shared, answer_lines
from service.batch.pool import Pool
from service.contract import (
    MAX_STACKS,
    BatchReport,
    BatchRequest,
    BatchSummary,
    Include,
    StreamSummary,
    VerdictCounts,
)

__all__ = ["MAX_STACKS", "PATH", "STREAMS", "BatchReport", "BatchRequest", "Tally", "answer_document"]


class Tally:
    """Running counts of a batch's results."""

    def __init__(self, told: Callable[[Sequence[LineAnswer]], None] | None = None) -> None:
        """Start at zero; ``told`` is called with the same results."""
        self._told = told
        self._verdicts: Counter[str] = Counter()
        self._codes: Counter[str] = Counter()
        self._undecided: Counter[str] = Counter()
        self._problems = 0

    def add(self, answers: Sequence[LineAnswer]) -> None:
        """Count results."""
        if self._told is not None:
            self._told(answers)
        for answer in answers:
            if answer.verdict is None:
                self._problems += 1
                continue
            self._verdicts[answer.verdict] += 1
            self._codes.update(answer.codes)
            self._undecided.update(answer.undecided)

    def summary(self) -> BatchSummary:
        """The counts so far."""
        return BatchSummary(**self._counts())

    def stream_summary(self, chunker: Chunker, *, complete: bool) -> StreamSummary:
        """The counts so far, with counts of lines."""
        return StreamSummary(
            **self._counts(),
            lines=chunker.lines,
            definitions=chunker.definitions,
            blank=chunker.blank,
            complete=complete,
        )

    def _counts(self) -> dict[str, Any]:
        return {
            "stacks": self._verdicts.total(),
            "problems": self._problems,
            "verdicts": VerdictCounts.model_validate(
                {name: self._verdicts[name] for name in ("pass", "review", "fail")}
            ),
            "codes": dict(sorted(self._codes.items())),
            "undecided": dict(sorted(self._undecided.items())),
        }


def answer_document(
    data: Any,
    assessor: Assessor,
    pool: Pool,
    include: Include,
    inline: int,
    told: Callable[[Sequence[LineAnswer]], None] | None = None,
) -> bytes:
    """The JSON of the :class:`BatchReport` of a batch; up to ``inline`` stacks are judged in this process.

    Raises :class:`~rules.schema.parsing.BadRequestError` for an invalid batch.
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
    """Raise :class:`~rules.schema.parsing.BadRequestError` for unknown thresholds in any policy."""
    faults = _faults(batch.policy, "", book)
    for place, stack in enumerate(batch.stacks):
        faults.extend(_faults(stack.policy, pointer(("stacks", place)), book))
    if faults:
        raise BadRequestError(faults)


def _faults(policy: Policy | None, where: str, book: Rulebook) -> list[Fault]:
    try:
        threshold_overrides(policy, book)
    except BadRequestError as error:
        return [fault.under(where) for fault in error.faults]
    return []


PATH: Final = "/v1/check-batches"

NDJSON: Final = "application/x-ndjson"
JSON_LINES: Final = "application/jsonl"

STREAMS: Final = (NDJSON, JSON_LINES)
"""Media types of JSON lines; neither is registered."""
