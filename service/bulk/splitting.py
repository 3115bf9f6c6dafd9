"""A flow of bytes cut into lines, none of which can grow beyond a limit."""

from __future__ import annotations

from collections.abc import Iterator

__all__ = ["LineSplitter"]

_BOM = b"\xef\xbb\xbf"


class LineSplitter:
    """Cuts at line feeds; a carriage return before one, and a byte order mark in front of all, are dropped.

    A line of more than ``max_bytes`` comes out as None, once, as soon as it is too long; the rest of it is passed over.
    """

    def __init__(self, max_bytes: int) -> None:
        self._max_bytes = max_bytes
        self._pieces: list[bytes] = []
        self._held = 0
        self._skipping = False
        self._at_start = True

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        """The lines that these bytes complete."""
        start = 0
        while (end := data.find(b"\n", start)) >= 0:
            self._hold(data[start:end])
            yield from self._line()
            start = end + 1
        self._hold(data[start:])
        if self._is_too_long() and not self._skipping:
            self._drop()
            self._skipping, self._at_start = True, False
            yield None

    def end(self) -> Iterator[bytes | None]:
        """The last line, where no line feed ends it."""
        if self._held or self._skipping:
            yield from self._line()

    def _hold(self, piece: bytes) -> None:
        if piece and not self._skipping:
            self._pieces.append(piece)
            self._held += len(piece)

    def _line(self) -> Iterator[bytes | None]:
        if self._skipping:
            self._skipping = False
            return
        line = b"".join(self._pieces)
        self._drop()
        if self._at_start:
            line = line.removeprefix(_BOM)
            self._at_start = False
        line = line.removesuffix(b"\r")
        yield line if len(line) <= self._max_bytes else None

    def _is_too_long(self) -> bool:
        # What may be dropped yet is not counted: a mark in front, a carriage return behind.
        return self._held > self._max_bytes + len(_BOM) + 1

    def _drop(self) -> None:
        self._pieces, self._held = [], 0
