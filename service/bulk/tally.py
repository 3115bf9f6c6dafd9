"""What a batch came to: counts of what its answers say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from service.bulk.chunks import Chunker
from service.bulk.lines import LineAnswer
from service.contract.batches import BatchSummary, StreamSummary, VerdictCounts

__all__ = ["BatchSummary", "StreamSummary", "Tally", "VerdictCounts"]


class Tally:
    """Counts answers as they pass."""

    def __init__(self, told: Callable[[Sequence[LineAnswer]], None] | None = None) -> None:
        """Begin at zero; whoever is told hears of the same answers."""
        self._told = told
        self._verdicts: Counter[str] = Counter()
        self._codes: Counter[str] = Counter()
        self._undecided: Counter[str] = Counter()
        self._problems = 0

    def add(self, answers: Sequence[LineAnswer]) -> None:
        """Count some answers more."""
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
