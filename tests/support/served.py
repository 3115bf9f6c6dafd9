"""A server in a separate process on a free port, for the duration of a block."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import httpx

__all__ = ["NO_TLS", "PATIENCE_S", "ROOT", "SERVICE", "Served", "served"]

ROOT: Final = Path(__file__).resolve().parents[2]
HOST: Final = "127.0.0.1"
SERVICE: Final = ("-m", "service", "serve")
NO_TLS: Final = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
"""For plain HTTP: to read the certificates of the world takes longer than most answers."""
PATIENCE_S: Final = 60.0
"""Prevents a failed test from hanging."""


@dataclass(frozen=True, slots=True)
class Served:
    """A server that is ready."""

    process: subprocess.Popen[bytes]
    port: int
    ready_s: float
    """Time from the start of the process to its first answer, by polling, s."""

    @property
    def url(self) -> str:
        return f"http://{HOST}:{self.port}"

    @property
    def address(self) -> tuple[str, int]:
        return HOST, self.port

    def stop(self, with_signal: int = signal.SIGTERM) -> int:
        """Stop it, wait for its end, and return its exit code."""
        self.process.send_signal(with_signal)
        return self.process.wait(PATIENCE_S)


@contextmanager
def served(
    command: Sequence[str] = SERVICE,
    *,
    ready: str = "/readyz",
    environment: Mapping[str, str] | None = None,
    log: int | IO[bytes] = subprocess.DEVNULL,
    closed: Collection[int] = (),
    python: Path = Path(sys.executable),
    folder: Path = ROOT,
) -> Iterator[Served]:
    """Start ``python COMMAND --port PORT`` and yield it once it answers ``ready`` with 200.

    ``folder`` is its working folder. ``log`` receives its output; the standard streams with the numbers ``closed`` are
    closed at its start. The process always ends with the block.
    """
    port = _free_port()
    begin = time.perf_counter()
    run = [str(python), *command, "--port", str(port)]
    if closed:
        # streams closed by the shell stay closed after exec
        run = ["/bin/sh", "-c", f'exec "$@" {" ".join(f"{number}>&-" for number in closed)}', "sh", *run]
    process = subprocess.Popen(
        run,
        cwd=folder,
        env={**os.environ, **(environment or {})},
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=log,
    )
    try:
        _await(process, port, ready)
        yield Served(process, port, time.perf_counter() - begin)
    finally:
        process.kill()
        process.wait(PATIENCE_S)


def _free_port() -> int:
    """Return a port that was free a moment ago; if another process takes it first, only the start fails."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _await(process: subprocess.Popen[bytes], port: int, path: str) -> None:
    end = time.monotonic() + PATIENCE_S
    # test the socket first, because a request takes longer
    while not _listens(port):
        if process.poll() is not None:
            raise RuntimeError(f"the server ended with {process.returncode} before it answered")
        if time.monotonic() > end:
            raise TimeoutError("the server does not listen")
        time.sleep(0.005)
    response = httpx.get(f"http://{HOST}:{port}{path}", timeout=PATIENCE_S, verify=NO_TLS)
    if response.status_code != 200:
        raise RuntimeError(f"{path} answers {response.status_code}")


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex((HOST, port)) == 0
