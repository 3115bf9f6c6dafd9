"""Audits of generated libraries with one and two worker processes: stacks a second, their ratio, and peak memory.

Run: python -m tests.benchmarks.bench_audit [--long]
Every output is written. The rate counts from the first answer to the last, so starting the processes is left out.
Processor time per stack, of the parent and of the workers, shows the rate on an otherwise idle machine; that of a
worker includes its start.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from service.audit.libraries import find_libraries
from service.audit.outputs import CsvOutput, JunitOutput, NdjsonOutput
from service.audit.page import HtmlOutput
from service.audit.progress import Nothing
from service.audit.run import Audit, Interrupt
from service.audit.tally import Tally
from service.batch.pool import Pool
from service.operations.assessors import Snapshot, load_assessor
from service.operations.process import settle
from tests.benchmarks.measuring import Row, show
from tests.support.libraries import write_library
from tests.support.processes import peak_mib, processor_s

__all__ = ["rows"]

ROOT = Path(__file__).resolve().parents[2]
SIZES = (1_000, 10_000)
LONG = (100_000, 1_000_000)
WORKERS = (1, 2)
TOLD = {
    "rate": ("rate", "1/s"),
    "parent_ms": ("parent", "ms a stack"),
    "worker_ms": ("workers", "ms a stack"),
    "parent_mib": ("parent", "MiB"),
    "worker_mib": ("a worker", "MiB"),
}


class Stopwatch(Nothing):
    """Notes when the first and the last answers came."""

    def __init__(self) -> None:
        self.told: list[tuple[float, float, int]] = []

    def update(self, answered: int, byte: int) -> None:  # noqa: ARG002
        """Note the time; only the first and the last are kept."""
        self.told[1:] = [(time.perf_counter(), time.process_time(), answered)]

    def figures(self) -> dict[str, float]:
        """Stacks a second between the first and the last, and processor time of this process for one, ms."""
        (begin, cpu_begin, first), (end, cpu_end, last) = self.told[0], self.told[-1]
        stacks = last - first
        return {"rate": stacks / (end - begin), "parent_ms": 1e3 * (cpu_end - cpu_begin) / stacks}


def audited(library: Path, workers: int) -> dict[str, float]:
    """Audit in this process and its workers; return the rate and peak memory in MiB."""
    assessor = load_assessor()
    settle()
    folder = library.parent
    outputs = [
        NdjsonOutput(folder / "o.ndjson"),
        CsvOutput(folder / "o.csv"),
        HtmlOutput(folder / "o.html"),
        JunitOutput(folder / "o.junit.xml"),
    ]
    libraries = find_libraries([str(library)])
    audit = Audit(libraries, outputs, Tally(assessor.book, assessor.catalogue.digest, [library.name]))
    watch = Stopwatch()
    audit.begin()
    with Pool(workers, Snapshot.of(assessor)) as pool:
        audit.run(pool, watch, Interrupt())
        peaks = [peak_mib(pid) for pid in pool.pids()]
        worked = sum(processor_s(pid) for pid in pool.pids())
    return {
        **watch.figures(),
        "worker_ms": 1e3 * worked / audit.answered,
        "parent_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "worker_mib": max(peaks),
    }


def in_a_process_of_its_own(library: Path, workers: int) -> dict[str, Any]:
    """Audit in a fresh process, so that peaks are those of this audit."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_audit", "--one", str(library), str(workers)]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=True)
    measured: dict[str, Any] = json.loads(done.stdout)
    return measured


def rows() -> Iterator[Row]:
    """Measure; with ``--long`` on the command line up to a million stacks."""
    for size in SIZES + LONG if "--long" in sys.argv else SIZES:
        with tempfile.TemporaryDirectory() as folder:
            library = Path(folder) / "library.ndjson"
            write_library(library, size)
            alone: dict[str, float] = {}
            for workers in WORKERS:
                found = in_a_process_of_its_own(library, workers)
                alone = alone or found
                for name, (what, unit) in TOLD.items():
                    told = f"{size} stacks, {workers} at work, {what}"
                    yield Row(told, found[name], unit, alone[name], "1 at work")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(audited(Path(sys.argv[2]), int(sys.argv[3]))))
    else:
        show(rows())
