"""Throughput and memory by number of workers: single checks, stacks sent as lines, and processor time.

Run: python -m tests.benchmarks.bench_workers
The load comes from a process of its own on the same machine, so with all cores busy it takes a share; the bare echo in
the same run shows how large. Figures of several workers count only with as many idle cores.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import httpx

from tests.benchmarks.measuring import Row, show
from tests.support.libraries import library_lines
from tests.support.processes import processor_s, resident_mib
from tests.support.served import NO_TLS, PATIENCE_S, SERVICE, served

__all__ = ["rows"]

WORKERS: Final = (1, 2)
CONNECTIONS: Final = 16
CHECKS: Final = 400
LINES: Final = 300


def rows() -> Iterator[Row]:
    """Measure."""
    print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", file=sys.stderr)
    with served(("-m", "tests.support.echo_app")) as server:
        _checks_a_second(server.port)
        rate, echo = _checks_a_second(server.port), _used_ms(server.process.pid, server.port)
    yield Row("echo, one worker", rate, "checks/s", rate, "echo")
    yield Row("echo, processor time", echo, "ms/check", echo, "echo")
    for workers in WORKERS:
        with served((*SERVICE, "--workers", str(workers))) as server:
            told = f"service, {workers} worker{'s' * (workers > 1)}"
            _checks_a_second(server.port)
            yield Row(f"{told}, checks", _checks_a_second(server.port), "checks/s", rate, "echo")
            yield Row(f"{told}, processor time", _used_ms(server.process.pid, server.port), "ms/check", echo, "echo")
            yield Row(f"{told}, stacks as lines", _lines_a_second(server.url), "stacks/s", rate, "echo")
            memory = sum(map(resident_mib, _family(server.process.pid)))
            yield Row(f"{told}, memory of all processes", memory, "MiB", 1.0, "MiB")


def _used_ms(pid: int, port: int) -> float:
    """Processor time of a server for each check; it depends less on what else runs than the rate does."""
    before = sum(map(processor_s, _family(pid)))
    _checks_a_second(port)
    return (sum(map(processor_s, _family(pid))) - before) / CHECKS * 1e3


def _checks_a_second(port: int) -> float:
    words = (str(port), "/v1/checks", str(CONNECTIONS), str(CHECKS), "0")
    run = [sys.executable, "-m", "tests.support.load_client", *words]
    load = json.loads(subprocess.run(run, capture_output=True, text=True, check=True).stdout)
    if load["errors"]:
        raise SystemExit(f"{load['errors']} checks failed")
    return float(CHECKS / load["seconds"])


def _lines_a_second(url: str) -> float:
    body = b"".join(line.rstrip(b"\n") + b"\n" for line in library_lines(LINES, 1))
    begin = time.perf_counter()
    with httpx.Client(base_url=url, timeout=10 * PATIENCE_S, verify=NO_TLS) as client:
        answer = client.post("/v1/check-batches", content=body, headers={"content-type": "application/x-ndjson"})
    answer.raise_for_status()
    return LINES / (time.perf_counter() - begin)


def _family(pid: int) -> list[int]:
    # every thread may have started some of them
    tasks = Path(f"/proc/{pid}/task").glob("*/children")
    children = [int(child) for task in tasks for child in task.read_text(encoding="ascii").split()]
    return [pid, *(one for child in children for one in _family(child))]


if __name__ == "__main__":
    show(rows())
