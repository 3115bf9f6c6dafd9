"""Lines grouped into portions that can be judged apart from each other, each knowing the defaults before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from service.bulk.lines import Include, after, is_blank
from service.bulk.shared import Shared

__all__ = ["CHUNK_BYTES", "CHUNK_LINES", "Chunk", "Chunker", "chunks_of"]

CHUNK_LINES = 32
"""Lines of a portion: a tenth of a second or so of work, beside which handing over costs nothing."""

CHUNK_BYTES = 256 * 1024
"""A portion is closed once it weighs so much, so that few long lines cost no more memory than many short ones."""


class Chunk(NamedTuple):
    """Consecutive lines with the number of the first, and the defaults that hold before it."""

    first: int
    lines: tuple[bytes, ...]
    shared: Shared
    include: Include


class Chunker:
    """Numbers lines, follows the defaults they set, and groups them."""

    def __init__(self, shared: Shared, include: Include, size: int = CHUNK_LINES) -> None:
        self.lines = self.blank = self.definitions = 0
        """Lines seen, and those among them that are not answered."""
        self._include: Include = include
        self._size = size
        self._before = self._now = shared
        self._waiting: list[bytes] = []
        self._weight = 0

    def add(self, line: bytes) -> Chunk | None:
        """Take the next line; return the portion it completes."""
        self.lines += 1
        self._waiting.append(line)
        self._weight += len(line)
        if is_blank(line):
            self.blank += 1
        elif (changed := after(line, self._now)) is not None:
            self.definitions += 1
            self._now = changed
        return self.close() if len(self._waiting) >= self._size or self._weight >= CHUNK_BYTES else None

    def skip(self) -> int:
        """Count a line that is answered otherwise and return its number; nothing may be waiting."""
        self.lines += 1
        return self.lines

    def close(self) -> Chunk | None:
        """The portion of the lines that wait, if any do."""
        if not self._waiting:
            return None
        first = self.lines - len(self._waiting) + 1
        chunk = Chunk(first, tuple(self._waiting), self._before, self._include)
        self._waiting, self._weight, self._before = [], 0, self._now
        return chunk


def chunks_of(
    lines: Iterable[bytes], shared: Shared, size: int = CHUNK_LINES, include: Include = "reports"
) -> Iterator[Chunk]:
    """Group lines, numbered from 1, into chunks of at most this many."""
    chunker = Chunker(shared, include, size)
    for line in lines:
        if (chunk := chunker.add(line)) is not None:
            yield chunk
    if (chunk := chunker.close()) is not None:
        yield chunk
