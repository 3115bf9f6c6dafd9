"""The top level of the project holds the permitted entries only."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
GIT = shutil.which("git") or ""


@pytest.mark.skipif(not GIT or not (ROOT / ".git").exists(), reason="not a git checkout")
def test_top_level_is_as_agreed() -> None:
    """Two texts, one project file, one lock file, five folders; dotfiles aside."""
    listed = subprocess.run([GIT, "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    assert {name for name in top if not name.startswith(".")} == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "requirements.lock",
        "service",
        "rules",
        "tests",
        "openapi",
        "demo_data",
    }
