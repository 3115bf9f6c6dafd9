"""Batches as one JSON document, and the counts of a batch."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from pydantic_core import to_json

from rules.answer.provenance import threshold_overrides
from rules.assessor import Assessor
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing, charge
from service.batch.lines import (
    CHUNK_LINES,
    Chunk,
    Chunker,
    InvalidUse,
    LineAnswer,
    Shared,
    answer_lines,
    invalid_part_counts,
)
from service.batch.pool import Pool
from service.contract import (
    MAX_STACKS,
    BatchReport,
    BatchRequest,
    BatchSummary,
    StreamSummary,
    VerdictCounts,
)
from service.operations.heavy_work import LIGHT_STEPS

__all__ = ["MAX_STACKS", "PATH", "STREAMS", "BatchReport", "BatchRequest", "Tally", "answer_document"]


class Tally:
    """Running counts of a batch's results."""

    def __init__(self, told: Callable[[Sequence[LineAnswer]], None] | None = None) -> None:
        """Start at zero; ``told`` is called with the same results."""
        self._told = told
        self._verdicts: Counter[str] = Counter()
        self._codes: Counter[str] = Counter()
        self._undecided: Counter[str] = Counter()
        self._problems = self._not_judged = 0
        self._invalid: Counter[InvalidUse] = Counter()

    def add_invalid(self, parts: Sequence[InvalidUse]) -> None:
        """Take in invalid parts, before the stacks that refer to them."""
        for part in parts:
            self._invalid[part] += 0

    def add(self, answers: Sequence[LineAnswer]) -> None:
        """Count results."""
        if self._told is not None:
            self._told(answers)
        for answer in answers:
            if answer.verdict is None:
                self._problems += 1
                self.add_invalid(answer.invalid)
                continue
            self._verdicts[answer.verdict] += 1
            self._codes.update(answer.codes)
            self._undecided.update(answer.undecided)
            self._not_judged += bool(answer.invalid)
            self._invalid.update(answer.invalid)

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
            "stacks_not_judged": self._not_judged,
            "invalid_parts": [told for _, told in invalid_part_counts(self._invalid)],
        }


def answer_document(
    data: Any,
    assessor: Assessor,
    pool: Pool,
    inline: int,
    told: Callable[[Sequence[LineAnswer]], None] | None = None,
    *,
    brief: bool = False,
) -> bytes:
    """The JSON of the :class:`BatchReport` of a batch; up to ``inline`` stacks are judged in this process, unless one
    is costly. ``brief`` gives short verdicts of stacks without a choice of sections. An invalid component costs the
    stacks that refer to it, as in lines.

    Raises :class:`~rules.schema.parsing.BadRequestError` for an invalid batch.
    """
    # each stack is read by itself, so that a bad one is a problem among the results, as it is in lines
    shell = {**data, "stacks": _ANY_STACK} if _holds_stacks(data) else data
    shared, _, invalid = Shared(include=[] if brief else None).judged_apart(BatchRequest, shell)
    threshold_overrides(shared.policy, assessor.book)
    lines = [to_json(stack) for stack in data["stacks"]]
    answers = _light_answers(assessor, lines, shared) if len(lines) <= inline else None
    if answers is None:
        answers = list(pool.answers(_chunks(lines, shared, CHUNK_LINES if len(lines) > inline else 1)))
    tally = Tally(told)
    tally.add_invalid(invalid)
    tally.add(answers)
    results = b",".join(answer.text for answer in answers)
    return b'{"results":[%b],"summary":%b}' % (results, to_json(tally.summary(), by_alias=True))


_ANY_STACK: Final = [{"stack": {"components": [{"kind": "collet", "id": "any"}]}}]


def _holds_stacks(data: Any) -> bool:
    """Whether the stacks are a list of objects, as many as are allowed; anything else is a fault of the batch."""
    stacks = data.get("stacks") if isinstance(data, dict) else None
    return isinstance(stacks, list) and 1 <= len(stacks) <= MAX_STACKS


def _light_answers(assessor: Assessor, lines: Sequence[bytes], shared: Shared) -> list[LineAnswer] | None:
    """The results of stacks; None if one costs more than is done in this process."""
    answers: list[LineAnswer] = []
    for number, line in enumerate(lines, 1):
        try:
            with allowing(Allowance(LIGHT_STEPS)):
                answers += answer_lines(assessor, number, [line], shared, "stated")
        except TooMuchWorkError:
            charge(0)  # the caller may have been stopped
            return None
    return answers


def _chunks(lines: Sequence[bytes], shared: Shared, size: int) -> Iterator[Chunk]:
    for start in range(0, len(lines), size):
        yield Chunk(start + 1, tuple(lines[start : start + size]), shared, "stated")


PATH: Final = "/v1/check-batches"

NDJSON: Final = "application/x-ndjson"
JSON_LINES: Final = "application/jsonl"

STREAMS: Final = (NDJSON, JSON_LINES)
"""Media types of JSON lines; neither is registered."""
