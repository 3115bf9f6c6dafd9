"""Small libraries for tests of audits, and audits run as a user runs them."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from service.batch.lines import LineAnswer
from tests.support.libraries import library_lines

ROOT = Path(__file__).resolve().parents[2]

BAD_LINES = {5: b"{oops}\n", 9: b'{"stack": {"components": []}}\n'}
"""Lines that are no request, by the number they get in :func:`mixed_lines`."""

PROGRAM = (
    "import sys; import service.audit.run as run; run._CHUNKS_BETWEEN_STATES = 2;"
    " from service.cli.main import main; sys.exit(main(sys.argv[1:]))"
)
"""The command line, noting its state so often that a small library can be interrupted."""


@cache
def stacks(count: int = 60) -> tuple[bytes, ...]:
    """Return lines of good requests."""
    return tuple(library_lines(count, seed=1))


@cache
def mixed_lines() -> tuple[bytes, ...]:
    """Return forty lines: requests, a blank one, and two that are bad."""
    lines = list(stacks(37))
    lines.insert(2, b"\n")
    for number, line in BAD_LINES.items():
        lines.insert(number - 1, line)
    return tuple(lines)


def write(path: Path, lines: Iterable[bytes]) -> Path:
    """Write lines to a file."""
    path.write_bytes(b"".join(lines))
    return path


def records(path: Path) -> list[dict[str, Any]]:
    """Return the objects of an .ndjson file."""
    return [json.loads(line) for line in path.read_bytes().splitlines()]


def started(*arguments: str, cwd: Path, **environment: str) -> subprocess.Popen[bytes]:
    """Start an audit in a group of its own, as a terminal does."""
    command = [sys.executable, "-c", PROGRAM, "audit", *arguments]
    return subprocess.Popen(
        command,
        cwd=cwd,
        env={"PYTHONPATH": str(ROOT), **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def fake_answer(number: int, **fields: Any) -> LineAnswer:
    """Return an answer as if a stack had been judged."""
    given: dict[str, Any] = {"verdict": "pass", "stack": f"T-{number}", "p95_um": 8.0} | fields
    return LineAnswer(number, b"{}", **given)
