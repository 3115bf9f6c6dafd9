"""Libraries read into portions of work, from the beginning or from where an earlier audit stopped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO, Final, NamedTuple

from pydantic_core import to_json

from rules.schema.parsing import BadRequestError
from rules.schema.strict_json import NotJSONError, parse_json
from service.audit.libraries import Library
from service.batch.lines import MAX_SHARED_BYTES, Chunk, Chunker, Include, LineAnswer, Shared, after, problem_answer
from service.operations.problems import ProblemError, invalid_request, not_json

__all__ = ["MAX_LINE_BYTES", "START", "Place", "Portion", "portions"]

MAX_LINE_BYTES: Final = MAX_SHARED_BYTES
"""Longest line that is read; a longer one is answered with a problem and never held in memory."""

_FEWEST_BYTES: Final = 64 * 1024
"""Read of an overlong line at a time."""


class Place(NamedTuple):
    """How far an audit came: libraries done, and lines and bytes of the next one."""

    library: int
    line: int
    byte: int


START: Final = Place(0, 0, 0)


@dataclass(frozen=True, slots=True)
class Portion:
    """Consecutive lines of one library to be answered, or an answer that is known already."""

    library: int
    chunk: Chunk | None
    known: tuple[LineAnswer, ...]
    end: Place
    """Where the audit stands once this is done."""


def portions(libraries: Sequence[Library], include: Include, start: Place = START) -> Iterator[Portion]:
    """Yield every portion in order, holding one at a time; definitions of one library mean nothing to the next."""
    for place, library in enumerate(libraries[start.library :], start.library):
        begin = start if place == start.library else Place(place, 0, 0)
        with library.open() as file:
            if library.kind == "lines":
                yield from _of_lines(place, file, include, begin)
            else:
                yield from _of_document(place, file.read(), include, begin)


def _of_lines(place: int, file: BinaryIO, include: Include, begin: Place) -> Iterator[Portion]:
    shared = Shared()
    byte = 0
    while byte < begin.byte:
        line = file.readline(MAX_LINE_BYTES + 1)
        byte += len(line)
        shared = after(line, shared) or shared
    chunker = Chunker(shared, include)
    chunker.lines = begin.line
    while line := file.readline(MAX_LINE_BYTES + 1):
        byte += len(line)
        if len(line) > MAX_LINE_BYTES and not line.endswith(b"\n"):
            before = byte - len(line)
            if (chunk := chunker.close()) is not None:
                yield Portion(place, chunk, (), Place(place, chunker.lines, before))
            byte += _rest_of_line(file)
            yield Portion(place, None, (_too_long(chunker.skip()),), Place(place, chunker.lines, byte))
        elif (chunk := chunker.add(line)) is not None:
            yield Portion(place, chunk, (), Place(place, chunker.lines, byte))
    if (chunk := chunker.close()) is not None:
        yield Portion(place, chunk, (), Place(place, chunker.lines, byte))


def _rest_of_line(file: BinaryIO) -> int:
    read = 0
    while part := file.readline(_FEWEST_BYTES):
        read += len(part)
        if part.endswith(b"\n"):
            break
    return read


def _too_long(number: int) -> LineAnswer:
    return problem_answer(number, ProblemError("body-too-large", f"The line takes more than {MAX_LINE_BYTES} bytes."))


def _of_document(place: int, data: bytes, include: Include, begin: Place) -> Iterator[Portion]:
    """One request, a list of them, or ``{"stacks": […]}`` with what they have in common beside it; each is a line."""
    try:
        shared, lines = _shared_and_lines(parse_json(data), data)
    except NotJSONError as error:
        if begin.line == 0:
            yield _unreadable(place, not_json(error), len(data))
        return
    except BadRequestError as error:
        if begin.line == 0:
            yield _unreadable(place, invalid_request(error), len(data))
        return
    for line in lines[: begin.line]:
        shared = after(line, shared) or shared
    chunker = Chunker(shared, include)
    chunker.lines = begin.line
    for line in lines[begin.line :]:
        if (chunk := chunker.add(line)) is not None:
            yield Portion(place, chunk, (), Place(place, chunker.lines, len(data) * chunker.lines // len(lines)))
    if (chunk := chunker.close()) is not None:
        yield Portion(place, chunk, (), Place(place, chunker.lines, len(data)))


def _shared_and_lines(value: Any, data: bytes) -> tuple[Shared, list[bytes]]:
    if isinstance(value, list):
        return Shared(), [to_json(one) for one in value]
    if isinstance(value, dict) and isinstance(value.get("stacks"), list):
        common = {name: member for name, member in value.items() if name != "stacks"}
        return Shared().taking(common), [to_json(one) for one in value["stacks"]]
    return Shared(), [data]


def _unreadable(place: int, problem: ProblemError, size: int) -> Portion:
    return Portion(place, None, (problem_answer(1, problem),), Place(place, 1, size))
