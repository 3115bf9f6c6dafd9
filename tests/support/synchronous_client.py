"""Generates the synchronous client from the asynchronous one: ``python -m tests.support.synchronous_client``."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

import unasync

__all__ = ["SYNCHRONOUS", "generated"]

ROOT: Final = Path(__file__).resolve().parents[2]
ASYNCHRONOUS: Final = ROOT / "service/client/asynchronous.py"
SYNCHRONOUS: Final = ROOT / "service/client/synchronous.py"

_NAMES: Final = {
    "AsyncBaseTransport": "BaseTransport",
    "AsyncClient": "Client",
    "AsyncLines": "Lines",
    "AsyncRetrying": "Retrying",
    "AsyncSleep": "Sleep",
    "aclose": "close",
    "aiter_bytes": "iter_bytes",
    "anyio": "time",
    "async_each": "each",
    "async_time_limit": "time_limit",
}
"""Names to replace, in addition to those of Python (``AsyncIterator`` and the like) known to unasync."""


def generated() -> str:
    """Return the source of the synchronous client."""
    rule = unasync.Rule(ASYNCHRONOUS.name, SYNCHRONOUS.name, _NAMES)
    with tempfile.TemporaryDirectory() as folder:
        unasync.unasync_files([shutil.copy(ASYNCHRONOUS, folder)], [rule])
        source = (Path(folder) / SYNCHRONOUS.name).read_text(encoding="utf-8")
    # remove unused imports, sort imports, join shortened lines
    return _ruff(_ruff(source, "check", "--fix-only", "--quiet", "--select", "F,I"), "format")


def _ruff(source: str, *command: str) -> str:
    run = [sys.executable, "-m", "ruff", *command, "--stdin-filename", str(SYNCHRONOUS), "-"]
    return subprocess.run(run, cwd=ROOT, input=source, capture_output=True, encoding="utf-8", check=True).stdout


if __name__ == "__main__":
    SYNCHRONOUS.write_text(generated(), encoding="utf-8")
