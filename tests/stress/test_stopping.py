"""A server that is stopped answers the requests in progress and exits normally."""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
import time
from collections.abc import Mapping

import httpx
import pytest

from tests.support.served import NO_TLS, PATIENCE_S, Served, served

JSON = {"content-type": "application/json"}
CLIENTS = 8


@pytest.mark.parametrize(
    "told", [signal.SIGTERM, pytest.param(signal.SIGINT, marks=pytest.mark.long)], ids=lambda one: one.name
)
def test_under_load_no_request_is_lost(bodies: Mapping[str, bytes], told: signal.Signals) -> None:
    """Clients ask without pause; each is answered until it can't connect any more, and the exit code is 0."""
    body = bodies["01-deep-rib-shrink-extension"]
    faults: list[Exception] = []
    answered: list[int] = []

    def ask(url: str) -> None:
        with (
            httpx.Client(base_url=url, timeout=PATIENCE_S, verify=NO_TLS) as client,
            contextlib.suppress(httpx.ConnectError),
        ):
            # refused before anything was sent: another server may be asked
            while True:
                try:
                    answered.append(client.post("/v1/checks", content=body, headers=JSON).status_code)
                except httpx.ConnectError:
                    raise
                except Exception as fault:
                    faults.append(fault)
                    return

    with served() as server:
        clients = [threading.Thread(target=ask, args=(server.url,)) for _ in range(CLIENTS)]
        for client in clients:
            client.start()
        while len(answered) < 5 * CLIENTS and not faults:
            time.sleep(0.01)
        assert server.stop(told) == 0
        for client in clients:
            client.join(PATIENCE_S)
            assert not client.is_alive()
    assert faults == []
    assert set(answered) == {200}


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("clients", [16, pytest.param(128, marks=pytest.mark.long)])
def test_whoever_has_connected_is_answered(bodies: Mapping[str, bytes], workers: int, clients: int) -> None:
    """A connection for each request: those that wait to be accepted when the service stops are not reset."""
    body = bodies["01-deep-rib-shrink-extension"]
    answered: list[int] = []
    faults: list[Exception] = []

    def ask(server: Served) -> None:
        while True:
            try:
                with _begun(server, body, len(body), "connection: close\r\n") as connection:
                    read = b""
                    while data := connection.recv(65536):
                        read += data
                    answered.append(int(read.split()[1]))
            except ConnectionRefusedError:
                return
            except Exception as fault:
                faults.append(fault)
                return

    settings = {"STACKGAUGE_WORKERS": str(workers), "STACKGAUGE_SHUTDOWN_GRACE_S": "0.5"}
    with served(environment=settings) as server:
        threads = [threading.Thread(target=ask, args=(server,)) for _ in range(clients)]
        for thread in threads:
            thread.start()
        while len(answered) < 2 * clients and not faults:
            time.sleep(0.01)
        assert server.stop() == 0
        for thread in threads:
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
    assert faults == []
    assert set(answered) == {200}


def _begun(server: Served, body: bytes, sent: int, headers: str = "") -> socket.socket:
    """A connection on which part of a request was sent."""
    connection = socket.create_connection(server.address, PATIENCE_S)
    head = (
        "POST /v1/checks HTTP/1.1\r\nhost: s\r\ncontent-type: application/json\r\n"
        f"{headers}content-length: {len(body)}\r\n\r\n"
    )
    connection.sendall(head.encode() + body[:sent])
    return connection


def _begin(server: Served, body: bytes, sent: int) -> socket.socket:
    """A connection on which part of a request was sent and the server has seen it."""
    connection = _begun(server, body, sent)
    # asked and answered after it on the one thread of the server
    assert httpx.get(f"{server.url}/healthz", verify=NO_TLS).status_code == 200
    return connection


def test_a_request_that_is_half_sent_is_answered_when_the_rest_comes(bodies: Mapping[str, bytes]) -> None:
    """Also half a second after the server was told to stop; a connection on which nothing is asked does not hold it."""
    body = bodies["01-deep-rib-shrink-extension"]
    with (
        served() as server,
        httpx.Client(base_url=server.url, verify=NO_TLS) as idle,
        _begin(server, body, 100) as connection,
    ):
        assert idle.get("/healthz").status_code == 200
        server.process.send_signal(signal.SIGTERM)
        time.sleep(0.5)
        connection.sendall(body[100:])
        read = b""
        while data := connection.recv(65536):
            read += data
        assert read.startswith(b"HTTP/1.1 200 ")
        assert read.endswith(b"}")
        assert server.process.wait(PATIENCE_S) == 0


def test_a_client_that_never_sends_the_rest_does_not_hold_it(bodies: Mapping[str, bytes]) -> None:
    """The time that an operator allows passes, then it is cut off."""
    body = bodies["01-deep-rib-shrink-extension"]
    allowed = {"STACKGAUGE_SHUTDOWN_TIMEOUT_S": "1"}
    with served(environment=allowed) as server, _begin(server, body, 100):
        assert server.stop() == 0
