"""Audits of generated libraries with one and two worker processes: stacks a second, their ratio, and peak memory.

Run: python -m tests.benchmarks.bench_audit [--long]
Every output is written. The rate counts from the first answer to the last, so starting the processes is left out.
Processor time a stack, of the parent and of the workers, says what the rate would be on a machine with nothing else
to do; a worker's includes its start.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from service.audit.csv_output import CsvOutput
from service.audit.html_output import HtmlOutput
from service.audit.interrupt import Interrupt
from service.audit.junit_output import JunitOutput
from service.audit.libraries import find_libraries
from service.audit.ndjson_output import NdjsonOutput
from service.audit.progress import Nothing
from service.audit.run import Audit
from service.audit.tally import Tally
from service.bulk.pool import Pool
from service.bulk.worker import rules_in_force
from service.loading import load_assessor
from service.memory import settle
from service.settings import Settings
from tests.support.libraries import write_library

ROOT = Path(__file__).resolve().parents[2]
SIZES = (1_000, 10_000)
LONG = (100_000, 1_000_000)
WORKERS = (1, 2)


class Stopwatch(Nothing):
    """Notes when the first and the last answers came."""

    def __init__(self) -> None:
        self.told: list[tuple[float, float, int]] = []

    def tell(self, answered: int, byte: int) -> None:  # noqa: ARG002
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
    with Pool(workers, Settings(), rules_in_force(assessor)) as pool:
        audit.run(pool, watch, Interrupt())
        peaks = [peak_mib(pid) for pid in pool.pids()]
        worked = sum(processor_s(pid) for pid in pool.pids())
    return {
        **watch.figures(),
        "worker_ms": 1e3 * worked / audit.answered,
        "parent_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "worker_mib": max(peaks),
    }


def peak_mib(pid: int) -> float:
    """Return the peak memory of another process of this machine; Linux only."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def processor_s(pid: int) -> float:
    """Return the processor time of another process of this machine; Linux only."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def in_a_process_of_its_own(library: Path, workers: int) -> dict[str, Any]:
    """Audit in a fresh process, so that peaks are those of this audit."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_audit", "--one", str(library), str(workers)]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=True)
    measured: dict[str, Any] = json.loads(done.stdout)
    return measured


def main() -> None:
    """Measure and print a table."""
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(audited(Path(sys.argv[2]), int(sys.argv[3]))))
        return
    sizes = SIZES + LONG if "--long" in sys.argv else SIZES
    heads = ("stacks", "workers", "stacks/s", "ratio", "parent ms", "worker ms", "parent MiB", "worker MiB")
    print("".join(f"{head:>11}" for head in heads), flush=True)
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            library = Path(folder) / "library.ndjson"
            write_library(library, size)
            alone = 0.0
            for workers in WORKERS:
                found = in_a_process_of_its_own(library, workers)
                alone = alone or found["rate"]
                ratio = found["rate"] / alone
                cells = (
                    f"{size}",
                    f"{workers}",
                    f"{found['rate']:.0f}",
                    f"{ratio:.2f}",
                    f"{found['parent_ms']:.2f}",
                    f"{found['worker_ms']:.2f}",
                    f"{found['parent_mib']:.0f}",
                    f"{found['worker_mib']:.0f}",
                )
                print("".join(f"{cell:>11}" for cell in cells), flush=True)


if __name__ == "__main__":
    main()
