"""Invalid HTTP on a real socket is rejected or cut off, and the service continues."""

from __future__ import annotations

import asyncio
import logging
import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import httpx
import pytest
import uvicorn

from rules.assessor import Assessor
from service.cli.serve import server_options
from service.http.app import create_app
from service.operations.connections import quiet_about_files, raised_file_limit
from service.operations.settings import Settings

PATIENCE_S = 20
HEAD_BYTES = 4096
BODY = b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}}'
POST = b"POST /v1/checks HTTP/1.1\r\nHost: stackgauge\r\nContent-Type: application/json\r\n"


@contextmanager
def _serving(assessor: Assessor, **settings: Any) -> Iterator[int]:
    made = Settings(**settings)
    options = server_options(made) | {"port": 0, "log_config": None}
    server = uvicorn.Server(uvicorn.Config(create_app(made, assessor), **options))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    number: int = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield number
    finally:
        server.should_exit = True
        thread.join(timeout=10)


@pytest.fixture(scope="module")
def port(assessor: Assessor) -> Iterator[int]:
    limits = {"max_body_seconds": 0.5, "max_body_bytes": 4096, "max_head_seconds": 0.5, "max_unread_seconds": 0.5}
    with _serving(assessor, max_connections=60, max_head_bytes=HEAD_BYTES, **limits) as number:
        yield number


