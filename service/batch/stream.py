"""Lines in, lines out: a batch answered while it is still coming.

A flow of bytes cut into lines, none of which can grow beyond a limit.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from contextlib import asynccontextmanager
from typing import Final

from pydantic_core import to_json
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from rules.assessor import Assessor
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing
from service.batch.document import Tally
from service.batch.lines import Chunk, Chunker, Include, LineAnswer, Shared, answer_lines, is_blank, problem_answer
from service.batch.pool import Pool
from service.batch.spool import MEMORY_BYTES, Spool
from service.operations.heavy_work import LIGHT_STEPS, Admission
from service.operations.problems import ProblemError
from service.operations.process import Shutdown
from service.operations.settings import Settings

__all__ = ["INLINE_LINES", "LineSplitter", "LineStream", "answered"]


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


INLINE_LINES: Final = 32
"""So many lines of a batch are judged in this process at once; the pool takes what follows."""

_LONG_LINE: Final = 32 * 1024
"""A line that takes longer than others to read; it is read in a thread."""


class LineStream(Response):
    """An answer that is made while the request comes, line by line, in order.

    Reads and writes the connection itself: the framework's streaming answer throws away what comes in once the answer
    has begun. A client that reads as it sends gets each answer as soon as it is there; for one that reads only when
    all is sent, the answers wait in a :class:`~service.batch.spool.Spool`.
    """

    def __init__(
        self,
        assessor: Assessor,
        pool: Pool,
        settings: Settings,
        admission: Admission,
        include: Include,
        media_type: str,
        told: Callable[[Sequence[LineAnswer]], None] | None = None,
        shutdown: Shutdown | None = None,
    ) -> None:
        """Take what judges and limits; whom to tell the answers, and whose end ends it early."""
        super().__init__(media_type=media_type, headers={"Cache-Control": "no-store", "Vary": "Accept"})
        del self.headers["content-length"]
        self._assessor = assessor
        self._pool = pool
        self._settings = settings
        self._admission = admission
        self._include: Include = include
        self._told = told
        self._shutdown = shutdown or Shutdown(0)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:  # noqa: ARG002
        """Answer until the last line is told, or until nobody listens any more."""
        with self._admission.one():
            flow = _Flow(self._assessor, self._pool, self._settings, self._include, self._told)
            try:
                async with _together() as group:
                    reading = group.create_task(self._read(flow, receive))
                    ending = group.create_task(self._end(flow))
                    group.create_task(flow.collect())
                    await self._write(flow, send)
                    reading.cancel()
                    ending.cancel()
            except ClientDisconnect:
                # Nobody is left to answer, and nothing went wrong here.
                return
            finally:
                flow.close()

    async def _read(self, flow: _Flow, receive: Receive) -> None:
        more = True
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise ClientDisconnect
            # What comes behind the line that is one too many is read and thrown away.
            if more:
                more = message.get("more_body", False)
                more = await flow.take(message.get("body", b""), last=not more) and more

    async def _end(self, flow: _Flow) -> None:
        with self._shutdown.ending() as event:
            await event.wait()
            await flow.break_off()

    async def _write(self, flow: _Flow, send: Send) -> None:
        try:
            data = await flow.spool.get()
            await send({"type": "http.response.start", "status": self.status_code, "headers": self.raw_headers})
            while data is not None:
                await send({"type": "http.response.body", "body": data, "more_body": True})
                data = await flow.spool.get()
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        except OSError:
            raise ClientDisconnect from None


def answered(assessor: Assessor, data: bytes, include: Include) -> bytes:
    """The answer to a batch of few lines that is there already."""
    splitter, chunker, tally = LineSplitter(len(data)), Chunker(Shared(), include, len(data)), Tally()
    for line in (*splitter.feed(data), *splitter.end()):
        chunker.add(line or b"")
    chunk = chunker.close()
    answers = [] if chunk is None else answer_lines(assessor, chunk.first, chunk.lines, chunk.shared, include)
    tally.add(answers)
    return _text(answers) + _last_line(tally, chunker, complete=True)


def _text(answers: Iterable[LineAnswer]) -> bytes:
    return b"".join(b"%b\n" % answer.text for answer in answers)


def _last_line(tally: Tally, chunker: Chunker, *, complete: bool) -> bytes:
    return b"%b\n" % to_json({"summary": tally.stream_summary(chunker, complete=complete)}, by_alias=True)


@asynccontextmanager
async def _together() -> AsyncIterator[asyncio.TaskGroup]:
    """A group of tasks that end together, raising what the first of them raised."""
    try:
        async with asyncio.TaskGroup() as group:
            yield group
    except BaseExceptionGroup as several:
        raise several.exceptions[0] from None


class _Flow:
    """The way of the lines of one batch: cut, grouped, judged here or in the pool, counted, put into the spool."""

    def __init__(
        self,
        assessor: Assessor,
        pool: Pool,
        settings: Settings,
        include: Include,
        told: Callable[[Sequence[LineAnswer]], None] | None = None,
    ) -> None:
        self.spool = Spool(settings.max_batch_spool_bytes)
        self._assessor = assessor
        self._pool = pool
        self._max_line_bytes = settings.max_line_bytes
        self._max_lines = settings.max_batch_lines
        self._splitter = LineSplitter(settings.max_line_bytes)
        self._chunker = Chunker(Shared(), include)
        self._adding = False
        self._ordered: asyncio.Queue[list[LineAnswer] | asyncio.Future[list[LineAnswer]] | None] = asyncio.Queue()
        self._flying: set[asyncio.Future[list[LineAnswer]]] = set()
        self._underway = 0
        self._landed = asyncio.Event()
        self._complete = True
        self._told = told
        self._turn = asyncio.Lock()
        self._ended = False

    async def take(self, data: bytes, *, last: bool) -> bool:
        """Take some bytes more; return whether others may follow."""
        async with self._turn:
            return not self._ended and await self._take(data, last=last)

    async def break_off(self) -> None:
        """Answer what was taken and take no more, because the service is about to stop."""
        async with self._turn:
            if not self._ended:
                await self._room()
                self._refuse("not-ready", "The service is stopping; the rest is not read.")
                self._complete = False
                await self._end()

    async def _take(self, data: bytes, *, last: bool) -> bool:
        if last:
            # Who does not read when all is sent holds up the work instead of filling the disk.
            self.spool.restrict(MEMORY_BYTES)
        for line in self._splitter.feed(data):
            if not await self._add(line):
                last = True
                break
        else:
            for line in self._splitter.end() if last else ():
                await self._add(line)
        if last:
            await self._end()
        else:
            self._let_go_if_idle()
        return not last

    async def _end(self) -> None:
        await self._room()
        self._dispatch(self._chunker.close())
        self._ordered.put_nowait(None)
        self._ended = True

    async def collect(self) -> None:
        """Bring the answers into order, count them and put them into the spool; the summary comes last."""
        tally = Tally(self._told)
        while (item := await self._ordered.get()) is not None:
            answers = item if isinstance(item, list) else await self._landing(item)
            tally.add(answers)
            if answers:
                await self.spool.put(_text(answers))
            self._underway -= 1
            self._landed.set()
            self._let_go_if_idle()
        await self.spool.put(_last_line(tally, self._chunker, complete=self._complete))
        await self.spool.end()

    def close(self) -> None:
        """Call back what is not judged yet, and remove the files."""
        for future in self._flying:
            future.cancel()
        self.spool.close()

    async def _add(self, line: bytes | None) -> bool:
        """Take a line, or one that is too long; return whether another may follow."""
        await self._room()
        if self._chunker.lines >= self._max_lines and not (line is not None and is_blank(line)):
            self._refuse("too-many-lines", f"A batch may hold {self._max_lines} lines; the rest is not read.")
            self._complete = False
            return False
        if line is None:
            self._refuse("line-too-long", f"A line may hold {self._max_line_bytes} bytes.")
            return True
        if self._chunker.lines >= INLINE_LINES:
            self._dispatch(await self._grouped(line))
            return True
        chunk = await self._grouped(line) or self._chunker.close()
        if chunk is not None:
            self._hand_on(await self._judged_here(chunk))
        return True

    async def _grouped(self, line: bytes) -> Chunk | None:
        if len(line) < _LONG_LINE:
            return self._chunker.add(line)
        self._adding = True
        try:
            return await asyncio.to_thread(self._chunker.add, line)
        finally:
            self._adding = False

    async def _judged_here(self, chunk: Chunk) -> list[LineAnswer]:
        judge = (self._assessor, chunk.first, chunk.lines, chunk.shared, chunk.include)
        if len(chunk.lines[0]) >= _LONG_LINE:
            return await asyncio.to_thread(answer_lines, *judge)
        await asyncio.sleep(0)  # others have their turn between two lines
        try:
            with allowing(Allowance(LIGHT_STEPS)):
                return answer_lines(*judge)
        except TooMuchWorkError:
            return await asyncio.to_thread(answer_lines, *judge)

    def _refuse(self, kind: str, detail: str) -> None:
        self._dispatch(self._chunker.close())
        self._hand_on([problem_answer(self._chunker.skip(), ProblemError(kind, detail))])

    def _let_go_if_idle(self) -> None:
        """Judge what waits to become a whole portion, where it need not wait; its client may wait for the answer."""
        if self._underway < self._pool.workers and not self._adding:
            self._dispatch(self._chunker.close())

    def _dispatch(self, chunk: Chunk | None) -> None:
        if chunk is None:
            return
        future = asyncio.wrap_future(self._pool.answer(chunk))
        self._flying.add(future)
        self._hand_on(future)

    def _hand_on(self, item: list[LineAnswer] | asyncio.Future[list[LineAnswer]]) -> None:
        self._underway += 1
        self._ordered.put_nowait(item)

    async def _room(self) -> None:
        """Wait until another portion may be under way."""
        while self._underway >= self._pool.window:
            self._landed.clear()
            await self._landed.wait()

    async def _landing(self, future: asyncio.Future[list[LineAnswer]]) -> list[LineAnswer]:
        await asyncio.wait([future])
        self._flying.discard(future)
        if future.cancelled():
            raise RuntimeError("the pool was closed in the middle of a batch")
        return future.result()
