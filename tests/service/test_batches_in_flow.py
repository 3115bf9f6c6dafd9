"""Streamed batches and their clients: flow control, and cleanup when one side leaves."""

from __future__ import annotations

import asyncio
import json
import logging
import multiprocessing
import tempfile
from collections.abc import Coroutine, Iterator
from concurrent.futures import Future
from typing import Any

import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from service.batch import spool as spool_module
from service.batch.lines import CHUNK_LINES
from service.batch.pool import Pool
from service.batch.spool import MEMORY_BYTES
from service.batch.stream import INLINE_LINES
from service.http.app import create_app
from service.operations.settings import Settings
from tests.support.asgi_connection import Connection

PATH = "/v1/check-batches"
SHORT = f"{PATH}?brief=true"
NDJSON = "application/x-ndjson"
STACK = json.dumps(base_request("nut_collet")).encode()
SPOOL_BYTES = 2 * MEMORY_BYTES

NUL_LINE = b"\x00" * 60 + b"\n"
"""A line whose answer takes more than itself."""


@pytest.fixture(scope="module")
def batches(assessor: Assessor) -> FastAPI:
    return create_app(Settings(batch_workers=2, max_batches=1, max_batch_spool_bytes=SPOOL_BYTES), assessor)


@pytest.fixture
def files(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The temporary files that are made meanwhile."""
    made: list[Any] = []

    def make(**options: Any) -> Any:
        made.append(tempfile.TemporaryFile(**options))  # noqa: SIM115
        return made[-1]

    monkeypatch.setattr(spool_module, "TemporaryFile", make)
    return made


@pytest.fixture
def no_errors(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Nothing that happens is worth a line in the log."""
    with caplog.at_level(logging.WARNING):
        yield
    assert not [record for record in caplog.records if record.levelno >= logging.WARNING]


def _run(main: Coroutine[Any, Any, None]) -> None:
    # generous: it only keeps a test that fails from hanging
    asyncio.run(asyncio.wait_for(main, 120))


async def _rest(connection: Connection) -> None:
    """Wait until the application has nothing more to do that it can do by itself."""
    taken, body = -1, -1
    while (taken, body) != (connection.taken, len(connection.body)):
        taken, body = connection.taken, len(connection.body)
        await asyncio.sleep(0.3)


@pytest.mark.usefixtures("no_errors")
def test_each_answer_comes_as_soon_as_it_is_there(batches: FastAPI) -> None:
    """A client may wait for an answer before it sends the next line, also when the pool judges."""

    async def main() -> None:
        connection = Connection(batches, SHORT, NDJSON)
        connection.give(b"\n" * INLINE_LINES)
        for number in range(1, 9):
            connection.give(STACK + b"\n" + STACK[:50])
            connection.give(STACK[50:] + b"\n")
            answers = await connection.lines(2 * number)
            assert json.loads(answers[-1])["line"] == INLINE_LINES + 2 * number
        connection.give(STACK, last=True)
        *_, last = await connection.lines(18)
        assert json.loads(last)["summary"]["stacks"] == 17
        await connection.ended
        assert connection.complete

    _run(main())


@pytest.mark.usefixtures("no_errors")
def test_the_answer_begins_before_the_body_ends(batches: FastAPI) -> None:
    """The first lines are judged at once."""

    async def main() -> None:
        connection = Connection(batches, SHORT, NDJSON)
        connection.give(STACK + b"\n")
        await connection.lines(1)
        assert (connection.status, connection.complete) == (200, False)
        connection.give(b"", last=True)
        await connection.ended
        assert connection.complete

    _run(main())


@pytest.mark.usefixtures("no_errors")
def test_who_reads_only_when_all_is_sent_is_not_left_waiting(batches: FastAPI, files: list[Any]) -> None:
    """What does not fit into memory waits in a file, which is gone at the end."""
    sent = NUL_LINE * 5000

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        connection.reads.clear()
        for start in range(0, len(sent), 20_000):
            connection.give(sent[start : start + 20_000])
        while connection.taken < len(sent):
            await asyncio.sleep(0.01)
        assert connection.body == b""
        assert files
        connection.give(b"", last=True)
        connection.reads.set()
        await connection.ended
        lines = connection.body.splitlines()
        assert [json.loads(line)["line"] for line in lines[:-1]] == list(range(1, 5001))
        assert json.loads(lines[-1])["summary"]["problems"] == 5000
        assert len(connection.body) > MEMORY_BYTES

    _run(main())
    assert all(file.closed for file in files)


@pytest.mark.usefixtures("no_errors")
def test_reading_stops_when_too_many_answers_wait(batches: FastAPI, files: list[Any]) -> None:
    """Neither memory nor disk fills up for a client that never reads; once it does, all goes on."""
    answer_bytes = 200
    sent = NUL_LINE * (3 * SPOOL_BYTES // answer_bytes)

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        connection.reads.clear()
        for start in range(0, len(sent), 20_000):
            connection.give(sent[start : start + 20_000])
        connection.give(b"", last=True)
        while connection.taken // len(NUL_LINE) * answer_bytes < SPOOL_BYTES / 2:
            await asyncio.sleep(0.05)
        await _rest(connection)
        held = connection.taken // len(NUL_LINE) * answer_bytes
        assert held < 2 * SPOOL_BYTES
        assert sum(file.seek(0, 2) for file in files) <= SPOOL_BYTES
        connection.reads.set()
        await connection.ended
        assert connection.taken == len(sent)
        assert connection.body.count(b"\n") == len(sent) // len(NUL_LINE) + 1

    _run(main())
    assert all(file.closed for file in files)


@pytest.mark.usefixtures("no_errors")
def test_a_slow_reader_holds_up_the_work_once_all_is_sent(batches: FastAPI, files: list[Any]) -> None:
    """Nobody waits for it then, so no file is begun."""
    sent = NUL_LINE * 30_000

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        connection.reads.clear()
        connection.give(sent, last=True)
        await _rest(connection)
        connection.reads.set()
        await connection.ended
        assert connection.body.count(b"\n") == 30_001

    _run(main())
    assert files == []


@pytest.mark.usefixtures("no_errors")
@pytest.mark.parametrize("lines", [0, 1, INLINE_LINES + 200], ids=["none", "few", "many"])
@pytest.mark.parametrize("reads", [True, False], ids=["read", "unread"])
def test_a_client_that_leaves_ends_the_work(batches: FastAPI, files: list[Any], lines: int, reads: bool) -> None:
    """In the middle of the body: files are gone, and its place is free for another."""

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        if not reads:
            connection.reads.clear()
        connection.give((STACK + b"\n") * lines + STACK[:100])
        if reads:
            await connection.lines(min(lines, 1))
        connection.leave()
        await connection.ended
        assert not connection.complete
        assert b'{"summary"' not in connection.body
        after = Connection(batches, SHORT, NDJSON)
        after.give(STACK, last=True)
        await after.ended
        assert (after.status, after.complete) == (200, True)

    _run(main())
    assert all(file.closed for file in files)


@pytest.mark.usefixtures("no_errors")
def test_what_nobody_waits_for_any_more_is_called_back(batches: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    """Portions that wait for a worker are not judged for a client that has left."""
    futures: list[Future[Any]] = []

    def answer(_pool: Pool, _chunk: Any) -> Future[Any]:
        futures.append(Future())
        return futures[-1]

    monkeypatch.setattr(Pool, "answer", answer)

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        connection.give((STACK + b"\n") * (INLINE_LINES + 3 * CHUNK_LINES))
        await connection.lines(INLINE_LINES)
        assert not any(future.cancelled() for future in futures)
        connection.leave()
        await connection.ended

    _run(main())
    assert [future.cancelled() for future in futures] == [True] * 3


@pytest.mark.usefixtures("no_errors")
def test_a_client_that_leaves_before_its_last_answer_ends_the_work(batches: FastAPI, files: list[Any]) -> None:
    """Also when all is sent and the answers pile up."""

    async def main() -> None:
        connection = Connection(batches, PATH, NDJSON)
        connection.reads.clear()
        connection.give(NUL_LINE * 40_000, last=True)
        await _rest(connection)
        connection.leave()
        await connection.ended
        assert not connection.complete

    _run(main())
    assert all(file.closed for file in files)


@pytest.mark.usefixtures("no_errors")
def test_a_connection_that_breaks_while_answers_are_sent_ends_the_work(batches: FastAPI, files: list[Any]) -> None:
    """Servers may say so by an error of the operating system."""

    class Breaking(Connection):
        async def _send(self, message: dict[str, Any]) -> None:
            if self.body:
                raise BrokenPipeError
            await super()._send(message)

    async def main() -> None:
        connection = Breaking(batches, PATH, NDJSON)
        connection.give(NUL_LINE * 100)
        await connection.ended
        assert not connection.complete

    _run(main())
    assert all(file.closed for file in files)


@pytest.mark.usefixtures("no_errors")
def test_one_batch_too_many_is_asked_to_come_later(batches: FastAPI) -> None:
    """As lines or as a document; single checks are answered meanwhile."""

    async def main() -> None:
        first = Connection(batches, SHORT, NDJSON)
        first.give(STACK + b"\n")
        await first.lines(1)
        for content_type in (NDJSON, "application/json"):
            second = Connection(batches, PATH, content_type)
            second.give(b"{}", last=True)
            await second.ended
            assert second.status == 503
            assert json.loads(second.body)["code"] == "too-busy"
        single = Connection(batches, "/v1/checks", "application/json")
        single.give(STACK, last=True)
        await single.ended
        assert single.status == 200
        first.give(b"", last=True)
        await first.ended
        third = Connection(batches, PATH, NDJSON)
        third.give(b"", last=True)
        await third.ended
        assert third.status == 200

    _run(main())


def _workers() -> set[int | None]:
    return {child.pid for child in multiprocessing.active_children()}


def test_small_batches_start_no_process_and_the_workers_end_with_the_application(assessor: Assessor) -> None:
    """Processes come with the first large batch."""
    app = create_app(Settings(batch_workers=1), assessor)
    before = _workers()

    async def main() -> None:
        async with app.router.lifespan_context(app):
            for count, started in ((INLINE_LINES, 0), (INLINE_LINES + 1, 1)):
                connection = Connection(app, SHORT, NDJSON)
                connection.give((STACK + b"\n") * count, last=True)
                await connection.ended
                assert connection.body.count(b"\n") == count + 1
                assert len(_workers() - before) == started

    _run(main())
    assert _workers() <= before


def test_a_pool_that_is_closed_in_the_middle_cuts_the_answer_off(assessor: Assessor) -> None:
    """Half an answer must not look like a whole one."""
    app = create_app(Settings(batch_workers=1), assessor)

    async def main() -> None:
        connection = Connection(app, SHORT, NDJSON)
        async with app.router.lifespan_context(app):
            connection.give((STACK + b"\n") * (INLINE_LINES + 500))
            await connection.lines(INLINE_LINES)
        with pytest.raises(RuntimeError, match="closed"):
            await connection.ended
        assert not connection.complete

    _run(main())
