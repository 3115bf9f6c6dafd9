"""What a batch came to: counts of what its answers say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from pydantic import Field

from service.answers import Answer
from service.bulk.chunks import Chunker
from service.bulk.lines import LineAnswer

__all__ = ["BatchSummary", "StreamSummary", "Tally", "VerdictCounts"]


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
    complete: bool = Field(description="False where lines were left unread, because there are too many.")


class Tally:
    """Counts answers as they pass."""

    def __init__(self) -> None:
        self._verdicts: Counter[str] = Counter()
        self._codes: Counter[str] = Counter()
        self._undecided: Counter[str] = Counter()
        self._problems = 0

    def add(self, answers: Iterable[LineAnswer]) -> None:
        """Count some answers more."""
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
        """The counts so far, with what became of each line."""
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
