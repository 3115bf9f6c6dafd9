"""The checks that keep the code as it is meant: lint, format, types, the direction of imports."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("mypy", "tests/house/typing_of_missing.py"),
        ("importlinter.cli", "lint"),
    ],
    ids=["lint", "format", "types", "missing", "imports"],
)
def test_is_clean(command: tuple[str, ...]) -> None:
    """The tool has nothing to say."""
    module, *arguments = command
    if module == "importlinter.cli":
        run = [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"]
    else:
        run = [sys.executable, "-m", module, *arguments]
    done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
