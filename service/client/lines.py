"""Batches of any number of lines, sent in chunks that can be retried; memory holds one chunk at a time."""

from __future__ import annotations

import json
from collections.abc import AsyncIterable, AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from pydantic import ValidationError

from rules.schema.report import Report
from rules.schema.request import Stack, StackRequest
from service.client.calls import Call, Given, Received, json_bytes, successful
from service.client.sending import AnsweredProblemError, UnreadableAnswerError, UnsendableError
from service.contract import Defaults, Problem, StreamSummary, VerdictResult

__all__ = ["CHUNK_LINES", "AsyncLines", "BatchLine", "Line", "LineChunk", "LineChunker", "Lines", "async_each", "each"]

Line: TypeAlias = Given[StackRequest | Stack]
"""A check request or a stack."""

Lines: TypeAlias = Iterable[Line]
AsyncLines: TypeAlias = Iterable[Line] | AsyncIterable[Line]

CHUNK_LINES: Final = 256
_CHUNK_BYTES: Final = 4 * 1024 * 1024

_NDJSON: Final = "application/x-ndjson"


@dataclass(frozen=True, slots=True)
class BatchLine:
    """The result of one request of a batch."""

    number: int
    """Number of the request, from 1."""
    answer: Report | VerdictResult | Problem
    """Report, short verdict if requested, or problem."""


@dataclass(frozen=True, slots=True)
class LineChunk:
    """Consecutive lines, the number of the first and the shared fields."""

    first: int
    lines: tuple[bytes, ...]
    shared: bytes | None

    def call(self) -> Call[Iterator[BatchLine]]:
        """The call that sends the chunk."""
        sent = self.lines if self.shared is None else (self.shared, *self.lines)
        headers = {"Content-Type": _NDJSON, "Accept": _NDJSON}
        body = b"".join(b"%b\n" % line for line in sent)
        return Call("POST", "/v1/check-batches", self._read, {}, headers, body)

    def _read(self, received: Received) -> Iterator[BatchLine]:
        """The results, parsed on demand after a check that all are present."""
        before = 0 if self.shared is None else 1
        answers = _complete(successful(received, _NDJSON).split(b"\n"), before, len(self.lines))
        return (_answer(self.first + place, line, 1 + before + place) for place, line in enumerate(answers))


class LineChunker:
    """Groups requests into chunks."""

    def __init__(self, shared: Given[Defaults] | None, size: int) -> None:
        if size < 1:
            raise ValueError("chunk_size must be at least 1")
        self._shared = None if shared is None else json_bytes(shared)
        self._size = size
        self._next = 1
        self._waiting: list[bytes] = []
        self._weight = 0

    def add(self, request: Line) -> LineChunk | None:
        """Add a request; return the chunk it completes, if any. Raises :class:`UnsendableError`."""
        line = _line(request, self._next + len(self._waiting))
        self._waiting.append(line)
        self._weight += len(line)
        return self.close() if len(self._waiting) >= self._size or self._weight >= _CHUNK_BYTES else None

    def close(self) -> LineChunk | None:
        """The chunk of the pending requests, if any."""
        if not self._waiting:
            return None
        chunk = LineChunk(self._next, tuple(self._waiting), self._shared)
        self._next += len(self._waiting)
        self._waiting, self._weight = [], 0
        return chunk


def each(requests: Lines) -> Iterator[Line]:
    """The requests in order."""
    return iter(requests)


async def async_each(requests: AsyncLines) -> AsyncIterator[Line]:
    """As ``each``, from an iterable of either kind."""
    if isinstance(requests, AsyncIterable):
        async for request in requests:
            yield request
    else:
        for request in requests:
            yield request


def _line(request: Line, number: int) -> bytes:
    is_one = isinstance(request, StackRequest | Stack) or (
        isinstance(request, Mapping)
        # a dictionary may contain a model
        and ("stack" in request or isinstance(request.get("components"), Sequence))
    )
    if not is_one:
        raise UnsendableError(f"Line {number} is neither a check request nor a stack.")
    return json_bytes(request)


def _complete(lines: list[bytes], before: int, count: int) -> list[bytes]:
    """The results of the chunk's lines; raises unless all are present."""
    *answers, last = [line for line in lines if line] or [b""]
    told = _object(last).get("summary")
    try:
        summary = StreamSummary.model_validate(told, extra="ignore")
    except ValidationError:
        raise UnreadableAnswerError("The response to the batch is incomplete.", repeatable=True) from None
    if before and answers and _object(answers[0]).get("line") == 1:
        raise AnsweredProblemError(_problem(_object(answers[0])))
    if not summary.complete:
        raise AnsweredProblemError(_problem(_object(answers[-1] if answers else b"")))
    if len(answers) != count:
        raise UnreadableAnswerError(f"The response has {len(answers)} results for {count} lines.")
    return answers


def _answer(number: int, line: bytes, place: int) -> BatchLine:
    told = _object(line)
    if told.get("line") != place:
        raise UnreadableAnswerError(f"The result of line {number} is not in its place.")
    try:
        if told.get("type") == "report":
            return BatchLine(number, Report.model_validate(told["report"], extra="ignore"))
        if told.get("type") == "problem":
            return BatchLine(number, _problem(told))
        return BatchLine(number, VerdictResult.model_validate(told, extra="ignore"))
    except ValidationError as error:
        raise UnreadableAnswerError(f"The result of line {number} is invalid.") from error


def _problem(told: Mapping[str, Any]) -> Problem:
    try:
        return Problem.model_validate(told.get("problem"), extra="ignore")
    except ValidationError as error:
        raise UnreadableAnswerError("A result has an invalid problem document.") from error


def _object(line: bytes) -> dict[str, Any]:
    try:
        value = json.loads(line)
    except ValueError:
        value = None
    return value if isinstance(value, dict) else {}
