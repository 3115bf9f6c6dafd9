"""Time from process start to first answer, and memory, compared with the bare application; time of a command.

Run: python -m tests.benchmarks.bench_start
Wall-clock time, the best of some alternating starts, since a start also waits for the disk. Commands are measured in
processor time, beside the import of two libraries that every check needs.
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from tempfile import TemporaryDirectory
from typing import Final

import httpx

from tests.benchmarks.measuring import Row, show
from tests.support.processes import peak_mib, processor_s, resident_mib
from tests.support.served import ROOT, SERVICE, served
from tests.support.various_stacks import various_bodies

__all__ = ["rows"]

COMMANDS: Final = {"echo": ("-m", "tests.support.echo_app"), "service": SERVICE}
LIBRARIES: Final = "import numpy, pydantic"
_STACK: Final = "demo_data/stacks/01-deep-rib-shrink-extension.json"
ONCE: Final = {
    LIBRARIES: ("-c", LIBRARIES),
    "command check": ("-m", "service", "check", _STACK),
    "command --help": ("-m", "service", "--help"),
}
STARTS: Final = 4
CHECKS: Final = 200


def rows() -> Iterator[Row]:
    """Measure."""
    best: dict[tuple[str, str], float] = defaultdict(lambda: math.inf)
    for _ in range(STARTS):
        for name, command in COMMANDS.items():
            with served(command) as server:
                pid = server.process.pid
                figures = {
                    "start to ready, s": server.ready_s,
                    "start to ready, processor s": processor_s(pid),
                    "memory when ready, MiB": resident_mib(pid),
                }
                _check(server.url)
                figures[f"memory after {CHECKS} checks, MiB"] = resident_mib(pid)
                figures["most memory so far, MiB"] = peak_mib(pid)
            for what, figure in figures.items():
                best[name, what] = min(best[name, what], figure)
    for (name, what), figure in best.items():
        told, _, unit = what.rpartition(", ")
        yield Row(f"{name}, {told}", figure, unit, best["echo", what], "echo")
    yield from _commands()
    yield Row("python alone, start to end", _python_s(), "s", best["echo", "start to ready, s"], "echo")


def _commands() -> Iterator[Row]:
    """Measure what a command takes in processor time, with bytecode as a second run finds it, and without."""
    for kept in ("with bytecode", "without"):
        best = dict.fromkeys(ONCE, math.inf)
        with TemporaryDirectory() as folder:
            own = {"PYTHONPYCACHEPREFIX": folder, "PYTHONDONTWRITEBYTECODE": "" if kept == "with bytecode" else "1"}
            for _ in range(2 * STARTS if kept == "with bytecode" else 1):
                for name, words in ONCE.items():
                    before = resource.getrusage(resource.RUSAGE_CHILDREN)
                    command = [sys.executable, *words]
                    subprocess.run(command, cwd=ROOT, check=False, stdout=subprocess.DEVNULL, env={**os.environ, **own})
                    after = resource.getrusage(resource.RUSAGE_CHILDREN)
                    best[name] = min(best[name], after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        for name, figure in best.items():
            yield Row(f"{name}, {kept}", figure, "processor s", best[LIBRARIES], LIBRARIES)


def _check(url: str) -> None:
    with httpx.Client(base_url=url) as client:
        for body in various_bodies(CHECKS):
            response = client.post("/v1/checks", content=body, headers={"content-type": "application/json"})
            response.raise_for_status()


def _python_s() -> float:
    best = math.inf
    for _ in range(STARTS):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", ""], cwd=ROOT, check=True)
        best = min(best, time.perf_counter() - begin)
    return best


if __name__ == "__main__":
    show(rows())
