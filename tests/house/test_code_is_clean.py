"""Checks of the code: lint, format, types and direction of imports."""

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
        ("importlinter.cli", "lint"),
    ],
    ids=["lint", "format", "types", "imports"],
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


def test_type_checkers_know_what_is_offered(tmp_path: Path) -> None:
    """With their parameters and answers; a name that is misspelt is an error, and nothing else is."""
    program = tmp_path / "program.py"
    program.write_text("import rules\nreveal_type(rules.check)\nreveal_type(rules.Checker().compare)\nrules.chekc\n")
    run = [sys.executable, "-m", "mypy", str(program), "tests/house/typing_of_missing.py"]
    told = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False).stdout
    assert "-> rules.schema.report.Report" in told
    assert "-> rules.schema.comparison.ComparisonReport" in told
    assert [line.partition("error: ")[2] for line in told.splitlines() if ": error: " in line] == [
        'Module has no attribute "chekc"; maybe "check"?  [attr-defined]'
    ]
    assert "Any" not in told.replace("typing.Mapping[str, Any]", "")
