"""Streamed batches: results are sent while the request is still arriving."""

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
from service.batch.lines import Chunk, Chunker, LineAnswer, Shared, answer_lines, is_blank, problem_answer
from service.batch.pool import Pool
from service.batch.spool import MEMORY_BYTES, Spool
from service.operations.heavy_work import LIGHT_STEPS, Admission
from service.operations.problems import ProblemError
from service.operations.process import Shutdown
from service.operations.settings import Settings

__all__ = ["INLINE_LINES", "LineSplitter", "LineStream", "answered"]


_BOM = b"\xef\xbb\xbf"


class LineSplitter:
    """Splits bytes at line feeds; drops a carriage return before one and a leading byte order mark.

    A line of more than ``max_bytes`` gives one None; the rest of it is skipped.
    """

    def __init__(self, max_bytes: int) -> None:
        self._max_bytes = max_bytes
        self._pieces: list[bytes] = []
        self._held = 0
        self._skipping = False
        self._at_start = True

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        """The lines completed by these bytes."""
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
        """The last line, if it has no line feed."""
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
        # A leading byte order mark and a final carriage return do not count.
        return self._held > self._max_bytes + len(_BOM) + 1

    def _drop(self) -> None:
        self._pieces, self._held = [], 0


INLINE_LINES: Final = 32
"""Lines of a batch judged in this process; the pool judges the rest."""

_LONG_LINE: Final = 32 * 1024
"""Bytes of a line above which it is parsed in a thread."""


_IN_THE_BODY: Final = ("malformed-gzip", "body-too-large")
"""Problems that a body in gzip shows only in its course, when results are on their way."""


class LineStream(Response):
    """A response sent line by line, in order, while the request is arriving.

    It uses the connection directly, because the framework's streaming response discards input once it has started.
    Results not yet read by the client wait in a :class:`~service.batch.spool.Spool`.
    """

    def __init__(
        self,
        assessor: Assessor,
        pool: Pool,
        settings: Settings,
        admission: Admission,
        shared: Shared,
        media_type: str,
        told: Callable[[Sequence[LineAnswer]], None] | None = None,
        shutdown: Shutdown | None = None,
    ) -> None:
        """Set the assessor, the limits, the observer of results and the shutdown event."""
        super().__init__(media_type=media_type, headers={"Cache-Control": "no-store", "Vary": "Accept"})
        del self.headers["content-length"]
        self._assessor = assessor
        self._pool = pool
        self._settings = settings
        self._admission = admission
        self._shared = shared
        self._told = told
        self._shutdown = shutdown or Shutdown(0)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:  # noqa: ARG002
        """Respond until the last line is sent or the client has gone."""
        with self._admission.one():
            flow = _Flow(self._assessor, self._pool, self._settings, self._shared, self._told)
            try:
                async with _together() as group:
                    reading = group.create_task(self._read(flow, receive))
                    ending = group.create_task(self._end(flow))
                    group.create_task(flow.collect())
                    await self._write(flow, send)
                    reading.cancel()
                    ending.cancel()
            except ClientDisconnect:
                # The client has gone; this is no error.
                return
            finally:
                flow.close()

    async def _read(self, flow: _Flow, receive: Receive) -> None:
        more, begun = True, False
        while True:
            try:
                message = await receive()
            except ProblemError as problem:
                if not begun or problem.kind.name not in _IN_THE_BODY:
                    raise
                await flow.break_off(problem.kind.name, f"{problem.detail} The remaining lines were not read.")
                return
            if message["type"] == "http.disconnect":
                raise ClientDisconnect
            # Input after the last permitted line is read and discarded.
            begun = begun or bool(message.get("body"))
            if more:
                more = message.get("more_body", False)
                more = await flow.take(message.get("body", b""), last=not more) and more

    async def _end(self, flow: _Flow) -> None:
        with self._shutdown.ending() as event:
            await event.wait()
            await flow.break_off("not-ready", "The service is stopping; the remaining lines were not read.")

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


def answered(assessor: Assessor, data: bytes) -> bytes:
    """The response to a short, complete batch."""
    splitter, chunker, tally = LineSplitter(len(data)), Chunker(Shared(), "stated", len(data)), Tally()
    for line in (*splitter.feed(data), *splitter.end()):
        chunker.add(line or b"")
    chunk = chunker.close()
    answers = [] if chunk is None else answer_lines(assessor, *chunk)
    tally.add(answers)
    return _text(answers) + _last_line(tally, chunker, complete=True)