def _answers(port: int, data: bytes, *, close: bool = True) -> bytes:
    """All that is answered until the other side closes; `close` says that nothing more will be sent."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as connection:
        answer = b""
        try:
            connection.sendall(data)
            if close:
                connection.shutdown(socket.SHUT_WR)
            while piece := connection.recv(65536):
                answer += piece
        except OSError:
            pass  # cut off; what was answered before counts
    return answer


def _statuses(answer: bytes) -> list[int]:
    # a body ends without a line feed
    return [int(status) for status in re.findall(rb"HTTP/1\.1 ([0-9]{3}) ", answer)]


HOSTILE = {
    "nothing of HTTP": b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 200,
    "no version": b"GET /v1/rules\r\n\r\n",
    "no host": b"GET /v1/rules HTTP/1.1\r\n\r\n",
    "two hosts": b"GET /v1/rules HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    "an endless path": b"GET /" + b"a" * 200_000,
    "an endless header": b"GET /v1/rules HTTP/1.1\r\nHost: x\r\nX: " + b"a" * 200_000,
    "endless headers": b"GET /v1/rules HTTP/1.1\r\nHost: x\r\n" + b"X: a\r\n" * 50_000,
    "NUL in a header": b"GET /v1/rules HTTP/1.1\r\nHost: x\r\nX: a\x00b\r\n\r\n",
    "a folded header": b"GET /v1/rules HTTP/1.1\r\nHost: x\r\nX: a\r\n\x0bb\r\n\r\n",
    "space before the colon": b"GET /v1/rules HTTP/1.1\r\nHost : x\r\n\r\n",
    "two lengths": POST + b"Content-Length: 5\r\nContent-Length: 58\r\n\r\n" + BODY,
    "a negative length": POST + b"Content-Length: -1\r\n\r\n" + BODY,
    "a length in words": POST + b"Content-Length: many\r\n\r\n" + BODY,
    "a length of many digits": POST + b"Content-Length: " + b"9" * 400 + b"\r\n\r\n" + BODY,
    "another transfer coding": POST + b"Transfer-Encoding: gzip\r\n\r\n" + BODY,
    "two transfer codings": POST + b"Transfer-Encoding: chunked, gzip\r\n\r\n" + BODY,
    "a chunk without a size": POST + b"Transfer-Encoding: chunked\r\n\r\nxyz\r\n" + BODY,
    "a negative chunk": POST + b"Transfer-Encoding: chunked\r\n\r\n-1\r\n" + BODY,
    "a chunk of a huge size": POST + b"Transfer-Encoding: chunked\r\n\r\n" + b"f" * 30 + b"\r\n" + BODY,
    "a chunk longer than it says": POST + b"Transfer-Encoding: chunked\r\n\r\n5\r\n" + BODY + b"\r\n0\r\n\r\n",
    "endless extensions of a chunk": POST + b"Transfer-Encoding: chunked\r\n\r\n5;" + b"a" * 200_000,
    "a body over the limit": POST + b"Content-Length: 5000\r\n\r\n" + b" " * 5000,
    "chunks over the limit": POST + b"Transfer-Encoding: chunked\r\n\r\n" + b"400\r\n" + b" " * 1024 + b"\r\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_hardly_http_is_refused_or_cut_off(port: int, name: str) -> None:
    """Never a fault of the service, never a success, and the next one is answered."""
    statuses = _statuses(_answers(port, HOSTILE[name]))
    assert len(statuses) <= 1
    assert all(400 <= status < 500 for status in statuses), statuses
    assert httpx.get(f"http://127.0.0.1:{port}/healthz").status_code == 200


def test_both_lengths_are_never_two_requests(port: int) -> None:
    """A declared length beside chunks: what one of the two would leave over is not taken for a request.

    RFC 9112, section 6.3: chunks win, or it is refused.
    """
    hidden = b"GET /v1/rules HTTP/1.1\r\nHost: x\r\n\r\n"
    chunks = b"%x\r\n%b\r\n0\r\n\r\n" % (len(BODY), BODY)
    both = POST + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert _statuses(_answers(port, both + chunks)) in ([200], [400])
    for rest in (b"0\r\n\r\n", chunks):
        answer = _answers(port, both + rest + hidden, close=False)
        assert len(_statuses(answer)) == 1
        assert b"\r\nconnection: close\r\n" in answer.lower()
    ended = _answers(port, POST + b"Content-Length: %d\r\nConnection: close\r\n\r\n" % len(BODY) + BODY + hidden)
    assert _statuses(ended) == [200]


@pytest.mark.parametrize("sent", [b"", BODY[:20]], ids=["nothing", "a part"])
@pytest.mark.parametrize("framing", [b"Content-Length: 58\r\n\r\n", b"Transfer-Encoding: chunked\r\n\r\n"])
def test_a_body_that_never_comes_ends_with_408_and_the_connection(port: int, framing: bytes, sent: bytes) -> None:
    """The client keeps its side open."""
    body = sent if framing.startswith(b"C") else b"%x\r\n%b\r\n" % (len(sent), sent) if sent else b""
    answer = _answers(port, POST + framing + body, close=False)
    assert _statuses(answer) == [408]
    assert b"/problems/slow-body" in answer


def test_a_client_that_leaves_in_the_middle_is_no_fault(port: int) -> None:
    """And nobody is answered."""
    assert _statuses(_answers(port, POST + b"Content-Length: 58\r\n\r\n" + BODY[:20])) == []


def test_many_that_say_nothing_keep_nobody_out(port: int) -> None:
    """Two hundred open connections where sixty are allowed, some in the middle of a header."""
    silent = [socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) for _ in range(200)]
    try:
        for number, one in enumerate(silent):
            one.sendall(b"GET /v1/rules HTTP/1.1\r\nX: "[: number % 28])
        assert httpx.get(f"http://127.0.0.1:{port}/v1/rules").status_code == 200
    finally:
        for one in silent:
            one.close()


@pytest.mark.parametrize(
    ("sent", "statuses"),
    [
        (b"", []),
        (b"GET", [408]),
        (b"GET /healthz HTTP/1.1\r\nHost: x\r\nX: ", [408]),
        (b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\nGET", [200, 408]),
        (b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n", [200]),
    ],
)
def test_a_head_that_never_comes_ends_the_connection(assessor: Assessor, sent: bytes, statuses: list[int]) -> None:
    """Before anything is known of the client, which keeps its side open; also on a connection that was used before."""
    first, end, second = sent.partition(b"\r\n\r\n")
    with _serving(assessor, max_head_seconds=0.5, keep_alive_s=1) as port, _connected(port) as connection:
        connection.sendall(first + end)
        read = b""
        if end:
            while b"}" not in read:
                read += connection.recv(65536)
            connection.sendall(second)
        while piece := connection.recv(65536):
            read += piece
    assert _statuses(read) == statuses


def test_drop_by_drop_is_no_way_around(port: int) -> None:
    """The time is that of the whole head, not of a piece."""
    sent = 0
    with _connected(port) as connection, suppress(OSError):
        connection.sendall(b"GET /healthz HTTP/1.1\r\n")
        while sent < PATIENCE_S / 0.05:
            connection.sendall(b"X: a\r\n")
            sent += 1
            time.sleep(0.05)
    assert sent < PATIENCE_S / 0.05


def _connected(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)


@pytest.mark.parametrize("cut", [None, 1, HEAD_BYTES - 2, -1, -3], ids=str)
@pytest.mark.parametrize(("more", "statuses"), [(0, [200]), (1, [431])])
def test_a_head_has_a_length_to_the_byte(port: int, more: int, statuses: list[int], cut: int | None) -> None:
    """However it is cut into pieces; target, names and values count, and what follows does not."""
    start, end = b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\nX: ", b"\r\n\r\n"
    head = start + b"a" * (HEAD_BYTES + more - len(start + end)) + end
    with _connected(port) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if cut is not None:
            connection.sendall(head[:cut])
            time.sleep(0.05)
        connection.sendall(head if cut is None else head[cut:])
        read = b""
        while piece := connection.recv(65536):
            read += piece
    assert _statuses(read) == statuses
    long = POST + b"Connection: close\r\nContent-Length: 4000\r\n\r\n" + BODY + b" " * (4000 - len(BODY))
    assert _statuses(_answers(port, long, close=False)) == [200]


def test_a_body_that_is_refused_is_no_head(port: int) -> None:
    """It goes on after its answer, longer than any head; the connection is still good."""
    with _connected(port) as connection:
        connection.sendall(POST + b"Content-Length: 20000\r\n\r\n" + b" " * 5000)
        read = b""
        while b"body-too-large" not in read:
            read += connection.recv(65536)
        connection.sendall(b" " * 15_000 + b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        while piece := connection.recv(65536):
            read += piece
    assert _statuses(read) == [413, 200]


def test_requests_in_progress_keep_their_places(assessor: Assessor) -> None:
    """One more is refused, if all places are in use; it never costs one of them its answer."""
    with _serving(assessor, max_connections=10) as port:
        used = [_connected(port) for _ in range(10)]
        for one in used:
            one.sendall(POST + b"Connection: close\r\nContent-Length: %d\r\n\r\n" % len(BODY) + BODY[:20])
        time.sleep(0.3)
        assert _statuses(_answers(port, b"", close=False)) == [503]
        for one in used:
            one.sendall(BODY[20:])
            read = b""
            while piece := one.recv(65536):
                read += piece
            one.close()
            assert _statuses(read) == [200]
        assert httpx.get(f"http://127.0.0.1:{port}/healthz").status_code == 200


def test_who_takes_nothing_of_the_answers_is_cut_off(port: int) -> None:
    """More answers than the buffers between both hold; the client keeps its side open."""
    asked = 200
    with _connected(port) as connection:
        connection.sendall(b"GET /openapi.json HTTP/1.1\r\nHost: x\r\n\r\n" * asked)
        time.sleep(2)
        read = b""
        try:
            while piece := connection.recv(65536):
                read += piece
        except ConnectionResetError:
            pass
    assert read.count(b"HTTP/1.1 200") < asked


@pytest.mark.parametrize(
    ("target", "status"),
    [
        (b"http://stackgauge/healthz", 200),
        (b"HTTP://127.0.0.1:8713/v1/couplings", 200),
        (b"https://stackgauge/healthz?x=1", 422),
        (b"http://stackgauge", 200),
        (b"http://stackgauge/", 200),
        (b"http://stackgauge/http://x/healthz", 404),
        (b"http://somebody@stackgauge/healthz", 404),
        (b"http:///healthz", 404),
    ],
)
def test_a_target_in_absolute_form_is_its_path(port: int, target: bytes, status: int) -> None:
    """RFC 9112, section 3.2.2."""
    answer = _answers(port, b"GET %b HTTP/1.1\r\nHost: other\r\nConnection: close\r\n\r\n" % target, close=False)
    assert _statuses(answer) == [status]


def test_the_host_is_that_of_the_target(assessor: Assessor) -> None:
    """The header is ignored (RFC 9112, section 3.2.2), so that it cannot speak for another name."""
    with _serving(assessor, allowed_hosts=("stackgauge",)) as port:
        for name, status in ((b"stackgauge", 200), (b"other", 421)):
            asked = b"GET http://%b/healthz HTTP/1.1\r\nHost: stackgauge\r\nConnection: close\r\n\r\n" % name
            answer = _answers(port, asked, close=False)
            assert _statuses(answer) == [status]


def test_connections_that_cannot_be_accepted_are_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """The loop reports each of thousands of tries a second; other faults are reported as ever."""
    error = OSError(24, "Too many open files")
    with caplog.at_level(logging.ERROR), asyncio.Runner() as runner:
        loop = runner.get_loop()
        quiet_about_files(loop)
        for _ in range(5000):
            loop.call_exception_handler({"message": "socket.accept() out of system resource", "exception": error})
        (told,) = caplog.records
        assert "Too many open files" in told.getMessage()
        loop.call_exception_handler({"message": "something else", "exception": error})
        assert "something else" in caplog.records[-1].getMessage()


@pytest.mark.parametrize(
    ("soft", "hard", "raised", "connections"),
    [
        (1024, 20_000, 1512, 1000),
        (1024, 1200, 1200, 688),
        (256, 256, None, 128),
        (1512, 20_000, None, 1000),
        (-1, -1, None, 1000),
    ],
)
def test_open_files_are_enough_for_the_connections(
    monkeypatch: pytest.MonkeyPatch, soft: int, hard: int, raised: int | None, connections: int
) -> None:
    """The limit is raised as far as it may be; beyond it, there are fewer connections rather than faults."""
    resource = pytest.importorskip("resource")
    limits: list[tuple[int, int]] = []
    monkeypatch.setattr(resource, "getrlimit", lambda _: (soft, hard))
    monkeypatch.setattr(resource, "setrlimit", lambda _, both: limits.append(both))
    assert raised_file_limit(1000) == connections
    assert limits == ([] if raised is None else [(raised, hard)])
