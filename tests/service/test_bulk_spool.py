"""Queued results stay in order, in memory and files, within the limit."""

from __future__ import annotations

import asyncio
import io
import random
from collections.abc import Coroutine
from typing import Any

import pytest

from service.batch import spool as spool_module
from service.batch.spool import MEMORY_BYTES, Spool


def _run(main: Coroutine[Any, Any, None]) -> None:
    asyncio.run(asyncio.wait_for(main, 60))


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begins a file with the first hundred bytes, and another with every thousand."""
    monkeypatch.setattr(spool_module, "MEMORY_BYTES", 100)
    monkeypatch.setattr(spool_module, "_SEGMENT_BYTES", 1000)
    monkeypatch.setattr(spool_module, "_READ_BYTES", 70)


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("chance", [0.1, 0.5, 0.9])
def test_bytes_come_out_as_they_went_in(chance: float) -> None:
    """Whoever is faster, and wherever they were held meanwhile."""
    rng = random.Random(5)
    pieces = [rng.randbytes(rng.randint(1, 150)) for _ in range(400)]

    async def main() -> None:
        spool = Spool(3000)
        got = []
        used_files = False

        async def put() -> None:
            for piece in pieces:
                await spool.put(piece)
                assert spool.waiting <= 3000
                if rng.random() > chance:
                    await asyncio.sleep(0)
            await spool.end()

        async def get() -> None:
            nonlocal used_files
            while (data := await spool.get()) is not None:
                got.append(data)
                used_files = used_files or spool.in_files
                if rng.random() < chance:
                    await asyncio.sleep(0.0005)

        await asyncio.gather(put(), get())
        assert b"".join(got) == b"".join(pieces)
        assert used_files
        assert not spool.in_files
        assert await spool.get() is None

    _run(main())


@pytest.mark.usefixtures("small")
def test_who_puts_waits_when_the_limit_is_reached() -> None:
    """And goes on once there is room."""

    async def main() -> None:
        spool = Spool(500)
        for _ in range(5):
            await spool.put(b"x" * 100)
        waiting = asyncio.create_task(spool.put(b"y" * 100))
        await asyncio.sleep(0.05)
        assert not waiting.done()
        assert spool.in_files
        assert await spool.get() == b"x" * 100
        await waiting
        assert spool.waiting == 500
        spool.close()
        assert not spool.in_files

    _run(main())


def test_one_piece_beyond_the_limit_is_taken_when_nothing_else_waits() -> None:
    """Otherwise it could never pass."""

    async def main() -> None:
        spool = Spool(10)
        await spool.put(b"x" * (MEMORY_BYTES + 1))
        assert spool.in_files
        got = b""
        while len(got) <= MEMORY_BYTES:
            got += await spool.get() or b""
        assert got == b"x" * (MEMORY_BYTES + 1)
        assert not spool.in_files

    _run(main())


def test_the_limit_may_fall_and_not_rise() -> None:
    """What waits already stays."""

    async def main() -> None:
        spool = Spool(100)
        await spool.put(b"x" * 90)
        spool.restrict(1000)
        spool.restrict(50)
        late = asyncio.create_task(spool.put(b"y"))
        await asyncio.sleep(0.02)
        assert not late.done()
        assert await spool.get() == b"x" * 90
        await late

    _run(main())


def test_a_full_disk_slows_the_batch_and_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """What finds no room waits until all before it is read; half a write is not seen."""
    pieces = [bytes([number]) * (MEMORY_BYTES // 2) for number in range(12)]
    written = 0

    class Full:
        """A file on a disk that is full after some bytes."""

        def __init__(self, **_: object) -> None:
            self._file = io.BytesIO()

        def __getattr__(self, name: str) -> Any:
            return getattr(self._file, name)

        def write(self, data: bytes) -> int:
            nonlocal written
            room = 3 * MEMORY_BYTES // 2 + 100 - written
            if room <= 0:
                raise OSError(28, "No space left on device")
            written += min(room, len(data))
            return self._file.write(data[:room])

    monkeypatch.setattr("service.batch.spool.TemporaryFile", Full)

    async def run() -> bytes:
        spool = Spool(64 * MEMORY_BYTES)

        async def put() -> None:
            for piece in pieces:
                await spool.put(piece)
            await spool.end()

        putting = asyncio.create_task(put())
        await asyncio.sleep(0.2)
        read = b""
        while (data := await spool.get()) is not None:
            read += data
        await putting
        spool.close()
        return read

    assert asyncio.run(asyncio.wait_for(run(), 30)) == b"".join(pieces)
