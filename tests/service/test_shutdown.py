"""After SIGTERM readiness fails first, accepted requests finish, and the exit code is 0."""

from __future__ import annotations

import json
import os
import signal
import socket
import threading
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest

from rules.rulebook.loader import base_request
from tests.support.live_service import PATIENCE_S, LiveService, until
from tests.support.served import NO_TLS

CHECK = json.dumps(base_request("nut_collet")).encode()
JSON_IN = {"content-type": "application/json"}


class _Slow:
    """A request sent by hand, piece by piece."""

    def __init__(self, url: str, path: str, headers: str) -> None:
        where = urlsplit(url)
        self._socket = socket.create_connection((where.hostname, where.port), timeout=PATIENCE_S)
        self._socket.sendall(f"POST {path} HTTP/1.1\r\nhost: stackgauge\r\n{headers}\r\n\r\n".encode())
        self.read = b""

    def send(self, data: bytes) -> None:
        self._socket.sendall(data)

    def until(self, end: bytes) -> bytes:
        """Read until this comes."""
        while end not in self.read:
            data = self._socket.recv(65536)
            assert data, self.read
            self.read += data
        return self.read

    def rest(self) -> bytes:
        """Read until the other side closes."""
        while data := self._socket.recv(65536):
            self.read += data
        self._socket.close()
        return self.read


def _half_a_check(url: str) -> _Slow:
    slow = _Slow(url, "/v1/checks", f"content-type: application/json\r\ncontent-length: {len(CHECK)}")
    slow.send(CHECK[:99])
    return slow


def _chunk(data: bytes) -> bytes:
    return b"%x\r\n%b\r\n" % (len(data), data)


def _content(answer: bytes) -> bytes:
    """The content of an answer in chunks (RFC 9112, section 7.1), which must come to its end."""
    content, rest = b"", answer.partition(b"\r\n\r\n")[2]
    while True:
        size, _, rest = rest.partition(b"\r\n")
        if not (length := int(size, 16)):
            return content
        content, rest = content + rest[:length], rest[length + 2 :]


def _half_a_batch(url: str, lines: int) -> _Slow:
    slow = _Slow(url, "/v1/check-batches", "content-type: application/x-ndjson\r\ntransfer-encoding: chunked")
    slow.send(_chunk((CHECK + b"\n") * lines + CHECK[:99]))
    slow.until(b'"line":1')
    return slow


@pytest.fixture
def load() -> Iterator[Any]:
    """Checks asked one after the other by several clients: how to begin, and how to end."""
    answers: list[int] = []
    threads: list[threading.Thread] = []
    stop = threading.Event()

    def ask(url: str) -> None:
        while not stop.is_set():
            answers.append(httpx.post(f"{url}/v1/checks", content=CHECK, headers=JSON_IN, verify=NO_TLS).status_code)

    def begin(url: str) -> list[int]:
        threads.extend(threading.Thread(target=ask, args=(url,)) for _ in range(3))
        for thread in threads:
            thread.start()
        return answers

    def end() -> None:
        stop.set()
        for thread in threads:
            thread.join(PATIENCE_S)

    yield begin, end
    end()


@pytest.mark.parametrize("workers", ["1", "2"])
def test_the_service_stops_in_order_under_load(load: Any, workers: str) -> None:
    """Not ready, and checks still answered; then no new connections, and what was taken is answered to its end."""
    begin, end = load
    with LiveService("--workers", workers, shutdown_grace_s="600") as service:
        url = service.url
        answers = begin(url)
        until(lambda: len(answers) > 5)
        slow = _half_a_check(url)
        service.terminate()
        until(lambda: httpx.get(f"{url}/readyz", verify=NO_TLS).status_code == 503)
        before = len(answers)
        until(lambda: len(answers) > before)
        assert httpx.get(f"{url}/healthz", verify=NO_TLS).status_code == 200
        end()
        for pid in service.workers() or {service.process.pid}:
            os.kill(pid, signal.SIGTERM)
        until(lambda: service.said("Shutting down"))
        slow.send(CHECK[99:])
        answer = slow.rest()
        assert answer.startswith(b"HTTP/1.1 200 ")
        assert b'"verdict":"pass"' in answer
        assert service.ended() == 0
        assert set(answers) == {200}
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"{url}/healthz", verify=NO_TLS)
        assert not [line for line in service.log if line["level"] not in ("debug", "info")]


def test_a_batch_that_is_still_coming_ends_with_its_summary() -> None:
    """What was taken is judged; the rest is refused by a line that says so, and the summary is told as not complete.

    Of a batch judged in line and of one given to a worker process.
    """
    with LiveService(shutdown_grace_s="0", batch_workers="1") as service:
        batches = [_half_a_batch(service.url, lines) for lines in (1, 150)]
        service.terminate()
        answers = [batch.rest() for batch in batches]
        assert service.ended() == 0
    for answer in answers:
        *reports, refused, summary = map(json.loads, _content(answer).splitlines())
        assert [one["line"] for one in reports] == list(range(1, len(reports) + 1))
        assert all(one["report"]["verdict"] == "pass" for one in reports)
        assert len(reports) >= 1
        assert (refused["line"], refused["problem"]["code"]) == (len(reports) + 1, "not-ready")
        assert summary["summary"]["complete"] is False
        assert (summary["summary"]["stacks"], summary["summary"]["problems"]) == (len(reports), 1)


def test_a_client_that_never_ends_is_cut_off() -> None:
    """The time for what is under way is limited."""
    with LiveService(shutdown_grace_s="0", shutdown_timeout_s="1") as service:
        slow = _half_a_check(service.url)
        service.terminate()
        assert service.ended() == 0
        assert b"200 OK" not in slow.rest()


@pytest.mark.parametrize("again", [signal.SIGTERM, pytest.param(signal.SIGINT, marks=pytest.mark.long)])
def test_who_asks_twice_does_not_wait(again: signal.Signals) -> None:
    """A second signal ends the grace."""
    with LiveService(shutdown_grace_s="600") as service:
        url = service.url
        service.terminate()
        until(lambda: httpx.get(f"{url}/readyz", verify=NO_TLS).status_code == 503)
        service.process.send_signal(again)
        assert service.ended() == 0


def test_an_interrupt_ends_without_grace() -> None:
    """At the keyboard nobody waits for a balancer."""
    with LiveService(shutdown_grace_s="600") as service:
        assert service.url
        service.process.send_signal(signal.SIGINT)
        assert service.ended() == 0
