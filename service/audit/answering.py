"""Who answers portions of an audit: this process, processes beside it, or a cluster; the answers are the same."""

from __future__ import annotations

from concurrent.futures import Future
from types import TracebackType
from typing import Protocol, Self

from rules.assessor import Assessor
from service.batch.lines import Chunk, LineAnswer, answer_lines

__all__ = ["Answering", "Here", "Promise"]


class Promise(Protocol):
    """Answers on their way."""

    def result(self) -> list[LineAnswer]:
        """Wait for the answers."""

    def cancel(self) -> object:
        """Do without them."""


class Answering(Protocol):
    """Answers chunks, several at a time; a context that holds what it needs for that."""

    @property
    def window(self) -> int:
        """Chunks in flight that keep everyone busy."""

    def answer(self, chunk: Chunk) -> Promise:
        """Have a chunk answered."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Here:
    """Answers in this process, at once: for libraries too small to start others for."""

    window = 1

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def answer(self, chunk: Chunk) -> Future[list[LineAnswer]]:
        """Answer a chunk."""
        future: Future[list[LineAnswer]] = Future()
        future.set_result(answer_lines(self._assessor, chunk.first, chunk.lines, chunk.shared, chunk.include))
        return future

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass
