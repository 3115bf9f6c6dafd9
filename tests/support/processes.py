"""Memory and processor time of another process; Linux only."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["peak_mib", "processor_s", "resident_mib"]


def peak_mib(pid: int) -> float:
    """Return the peak memory of a process so far."""
    return _status_mib(pid, "VmHWM")


def resident_mib(pid: int) -> float:
    """Return the present memory of a process."""
    return _status_mib(pid, "VmRSS")


def processor_s(pid: int) -> float:
    """Return the processor time of a process so far, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _status_mib(pid: int, name: str) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(name)) / 1024
