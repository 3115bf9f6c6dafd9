"""Speed of a check, compared with a bare application of the same framework that parses and returns the same model.

Run: python -m tests.benchmarks.bench_echo
In this process, without server or client: processor time. Over loopback, one worker each, the client in a separate
process: requests per second, response times and processor time of the server, the most meaningful figure if client and
server share a machine. All bodies differ, so that caches do not help.
"""

from __future__ import annotations

import asyncio
import json
import math
import subprocess
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any, Final

from fastapi import FastAPI

from service.http.app import create_app
from service.operations.process import settle
from tests.benchmarks.measuring import Row, milliseconds, show, timed_rows
from tests.support.asgi_connection import Connection
from tests.support.echo_app import echo_app
from tests.support.processes import processor_s
from tests.support.served import ROOT, SERVICE, Served, served
from tests.support.various_stacks import various_bodies

__all__ = ["rows"]

PATH: Final = "/v1/checks"
CONNECTIONS: Final = 8
ROUNDS: Final = 10
REQUESTS: Final = 300
"""A round; short, and taken in turn."""

COMMANDS: Final = {"check": SERVICE, "echo": ("-m", "tests.support.echo_app")}


def rows() -> Iterator[Row]:
    """Measure."""
    yield from _in_process()
    yield from _over_loopback()


def _in_process() -> Iterator[Row]:
    loop = asyncio.new_event_loop()
    body = next(various_bodies(1))

    def asking(app: FastAPI) -> Callable[[], object]:
        async def ask() -> None:
            connection = Connection(app, PATH, "application/json")
            connection.give(body, last=True)
            await connection.ended
            if connection.status != 200:
                raise RuntimeError(f"answered {connection.status}")

        return lambda: loop.run_until_complete(ask())

    stages = {"echo, in process": asking(echo_app()), "check, in process": asking(create_app())}
    settle()
    times = milliseconds(stages)
    loop.close()
    yield from timed_rows(times, "echo, in process")
    yield Row(
        "throughput in process, check", 1e3 / times["check, in process"], "1/s", 1e3 / times["echo, in process"], "echo"
    )


def _over_loopback() -> Iterator[Row]:
    rates: dict[str, float] = defaultdict(float)
    spent: dict[str, float] = defaultdict(lambda: math.inf)
    latencies: dict[str, list[float]] = defaultdict(list)
    errors: dict[str, int] = defaultdict(int)
    with ExitStack() as stack:
        servers = {name: stack.enter_context(served(command)) for name, command in COMMANDS.items()}
        for number in range(ROUNDS + 1):
            for name, server in servers.items():
                before = processor_s(server.process.pid)
                load = _round(server, number * REQUESTS)
                if not number:
                    # the first warms up
                    continue
                rates[name] = max(rates[name], REQUESTS / load["seconds"])
                spent[name] = min(spent[name], (processor_s(server.process.pid) - before) / REQUESTS * 1e3)
                latencies[name] += load["latencies_ms"]
                errors[name] += load["errors"]
    for name in ("echo", "check"):
        yield Row(f"{name}, {CONNECTIONS} connections", rates[name], "1/s", rates["echo"], "echo")
        yield Row(f"{name}, processor time of the server", spent[name], "ms", spent["echo"], "echo")
        for share in (50, 99):
            of_echo = _percentile(latencies["echo"], share)
            yield Row(f"{name}, {share} % answered within", _percentile(latencies[name], share), "ms", of_echo, "echo")
        yield Row(f"{name}, errors", errors[name], "", None, "")


def _round(server: Served, first: int) -> dict[str, Any]:
    """Let a client of its own process post bodies that nobody posted before."""
    numbers = (str(server.port), PATH, str(CONNECTIONS), str(REQUESTS), str(first))
    command = [sys.executable, "-m", "tests.support.load_client", *numbers]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=True)
    seen: dict[str, Any] = json.loads(done.stdout)
    return seen


def _percentile(values: list[float], share: int) -> float:
    return sorted(values)[math.ceil(len(values) * share / 100) - 1]


if __name__ == "__main__":
    show(rows())
