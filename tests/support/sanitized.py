"""Tests of the kernel with address and undefined-behaviour sanitizers, in a copy of this project.

Run: python -m tests.support.sanitized [TEST ...]     (gcc with its sanitizers is needed)
A fault ends the run at once with the place in the C source. Leaks are not looked for: the interpreter has its own.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
OPTIONS: Final = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-fno-omit-frame-pointer", "-g", "-O1")
TESTS: Final = (
    "tests/oracles/test_kernel_laws_compared.py",
    "tests/oracles/test_kernel_beam_compared.py",
    "tests/rules/random_vectors",
    "tests/rules/bending",
    "tests/rules/quantities/test_allowance.py",
)


def main(tests: list[str]) -> int:
    """Build and run; return the exit code of the tests."""
    found = subprocess.run(["gcc", "-print-file-name=libasan.so"], capture_output=True, text=True, check=True)  # noqa: S607
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "stackgauge")
        ignored = shutil.ignore_patterns("*.so", "__pycache__")
        for name in ("rules", "service", "tests", "demo_data"):
            shutil.copytree(ROOT / name, copy / name, ignore=ignored)
        shutil.copy(ROOT / "pyproject.toml", copy)
        built = subprocess.call([sys.executable, "service/deploy/install.py", "--kernel", *OPTIONS], cwd=copy)
        if built:
            return built
        environment = {
            **os.environ,
            "LD_PRELOAD": found.stdout.strip(),
            "ASAN_OPTIONS": "detect_leaks=0",
            "UBSAN_OPTIONS": "print_stacktrace=1",
            "PYTHONMALLOC": "malloc",  # each block of its own, or a pool would hide what reads beyond one
            "PYTHONPATH": str(copy),
        }
        run = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *(tests or TESTS)]
        return subprocess.call(run, cwd=copy, env=environment)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
