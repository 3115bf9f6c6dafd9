"""Invalid HTTP on a real socket is rejected or cut off, and the service continues."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator

import httpx
import pytest
import uvicorn

from rules.assessor import Assessor
from service.cli.serve import server_options
from service.http.app import create_app
from service.operations.settings import Settings

PATIENCE_S = 20
BODY = b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}}'
POST = b"POST /v1/checks HTTP/1.1\r\nHost: stackgauge\r\nContent-Type: application/json\r\n"


@pytest.fixture(scope="module")
def port(assessor: Assessor) -> Iterator[int]:
    app = create_app(Settings(max_body_seconds=0.5, max_body_bytes=4096), assessor)
    server = uvicorn.Server(uvicorn.Config(app, **(server_options(Settings()) | {"port": 0, "log_config": None})))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    number: int = server.servers[0].sockets[0].getsockname()[1]
    yield number
    server.should_exit = True
    thread.join(timeout=10)


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
    return [int(line.split()[1]) for line in answer.split(b"\r\n") if line.startswith(b"HTTP/1.1 ")]


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
    assert len(_statuses(_answers(port, both + b"0\r\n\r\n" + hidden))) <= 2
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
    """Two hundred open connections, some in the middle of a header."""
    silent = [socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) for _ in range(200)]
    try:
        for number, one in enumerate(silent):
            one.sendall(b"GET /v1/rules HTTP/1.1\r\nX: "[: number % 28])
        assert httpx.get(f"http://127.0.0.1:{port}/v1/rules").status_code == 200
    finally:
        for one in silent:
            one.close()
