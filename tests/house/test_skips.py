"""CI fails on a skip that is not permitted."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Final

import pytest

TESTS: Final = Path(__file__).resolve().parents[1]

PROGRAM: Final = """
import pytest

@pytest.mark.long
def test_long(): raise AssertionError
@pytest.mark.skip(reason="no browser")
def test_marked(): raise AssertionError
def test_called(): pytest.skip("no browser")
@pytest.mark.xfail(strict=True)
def test_known_fault(): raise AssertionError
def test_passes(): pass
"""

MODULE: Final = """
import pytest
pytest.importorskip("no_module_has_this_name")
"""


@pytest.mark.parametrize(
    ("text", "ci", "code", "told"),
    [
        (PROGRAM, "true", 1, "1 failed, 1 passed, 1 skipped, 1 xfailed, 1 error"),
        (PROGRAM, "", 0, "1 passed, 3 skipped, 1 xfailed"),
        (MODULE, "true", 2, "1 error"),
        (MODULE, "", 5, "1 skipped"),
    ],
    ids=["tests in CI", "tests elsewhere", "module in CI", "module elsewhere"],
)
def test_a_skip_that_is_not_listed_fails(text: str, ci: str, code: int, told: str, tmp_path: Path) -> None:
    """In CI alone, by mark, by call and at import; long forms and expected failures stay what they are."""
    (tmp_path / "tests").mkdir()
    for name in ("conftest.py", "allowed_skips.toml"):
        shutil.copy(TESTS / name, tmp_path / "tests" / name)
    (tmp_path / "tests" / "test_sample.py").write_text(text)
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers =\n  long: full size\n")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "tests"],
        cwd=tmp_path,
        env={
            **{name: value for name, value in os.environ.items() if not name.startswith("PYTEST")},
            "CI": ci,
            "PYTHONPATH": str(TESTS.parent),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == code, done.stdout + done.stderr
    assert told in done.stdout.splitlines()[-1]


def test_every_allowed_skip_exists() -> None:
    """Its tests are in a file that is there, and its reason is written in the tests; each says why it is allowed."""
    sources = {
        f"tests/{file.relative_to(TESTS)}": file.read_text(encoding="utf-8")
        for file in TESTS.rglob("*.py")
        if file != Path(__file__)
    }
    for skip in tomllib.loads((TESTS / "allowed_skips.toml").read_text(encoding="utf-8"))["skip"]:
        assert skip.keys() == {"tests", "reason", "why"}
        assert skip["why"]
        assert any(skip["reason"] in source for source in sources.values())
        for tests in skip["tests"]:
            file, _, name = tests.partition("::")
            if "*" not in tests:
                assert f"def {name}(" in sources[file]
