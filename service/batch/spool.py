"""Queue of results, in memory and beyond that in temporary files, with a size limit."""

from __future__ import annotations

import asyncio
import logging
import threading
from collections import deque
from tempfile import TemporaryFile
from typing import Final

__all__ = ["MEMORY_BYTES", "Spool"]

_LOG = logging.getLogger("stackgauge")

MEMORY_BYTES: Final = 1024 * 1024
"""Bytes in memory before a file is used."""

_SEGMENT_BYTES: Final = 16 * 1024 * 1024
"""Size of the file segments that are deleted once read, bytes."""

_READ_BYTES: Final = 256 * 1024


class _Segment:
    """A temporary file, appended at the end and read from the start, also by two threads."""

    def __init__(self) -> None:
        self._file = TemporaryFile(buffering=0)  # noqa: SIM115 closed with the spool
        self._lock = threading.Lock()
        self.written = self.read = 0
        self.busy = False

    def append(self, data: bytes) -> None:
        """Add bytes; raises OSError, with nothing added, if there is no room."""
        with self._lock:
            self._file.seek(self.written)
            rest = memoryview(data)
            while rest:
                rest = rest[self._file.write(rest) or 0 :]

    def take(self) -> bytes:
        with self._lock:
            self._file.seek(self.read)
            return self._file.read(min(_READ_BYTES, self.written - self.read)) or b""

    def close(self) -> None:
        with self._lock:
            self._file.close()


class Spool:
    """A byte queue between one producer and one consumer task.

    A put waits while more than ``limit`` bytes are queued. An empty queue accepts a put of any size.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._memory: deque[bytes] = deque()
        self._in_memory = 0
        self._segments: deque[_Segment] = deque()
        self._waiting = 0
        self._ended = False
        self._full = False
        self._changed = asyncio.Condition()

    @property
    def waiting(self) -> int:
        """Queued bytes."""
        return self._waiting

    @property
    def in_files(self) -> bool:
        """Whether part of the queue is in a file."""
        return bool(self._segments)

    def restrict(self, limit: int) -> None:
        """Lower the limit; queued bytes stay."""
        self._limit = min(self._limit, limit)

    async def put(self, data: bytes) -> None:
        """Add bytes when there is space."""
        async with self._changed:
            await self._changed.wait_for(lambda: not self._waiting or self._waiting + len(data) <= self._limit)
        if self._segments or self._in_memory + len(data) > MEMORY_BYTES:
            try:
                await self._append(data)
            except OSError as error:
                # a full disk slows the batch; it costs neither the batch nor its order
                if not self._full:
                    _LOG.warning("results of a batch wait in memory, since they have no file: %s", error.strerror)
                self._full = True
                async with self._changed:
                    await self._changed.wait_for(lambda: not self._waiting)
                self._hold(data)
        else:
            self._hold(data)
        await self._count(len(data))

    def _hold(self, data: bytes) -> None:
        self._memory.append(data)
        self._in_memory += len(data)

    async def end(self) -> None:
        """Mark the end of the queue."""
        self._ended = True
        await self._count(0)

    async def get(self) -> bytes | None:
        """The next bytes, when available; None at the end."""
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
        """Remove the files."""
        while self._segments:
            self._segments.popleft().close()

    async def _append(self, data: bytes) -> None:
        if not self._segments or self._segments[-1].written >= _SEGMENT_BYTES:
            self._segments.append(_Segment())
        segment = self._segments[-1]
        segment.busy = True
        try:
            await asyncio.to_thread(segment.append, data)
            segment.written += len(data)
        finally:
            segment.busy = False
            if segment.read == segment.written:
                self._segments.remove(segment)
                segment.close()

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
