"""Answers that wait to be taken: a few in memory, more in a temporary file, never more than a limit."""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from tempfile import TemporaryFile
from typing import Final

__all__ = ["MEMORY_BYTES", "Spool"]

MEMORY_BYTES: Final = 1024 * 1024
"""Held in memory before a file is begun."""

_SEGMENT_BYTES: Final = 16 * 1024 * 1024
"""What is taken is given back to the disk in pieces of this size."""

_READ_BYTES: Final = 256 * 1024


class _Segment:
    """A temporary file that is written at its end and read from its start, by two threads if need be."""

    def __init__(self) -> None:
        self._file = TemporaryFile()  # noqa: SIM115 closed with the spool
        self._lock = threading.Lock()
        self.written = self.read = 0
        self.busy = False

    def append(self, data: bytes) -> None:
        with self._lock:
            self._file.seek(0, 2)
            self._file.write(data)

    def take(self) -> bytes:
        with self._lock:
            self._file.seek(self.read)
            return self._file.read(min(_READ_BYTES, self.written - self.read))

    def close(self) -> None:
        with self._lock:
            self._file.close()


class Spool:
    """A queue of bytes between one task that puts and one that gets.

    ``limit`` bytes may wait in all; who wants to put more has to wait as well. One put goes in whole whatever it
    weighs, if nothing else waits.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._memory: deque[bytes] = deque()
        self._in_memory = 0
        self._segments: deque[_Segment] = deque()
        self._waiting = 0
        self._ended = False
        self._changed = asyncio.Condition()

    @property
    def waiting(self) -> int:
        """Bytes that were put and not got."""
        return self._waiting

    @property
    def in_files(self) -> bool:
        """Whether some of them are in a file."""
        return bool(self._segments)

    def restrict(self, limit: int) -> None:
        """From now on let only so much wait; what waits already stays."""
        self._limit = min(self._limit, limit)

    async def put(self, data: bytes) -> None:
        """Add bytes, once there is room for them."""
        async with self._changed:
            await self._changed.wait_for(lambda: not self._waiting or self._waiting + len(data) <= self._limit)
        if not self._segments and self._in_memory + len(data) <= MEMORY_BYTES:
            self._memory.append(data)
            self._in_memory += len(data)
        else:
            await self._append(data)
        await self._count(len(data))

    async def end(self) -> None:
        """Say that nothing more will be put."""
        self._ended = True
        await self._count(0)

    async def get(self) -> bytes | None:
        """The next bytes, once there are some; None behind the last."""
        async with self._changed:
            await self._changed.wait_for(lambda: self._waiting or self._ended)
        if not self._waiting:
            return None
        if self._memory:
            data = self._memory.popleft()
            self._in_memory -= len(data)
        else:
            data = await self._take()
        await self._count(-len(data))
        return data

    def close(self) -> None:
        """Remove the files, read or not."""
        while self._segments:
            self._segments.popleft().close()

    async def _append(self, data: bytes) -> None:
        if not self._segments or self._segments[-1].written >= _SEGMENT_BYTES:
            self._segments.append(_Segment())
        segment = self._segments[-1]
        segment.busy = True
        await asyncio.to_thread(segment.append, data)
        segment.written += len(data)
        segment.busy = False

    async def _take(self) -> bytes:
        segment = self._segments[0]
        data = await asyncio.to_thread(segment.take)
        segment.read += len(data)
        if segment.read == segment.written and not segment.busy:
            self._segments.popleft().close()
        return data

    async def _count(self, change: int) -> None:
        async with self._changed:
            self._waiting += change
            self._changed.notify_all()