def _text(answers: Iterable[LineAnswer]) -> bytes:
    return b"".join(b"%b\n" % answer.text for answer in answers)


def _last_line(tally: Tally, chunker: Chunker, *, complete: bool) -> bytes:
    return b"%b\n" % to_json(
        {"type": "end", "summary": tally.stream_summary(chunker, complete=complete)}, by_alias=True
    )


@asynccontextmanager
async def _together() -> AsyncIterator[asyncio.TaskGroup]:
    """A task group that raises the first exception itself."""
    try:
        async with asyncio.TaskGroup() as group:
            yield group
    except BaseExceptionGroup as several:
        raise several.exceptions[0] from None


class _Flow:
    """The processing of one batch: split, group, judge, count and queue."""

    def __init__(
        self,
        assessor: Assessor,
        pool: Pool,
        settings: Settings,
        shared: Shared,
        told: Callable[[Sequence[LineAnswer]], None] | None = None,
    ) -> None:
        self.spool = Spool(settings.max_batch_spool_bytes)
        self._assessor = assessor
        self._pool = pool
        self._max_line_bytes = settings.max_line_bytes
        self._max_lines = settings.max_batch_lines
        self._splitter = LineSplitter(settings.max_line_bytes)
        self._chunker = Chunker(shared, "stated")
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
        """Add bytes; return whether more may follow."""
        async with self._turn:
            return not self._ended and await self._take(data, last=last)

    async def break_off(self, kind: str, detail: str) -> None:
        """Finish the lines received and accept no more, because of this problem."""
        async with self._turn:
            if not self._ended:
                await self._room()
                self._refuse(kind, detail)
                self._complete = False
                await self._end()

    async def _take(self, data: bytes, *, last: bool) -> bool:
        if last:
            # A client that does not read slows the batch instead of filling the disk.
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
        """Count the results in order and queue them; the summary is last."""
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
        """Cancel pending chunks and remove the files."""
        for future in self._flying:
            future.cancel()
        self.spool.close()

    async def _add(self, line: bytes | None) -> bool:
        """Add a line, None if too long; return whether more may follow."""
        await self._room()
        if self._chunker.lines >= self._max_lines and not (line is not None and is_blank(line)):
            self._refuse(
                "too-many-lines",
                f"The batch exceeds the limit of {self._max_lines} lines; the remaining lines were not read.",
            )
            self._complete = False
            return False
        if line is None:
            self._refuse("line-too-long", f"The line exceeds the limit of {self._max_line_bytes} bytes.")
            return True
        if self._chunker.lines >= INLINE_LINES:
            self._dispatch(await self._grouped(line))
            return True
        chunk = await self._grouped(line) or self._chunker.close()
        if chunk is not None and (answers := await self._judged_here(chunk)) is not None:
            self._hand_on(answers)
        else:
            self._dispatch(chunk)
        return True

    async def _grouped(self, line: bytes) -> Chunk | None:
        if len(line) < _LONG_LINE:
            return self._chunker.add(line)
        self._adding = True
        try:
            return await asyncio.to_thread(self._chunker.add, line)
        finally:
            self._adding = False

    async def _judged_here(self, chunk: Chunk) -> list[LineAnswer] | None:
        """The results of a line; None if that is for another process."""
        if len(chunk.lines[0]) >= _LONG_LINE:
            return None
        await asyncio.sleep(0)  # let other tasks run between two lines
        try:
            with allowing(Allowance(LIGHT_STEPS)):
                return answer_lines(self._assessor, *chunk)
        except TooMuchWorkError:
            return None

    def _refuse(self, kind: str, detail: str) -> None:
        self._dispatch(self._chunker.close())
        self._hand_on([problem_answer(self._chunker.skip(), ProblemError(kind, detail))])

    def _let_go_if_idle(self) -> None:
        """Judge an incomplete chunk if nothing is pending, since the client may be waiting."""
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
        """Wait until another chunk may be submitted."""
        while self._underway >= self._pool.window:
            self._landed.clear()
            await self._landed.wait()

    async def _landing(self, future: asyncio.Future[list[LineAnswer]]) -> list[LineAnswer]:
        await asyncio.wait([future])
        self._flying.discard(future)
        if future.cancelled():
            raise RuntimeError("the pool was closed during a batch")
        return future.result()
