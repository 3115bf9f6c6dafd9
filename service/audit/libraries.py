"""Input files of an audit, read in chunks, from the start or from a saved place."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final, Literal, NamedTuple, TypeAlias

from pydantic_core import to_json

from rules.library import LibraryParts
from rules.schema.parsing import BadRequestError
from rules.schema.strict_json import NotJSONError, parse_json
from service.batch.lines import (
    MAX_SHARED_BYTES,
    Chunk,
    Chunker,
    Include,
    InvalidUse,
    LineAnswer,
    Shared,
    after,
    problem_answer,
)
from service.operations.problems import ProblemError, invalid_request, not_json

__all__ = [
    "START",
    "AuditInputError",
    "Library",
    "LibraryChunk",
    "Place",
    "find_libraries",
    "library_chunks",
    "parts_of",
]


STANDARD_INPUT: Final = "standard input"

MAX_DOCUMENT_BYTES: Final = 64 * 1024 * 1024
"""Largest ``.json`` file in bytes, since it is read at once."""

Kind: TypeAlias = Literal["lines", "document"]

_KINDS: Final[dict[str, Kind]] = {".ndjson": "lines", ".jsonl": "lines", ".json": "document"}


class AuditInputError(ValueError):
    """The audit cannot start because of invalid arguments or files."""


@dataclass(frozen=True, slots=True)
class Library:
    """One file of stacks, or standard input."""

    name: str
    """Printable name, the path from the command line."""
    path: Path | None
    kind: Kind
    size: int | None
    """Size in bytes; None for standard input."""

    def open(self) -> BinaryIO:
        """The file, opened at the start."""
        return sys.stdin.buffer if self.path is None else self.path.open("rb")

    def sha256(self) -> str:
        """SHA-256 of the file."""
        if self.path is None:
            raise ValueError("standard input has no digest before it is read")
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


def find_libraries(names: Sequence[str], taken: Iterable[Path] = ()) -> list[Library]:
    """The libraries named, with the files of folders except the audit's own output; raises :class:`AuditInputError`."""
    own = {path.resolve() for path in taken}
    found = list(_named(names, own))
    if not found:
        raise AuditInputError(f"no library (.ndjson, .jsonl, .json) in {', '.join(names)}")
    paths = [library.path and library.path.resolve() for library in found]
    for place, path in enumerate(paths):
        if path in paths[:place]:
            raise AuditInputError(f"{found[place].name} is named more than once")
    return found


def _named(names: Sequence[str], own: set[Path]) -> Iterator[Library]:
    for name in names:
        path = Path(name)
        if name == "-":
            yield Library(STANDARD_INPUT, None, "lines", None)
        elif path.is_dir():
            for file in sorted(path.rglob("*")):
                hidden = any(part.startswith(".") for part in file.relative_to(path).parts)
                if file.suffix.lower() in _KINDS and file.is_file() and not hidden and file.resolve() not in own:
                    yield _library(file)
        elif path.suffix.lower() not in _KINDS:
            raise AuditInputError(f"{name}: not an .ndjson, .jsonl or .json file or a folder")
        elif path.resolve() in own:
            raise AuditInputError(f"{name}: the output would overwrite this library")
        else:
            yield _library(path)


def _library(path: Path) -> Library:
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except OSError as error:
        raise AuditInputError(f"{path}: {error.strerror}") from None
    kind = _KINDS[path.suffix.lower()]
    if kind == "document" and size > MAX_DOCUMENT_BYTES:
        raise AuditInputError(
            f"{path}: more than {MAX_DOCUMENT_BYTES >> 20} MiB; convert the file to .ndjson, one stack per line"
        )
    return Library(str(path).encode("utf-8", "replace").decode(), path, kind, size)


def parts_of(libraries: Sequence[Library]) -> LibraryParts | None:
    """Return the distinct parts of libraries that have been read; None if standard input is among them.

    Lines that cannot be read are passed over: the audit has reported them.
    """
    if any(library.path is None for library in libraries):
        return None
    parts = LibraryParts()
    for library in libraries:
        with library.open() as file:
            if library.kind == "lines":
                number = 0
                while line := file.readline(MAX_LINE_BYTES + 1):
                    number += 1
                    if len(line) > MAX_LINE_BYTES and not line.endswith(b"\n"):
                        _rest_of_line(file)
                    else:
                        _add_parts(parts, f"{library.name}, line {number}", line)
            else:
                _add_parts(parts, library.name, file.read())
    return parts


def _add_parts(parts: LibraryParts, place: str, data: bytes) -> None:
    try:
        value = parse_json(data)
    except NotJSONError:
        return
    for one in value if isinstance(value, list) else (value,):
        parts.add_request(place, one)
        for stack in one.get("stacks", ()) if isinstance(one, dict) and isinstance(one.get("stacks"), list) else ():
            parts.add_request(place, stack)


