"""Slow, broken and hostile clients do not affect others and cause no faults in the log."""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

import httpx
import pytest

from tests.support.served import PATIENCE_S, Served

NAME = "01-deep-rib-shrink-extension"
JSON = {"content-type": "application/json"}


def _head(length: int) -> bytes:
    lines = ("POST /v1/checks HTTP/1.1", "host: stackgauge", "content-type: application/json")
    return "\r\n".join((*lines, f"content-length: {length}", "\r\n")).encode()


def _read(connection: socket.socket) -> bytes:
    """One whole answer."""
    read = b""
    while b"\r\n\r\n" not in read:
        data = connection.recv(65536)
        assert data, read
        read += data
    head, _, content = read.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200 ")
    length = next(int(line[15:]) for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:"))
    while len(content) < length:
        data = connection.recv(65536)
        assert data
        content += data
    return content


@pytest.fixture
def body(bodies: Mapping[str, bytes]) -> bytes:
    return bodies[NAME]


@pytest.fixture
def answer(answers: Mapping[str, bytes]) -> bytes:
    return answers[NAME]


@pytest.fixture(autouse=True)
def others_are_answered(server: Served, body: bytes, answer: bytes, log: Path) -> Iterator[None]:
    """After whatever a client does, the next one is answered as before, and the log tells of no fault."""
    yield
    response = httpx.post(f"{server.url}/v1/checks", content=body, headers=JSON, timeout=PATIENCE_S)
    assert (response.status_code, response.content) == (200, answer)
    said = log.read_text()
    assert "Traceback" not in said
    assert "ERROR" not in said


def test_a_client_that_sends_byte_by_byte_is_answered_and_holds_up_nobody(
    server: Served, body: bytes, answer: bytes
) -> None:
    """Some thousand packets for one request; in between others ask and are answered at once."""
    with (
        socket.create_connection(server.address, PATIENCE_S) as slow,
        httpx.Client(base_url=server.url, timeout=PATIENCE_S) as other,
    ):
        slow.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sent = _head(len(body)) + body
        for place in range(len(sent)):
            slow.sendall(sent[place : place + 1])
            if place % 500 == 0:
                response = other.post("/v1/checks", content=body, headers=JSON)
                assert (response.status_code, response.content) == (200, answer)
        assert _read(slow) == answer


def test_a_client_that_closes_its_side_is_answered_still(server: Served, body: bytes, answer: bytes) -> None:
    """Nothing more comes from it, but it listens (RFC 9293, section 3.6)."""
    with socket.create_connection(server.address, PATIENCE_S) as half:
        half.sendall(_head(len(body)) + body)
        half.shutdown(socket.SHUT_WR)
        assert _read(half) == answer


def test_a_client_that_closes_its_side_too_soon_is_let_go(server: Served, body: bytes) -> None:
    """The rest of the body can't come any more: the connection ends without an answer."""
    with socket.create_connection(server.address, PATIENCE_S) as half:
        half.sendall(_head(len(body)) + body[:-1])
        half.shutdown(socket.SHUT_WR)
        assert half.recv(65536) == b""


@pytest.mark.parametrize("hard", [False, True], ids=["closed", "reset"])
@pytest.mark.parametrize("part", ["in the head", "before the body", "in the body", "before the answer"])
def test_clients_that_go_away_are_forgotten(server: Served, body: bytes, part: str, hard: bool) -> None:
    """Thirty of them, politely or not, at each point of a request."""
    whole = _head(len(body)) + body
    head = len(whole) - len(body)
    sent = {"in the head": 20, "before the body": head, "in the body": head + 99, "before the answer": len(whole)}
    for _ in range(30):
        connection = socket.create_connection(server.address, PATIENCE_S)
        connection.sendall(whole[: sent[part]])
        if hard:
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()


def test_a_client_that_asks_and_asks_without_reading_is_answered_in_order(
    server: Served, body: bytes, answer: bytes
) -> None:
    """Pipelined (RFC 9112, section 9.3.2), more answers than the buffers between both hold."""
    with socket.create_connection(server.address, PATIENCE_S) as eager:
        eager.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        eager.sendall((_head(len(body)) + body) * 8)
        time.sleep(0.2)
        read = b""
        while read.count(answer) < 8:
            data = eager.recv(65536)
            assert data
            read += data
    assert read.count(b"HTTP/1.1 200 ") == 8


@pytest.mark.parametrize(
    "nonsense", [b"\x16\x03\x01\x02\x00\x01", b"GET\r\n\r\n", b"GET / HTTP/1.1\r\nno colon\r\n\r\n"]
)
def test_nonsense_is_refused(server: Served, nonsense: bytes) -> None:
    """What is no HTTP, a handshake for TLS for one, is told so."""
    with socket.create_connection(server.address, PATIENCE_S) as connection:
        connection.sendall(nonsense)
        connection.shutdown(socket.SHUT_WR)
        assert connection.recv(65536).startswith(b"HTTP/1.1 400 ")
