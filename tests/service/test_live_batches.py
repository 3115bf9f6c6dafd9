"""Streamed batches over a real socket: clients that send first, read slowly or leave; workers that die."""

from __future__ import annotations

import json
import logging
import multiprocessing
import os
import signal
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from service.http.app import create_app
from service.operations.settings import Settings

PATH = "/v1/check-batches"
NDJSON = {"content-type": "application/x-ndjson"}
PLAIN = {**NDJSON, "Accept-Encoding": "identity"}
STACK = json.dumps(base_request("nut_collet")).encode() + b"\n"
BAD = b"\x00" * 60 + b"\n"
PATIENCE_S = 120
"""Only keeps a test that fails from hanging."""

_MEMORY = Path("/proc/self/statm")


@pytest.fixture(scope="module")
def address(assessor: Assessor) -> Iterator[tuple[str, int]]:
    """Where an application listens that answers one batch at a time."""
    app = create_app(Settings(batch_workers=2, max_batches=1), assessor)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_config=None, access_log=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    yield server.servers[0].sockets[0].getsockname()
    server.should_exit = True
    thread.join(timeout=PATIENCE_S)
    assert not thread.is_alive()


@pytest.fixture
def url(address: tuple[str, int]) -> str:
    return f"http://{address[0]}:{address[1]}"


