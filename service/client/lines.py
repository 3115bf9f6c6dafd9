"""Batches as lines: any number of requests in portions, each of which is a call that can be repeated.

A portion is sent whole before its answer is read, so memory holds one portion however long the batch is.
"""

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
from service.contract import Defaults, Include, Problem, StreamSummary, VerdictResult

__all__ = ["PORTION_LINES", "AsyncLines", "BatchLine", "Line", "Lines", "Portion", "Portions", "async_each", "each"]

Line: TypeAlias = Given[StackRequest | Stack]
"""A request as of a check, or a stack alone."""

Lines: TypeAlias = Iterable[Line]
AsyncLines: TypeAlias = Iterable[Line] | AsyncIterable[Line]

PORTION_LINES: Final = 256
_PORTION_BYTES: Final = 4 * 1024 * 1024

_NDJSON: Final = "application/x-ndjson"


@dataclass(frozen=True, slots=True)
class BatchLine:
    """The answer to one request of a batch."""

    number: int
    """Which request, from 1."""
    answer: Report | VerdictResult | Problem
    """The report, or the verdict in short where those were asked for, or what was wrong with this one."""


@dataclass(frozen=True, slots=True)
class Portion:
    """Consecutive lines, the number of the first, and what they share."""

    first: int
    lines: tuple[bytes, ...]
    shared: bytes | None
    include: Include

    def call(self) -> Call[Iterator[BatchLine]]:
        """The call that has them answered."""
        sent = self.lines if self.shared is None else (self.shared, *self.lines)
        headers = {"Content-Type": _NDJSON, "Accept": _NDJSON}
        body = b"".join(b"%b\n" % line for line in sent)
        return Call("POST", "/v1/check-batches", self._read, {"include": self.include}, headers, body)

    def _read(self, received: Received) -> Iterator[BatchLine]:
        """The answers, each made when it is asked for; that all are there is seen before the first."""
        before = 0 if self.shared is None else 1
        answers = _complete(successful(received, _NDJSON).split(b"\n"), before, len(self.lines))
        return (_answer(self.first + place, line, 1 + before + place) for place, line in enumerate(answers))


class Portions:
    """Groups requests as they come."""

    def __init__(self, shared: Given[Defaults] | None, include: Include, size: int) -> None:
        if size < 1:
            raise ValueError("a portion holds at least one line")
        self._shared = None if shared is None else json_bytes(shared)
        self._include: Include = include
        self._size = size
        self._next = 1
        self._waiting: list[bytes] = []
        self._weight = 0

    def add(self, request: Line) -> Portion | None:
        """Take a request; return the portion it completes. Raises :class:`UnsendableError`."""
        line = _line(request, self._next + len(self._waiting))
        self._waiting.append(line)
        self._weight += len(line)
        return self.close() if len(self._waiting) >= self._size or self._weight >= _PORTION_BYTES else None

    def close(self) -> Portion | None:
        """The portion of the requests that wait, if any do."""
        if not self._waiting:
            return None
        portion = Portion(self._next, tuple(self._waiting), self._shared, self._include)
        self._next += len(self._waiting)
        self._waiting, self._weight = [], 0
        return portion


def each(requests: Lines) -> Iterator[Line]:
    """The requests, one after the other."""
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
        # as a model it may lie in a dictionary, too
        and ("stack" in request or isinstance(request.get("components"), Sequence))
    )
    if not is_one:
        raise UnsendableError(f"Line {number} is neither a request of a check nor a stack.")
    return json_bytes(request)


def _complete(lines: list[bytes], before: int, count: int) -> list[bytes]:
    """The answers to so many lines, without what the lines before them got; raises unless all are there."""
    *answers, last = [line for line in lines if line] or [b""]
    told = _object(last).get("summary")
    try:
        summary = StreamSummary.model_validate(told, extra="ignore")
    except ValidationError:
        raise UnreadableAnswerError("The answer to the batch was cut off.", repeatable=True) from None
    if before and answers and _object(answers[0]).get("line") == 1:
        raise AnsweredProblemError(_problem(_object(answers[0])))
    if not summary.complete:
        raise AnsweredProblemError(_problem(_object(answers[-1] if answers else b"")))
    if len(answers) != count:
        raise UnreadableAnswerError(f"Of a batch of {count} lines {len(answers)} were answered.")
    return answers


def _answer(number: int, line: bytes, place: int) -> BatchLine:
    told = _object(line)
    if told.pop("line", None) != place:
        raise UnreadableAnswerError(f"Where the answer to line {number} should be stands another.")
    try:
        if "report" in told:
            return BatchLine(number, Report.model_validate(told["report"], extra="ignore"))
        if "problem" in told:
            return BatchLine(number, _problem(told))
        return BatchLine(number, VerdictResult.model_validate(told, extra="ignore"))
    except ValidationError as error:
        raise UnreadableAnswerError(f"The answer to line {number} can't be read.") from error


def _problem(told: Mapping[str, Any]) -> Problem:
    try:
        return Problem.model_validate(told.get("problem"), extra="ignore")
    except ValidationError as error:
        raise UnreadableAnswerError("A line is answered with a problem that can't be read.") from error


def _object(line: bytes) -> dict[str, Any]:
    try:
        value = json.loads(line)
    except ValueError:
        value = None
    return value if isinstance(value, dict) else {}