MAX_LINE_BYTES: Final = MAX_SHARED_BYTES
"""Longest line in bytes; a longer line gets a problem and is not held in memory."""

_FEWEST_BYTES: Final = 64 * 1024
"""Bytes of an overlong line read at a time."""


class Place(NamedTuple):
    """Progress of an audit: libraries done, lines and bytes of the next one."""

    library: int
    line: int
    byte: int


START: Final = Place(0, 0, 0)


@dataclass(frozen=True, slots=True)
class LibraryChunk:
    """Consecutive lines of one library to judge, a known result, or both."""

    library: int
    chunk: Chunk | None
    known: tuple[LineAnswer, ...]
    end: Place
    """Progress after this chunk."""


def library_chunks(libraries: Sequence[Library], include: Include, start: Place = START) -> Iterator[LibraryChunk]:
    """Yield the chunks in order, one in memory at a time; definitions apply within their library only."""
    for place, library in enumerate(libraries[start.library :], start.library):
        begin = start if place == start.library else Place(place, 0, 0)
        with library.open() as file:
            if library.kind == "lines":
                yield from _of_lines(place, file, include, begin)
            else:
                yield from _of_document(place, file.read(), include, begin)


def _of_lines(place: int, file: BinaryIO, include: Include, begin: Place) -> Iterator[LibraryChunk]:
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
                yield LibraryChunk(place, chunk, (), Place(place, chunker.lines, before))
            byte += _rest_of_line(file)
            yield LibraryChunk(place, None, (_too_long(chunker.skip()),), Place(place, chunker.lines, byte))
        elif (chunk := chunker.add(line)) is not None:
            yield LibraryChunk(place, chunk, (), Place(place, chunker.lines, byte))
    if (chunk := chunker.close()) is not None:
        yield LibraryChunk(place, chunk, (), Place(place, chunker.lines, byte))


def _rest_of_line(file: BinaryIO) -> int:
    read = 0
    while part := file.readline(_FEWEST_BYTES):
        read += len(part)
        if part.endswith(b"\n"):
            break
    return read


def _too_long(number: int) -> LineAnswer:
    return problem_answer(number, ProblemError("body-too-large", f"The line has more than {MAX_LINE_BYTES} bytes."))


def _of_document(place: int, data: bytes, include: Include, begin: Place) -> Iterator[LibraryChunk]:
    """Yield chunks of one request, a list of requests, or ``{"stacks": […]}`` with shared fields."""
    try:
        shared, lines, refused, invalid = _shared_and_lines(parse_json(data), data)
    except NotJSONError as error:
        if begin.line == 0:
            yield _unreadable(place, not_json(error), len(data))
        return
    if refused is not None and begin.line == 0:
        # The stacks are judged without what is invalid, if anything of the definitions is valid.
        lines = lines if len(shared.definitions) else []
        known = problem_answer(1, invalid_request(refused))._replace(invalid=invalid)
        if not lines:
            yield LibraryChunk(place, None, (known,), Place(place, 1, len(data)))
            return
        first = Chunk(1, tuple(lines[:1]), shared, include)
        yield LibraryChunk(place, first, (known,), Place(place, 1, len(data) // len(lines)))
        shared, begin = after(lines[0], shared) or shared, begin._replace(line=1)
    for line in lines[: begin.line]:
        shared = after(line, shared) or shared
    chunker = Chunker(shared, include)
    chunker.lines = begin.line
    for line in lines[begin.line :]:
        if (chunk := chunker.add(line)) is not None:
            yield LibraryChunk(place, chunk, (), Place(place, chunker.lines, len(data) * chunker.lines // len(lines)))
    if (chunk := chunker.close()) is not None:
        yield LibraryChunk(place, chunk, (), Place(place, chunker.lines, len(data)))


def _shared_and_lines(
    value: Any, data: bytes
) -> tuple[Shared, list[bytes], BadRequestError | None, tuple[InvalidUse, ...]]:
    if isinstance(value, list):
        return Shared(), [to_json(one) for one in value], None, ()
    if isinstance(value, dict) and isinstance(value.get("stacks"), list):
        common = {name: member for name, member in value.items() if name != "stacks"}
        shared, refused, invalid = Shared().following(common)
        return shared, [to_json(one) for one in value["stacks"]], refused, invalid
    return Shared(), [data], None, ()


def _unreadable(place: int, problem: ProblemError, size: int) -> LibraryChunk:
    return LibraryChunk(place, None, (problem_answer(1, problem),), Place(place, 1, size))