@pytest.fixture
def no_errors(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Nothing that happens is worth a warning, to us or to the server."""
    with caplog.at_level(logging.WARNING):
        yield
    assert [record.getMessage() for record in caplog.records if record.levelno >= logging.WARNING] == []


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def _is_free(url: str) -> bool:
    """Whether the batch before has ended: there is a place for one only."""
    response = httpx.post(url + PATH, content=b"\n", headers=NDJSON, timeout=PATIENCE_S)
    assert response.status_code in (200, 503)
    return response.status_code == 200


@pytest.mark.usefixtures("no_errors")
def test_a_client_that_sends_megabytes_before_it_reads_is_answered(url: str) -> None:
    """More than any buffer between both holds, in both directions; then the connection is used again."""
    count = 60_000

    def body() -> Iterator[bytes]:
        for _ in range(count // 500):
            yield BAD * 500

    with httpx.Client(base_url=url, timeout=PATIENCE_S) as connection:
        response = connection.post(PATH, content=body(), headers=NDJSON)
        assert response.status_code == 200
        assert len(response.content) > 8_000_000
        lines = response.content.splitlines()
        assert [json.loads(line)["line"] for line in lines[:-1]] == list(range(1, count + 1))
        assert json.loads(lines[-1])["summary"]["problems"] == count
        assert connection.get("/healthz").status_code == 200


def _begin(address: tuple[str, int], path: str = PATH) -> socket.socket:
    """A connection on which a body of chunks is about to come."""
    connection = socket.create_connection(address, timeout=PATIENCE_S)
    head = f"POST {path} HTTP/1.1\r\nhost: stackgauge\r\ntransfer-encoding: chunked\r\n"
    connection.sendall(f"{head}content-type: application/x-ndjson\r\n\r\n".encode())
    return connection


def _chunk(data: bytes) -> bytes:
    return b"%x\r\n%b\r\n" % (len(data), data)


def _read_until(connection: socket.socket, end: bytes, step: int = 65536) -> bytes:
    read = b""
    while end not in read:
        data = connection.recv(step)
        assert data
        read += data
    return read


@pytest.mark.usefixtures("no_errors")
def test_answers_come_while_lines_are_sent(address: tuple[str, int], url: str) -> None:
    """Over one connection, in both directions at once."""
    with _begin(address) as connection:
        for number in (b'"line":1,', b'"line":2,', b'"line":3,'):
            connection.sendall(_chunk(STACK))
            assert number in _read_until(connection, number)
        connection.sendall(b"0\r\n\r\n")
        assert b'"complete":true' in _read_until(connection, b"\r\n0\r\n\r\n")
    _until(lambda: _is_free(url))


@pytest.mark.usefixtures("no_errors")
@pytest.mark.parametrize("sent", [b"", STACK, STACK * 400, STACK * 400 + STACK[:99]], ids=["0", "1", "400", "cut off"])
@pytest.mark.parametrize("hard", [False, True], ids=["closed", "reset"])
def test_a_client_that_goes_away_ends_the_work(address: tuple[str, int], url: str, sent: bytes, hard: bool) -> None:
    """In the middle of the body, politely or not: the place is free again, and the log is silent."""
    connection = _begin(address)
    if sent:
        connection.sendall(_chunk(sent))
        _read_until(connection, b'"line":1')
    if hard:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()
    _until(lambda: _is_free(url))


@pytest.mark.usefixtures("no_errors")
def test_a_client_that_never_reads_and_goes_away_ends_the_work(address: tuple[str, int], url: str) -> None:
    """Also when the answers have filled every buffer."""
    connection = _begin(address)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    for _ in range(100):
        connection.sendall(_chunk(BAD * 300))
    assert not _is_free(url)
    connection.close()
    _until(lambda: _is_free(url))


@pytest.mark.usefixtures("no_errors")
def test_a_client_that_has_sent_all_and_goes_away_ends_the_work(address: tuple[str, int], url: str) -> None:
    """Nothing is left to read from it, and nobody to answer."""
    connection = _begin(address)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    connection.sendall(_chunk(STACK * 1500) + b"0\r\n\r\n")
    _read_until(connection, b'"line":1')
    connection.close()
    _until(lambda: _is_free(url))


@pytest.mark.usefixtures("no_errors")
def test_a_slow_reader_gets_every_answer(address: tuple[str, int], url: str) -> None:
    """However little it takes at a time."""
    with _begin(address, f"{PATH}?brief=true") as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        connection.sendall(_chunk(STACK * 300) + b"0\r\n\r\n")
        told = _read_until(connection, b"\r\n0\r\n\r\n", step=512)
    assert told.count(b'"verdict":"pass"') == 300
    assert b'"stacks":300' in told
    _until(lambda: _is_free(url))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no signal that can't be caught")
def test_a_worker_that_is_killed_costs_the_lines_it_was_at(url: str, caplog: pytest.LogCaptureFixture) -> None:
    """They are answered with a problem; every other line has its report, and the next batch as well."""
    count, chunk = 1500, 32

    def body() -> Iterator[bytes]:
        for number in range(count // 100):
            yield STACK * 100
            if number == 5:
                victims = [one for one in multiprocessing.active_children() if one.name == "stackgauge bulk"]
                assert victims
                os.kill(victims[0].pid or 0, signal.SIGKILL)

    with caplog.at_level(logging.ERROR, logger="stackgauge"):
        response = httpx.post(f"{url}{PATH}?brief=true", content=body(), headers=NDJSON, timeout=PATIENCE_S)
    *answers, last = (json.loads(line) for line in response.content.splitlines())
    assert [answer["line"] for answer in answers] == list(range(1, count + 1))
    lost = [answer["line"] for answer in answers if "problem" in answer]
    assert len(lost) <= chunk
    assert lost == list(range(lost[0], lost[0] + len(lost))) if lost else True
    assert last["summary"]["problems"] == len(lost)
    assert last["summary"]["verdicts"]["pass"] == count - len(lost)
    # the live service logs the request itself once it has ended, when the level is back
    assert len([record for record in caplog.records if record.levelno >= logging.ERROR]) == (1 if lost else 0)
    again = httpx.post(f"{url}{PATH}?brief=true", content=STACK * 100, headers=NDJSON, timeout=PATIENCE_S)
    assert json.loads(again.content.splitlines()[-1])["summary"]["verdicts"]["pass"] == 100


def _megabytes() -> float:
    return int(_MEMORY.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def _stream(url: str, pieces: Iterator[bytes]) -> tuple[int, Any]:
    """Send all and then read, keeping nothing; return the lines counted and the summary.

    The results wait at the service until then, so there must be room for them (``max_batch_spool_bytes``).
    """
    count, rest = 0, b""
    with httpx.stream("POST", f"{url}{PATH}", content=pieces, headers=PLAIN, timeout=PATIENCE_S) as response:
        for data in response.iter_raw(65536):
            *whole, rest = (rest + data).split(b"\n")
            for line in whole:
                count += 1
                last = line
    return count, json.loads(last)["summary"]


def _flat(url: str, count: int, share: int) -> None:
    """Send lines, a stack among so many, and see what has come to stay in memory since the first tenth of them."""
    before = 0.0
    lines = b"".join(STACK if number % share == 0 else BAD for number in range(100))

    def pieces() -> Iterator[bytes]:
        nonlocal before
        for number in range(count // 100):
            if number == count // 1000:
                before = _megabytes()
            yield lines

    told, summary = _stream(url, pieces())
    assert told == count + 1
    assert (summary["lines"], summary["stacks"]) == (count, count // share)
    assert _megabytes() - before < 20


@pytest.mark.skipif(not _MEMORY.exists(), reason="the system does not tell what memory a process takes")
@pytest.mark.usefixtures("no_errors")
def test_ten_thousand_lines_take_no_more_memory_than_one_thousand(url: str) -> None:
    """What was answered is forgotten, whether it waited in memory or on disk."""
    _flat(url, 10_000, 10)


@pytest.mark.long
@pytest.mark.skipif(not _MEMORY.exists(), reason="the system does not tell what memory a process takes")
@pytest.mark.usefixtures("no_errors")
def test_a_hundred_thousand_lines_take_no_more_memory_than_ten_thousand(url: str) -> None:
    """The same, full size: some 220 MB of results, half of what may wait."""
    _flat(url, 100_000, 10)
