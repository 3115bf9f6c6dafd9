"""Checks of the code: lint, format, types and direction of imports."""

from __future__ import annotations

import os
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
        ("importlinter.cli", "lint"),
    ],
    ids=["lint", "format", "imports"],
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


@pytest.fixture(scope="module")
def typed(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What mypy says of the project and of a program that uses it."""
    folder = tmp_path_factory.mktemp("typed")
    (folder / "program.py").write_text(
        "import rules\nreveal_type(rules.check)\nreveal_type(rules.Checker().compare)\nrules.chekc\n"
    )
    modules = [*("-p", "rules", "-p", "service"), *("-m", "program", "-m", "tests.house.typing_of_missing")]
    environment = os.environ | {"MYPYPATH": str(folder)}
    run = [sys.executable, "-m", "mypy", *modules]
    done = subprocess.run(run, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.stdout.splitlines()


def test_types_agree(typed: list[str]) -> None:
    """The type checker has nothing to say, in its strict mode."""
    *told, last = typed
    assert [line for line in told if "program.py:" not in line and "typing_of_missing.py:" not in line] == []
    assert last.startswith("Found 1 error in 1 file (checked ")


def test_type_checkers_know_what_is_offered(typed: list[str]) -> None:
    """With their parameters and answers; a name that is misspelt is an error, and nothing else is."""
    told = "\n".join(line for line in typed if "program.py:" in line or "typing_of_missing.py:" in line)
    assert "-> rules.schema.report.Report" in told
    assert "-> rules.schema.comparison.ComparisonReport" in told
    assert [line.partition("error: ")[2] for line in told.splitlines() if ": error: " in line] == [
        'Module has no attribute "chekc"; maybe "check"?  [attr-defined]'
    ]
    assert "Any" not in told.replace("typing.Mapping[str, Any]", "")
