"""Run every full-size test one by one, continuing after the last run.

Run: python -m tests.nightly [--again] [TEXT ...]     (only the tests whose id contains one of the texts)

Passed tests of this commit are recorded in .pytest_cache/nightly.json; ``--again`` deletes the record.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parents[1]
STATE: Final = ROOT / ".pytest_cache" / "nightly.json"

WHOLE: Final = ["tests/rules/reading/test_what_angles_see.py"]
"""Files whose tests are more or larger with --long, without a mark."""

BY_TEST: Final = ["tests/service/test_openapi_conformance.py", "tests/fuzz"]
"""The same, and so long that each test is a form of its own."""

SLOWLY: Final = ["tests/browser --slow-pages"]
"""Short tests that find more on a slow network and processor."""

COMMANDS: Final = ["tests.contract_tools"]
"""Modules that are run by themselves, as far as the machine has their tools."""

_PYTEST: Final = [sys.executable, "-m", "pytest", "--long"]


def forms() -> list[str]:
    """Return the ids of the full-size tests, parametrized ones once, in the order of pytest.

    Then the files with properties, which have more examples with --long, what is larger without a mark, what runs
    slowly, and what is run by itself.
    """
    ignored = [f"--ignore={file}" for file in (*WHOLE, *BY_TEST)]
    properties = dict.fromkeys(one.partition("::")[0] for one in _listed("-m", "hypothesis", *ignored))
    return [*_listed("-m", "long", *ignored), *properties, *WHOLE, *_listed(*BY_TEST), *SLOWLY, *COMMANDS]


def _listed(*which: str) -> list[str]:
    """Return the ids of these tests, without their parameters."""
    listing = [*_PYTEST, "--collect-only", *which]
    lines = subprocess.run(listing, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    return list(dict.fromkeys(line.partition("[")[0] for line in lines if "::" in line))


def _commit() -> str:
    told = subprocess.run(
        [shutil.which("git") or "git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return told.stdout.strip()


def _passed(commit: str) -> dict[str, Any]:
    state = json.loads(STATE.read_text()) if STATE.exists() else {}
    return state["passed"] if state.get("commit") == commit else {}


def main() -> int:
    """Print a table of form, minutes and result; return 1 if a test failed, else 0."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--again", action="store_true", help="forget what has passed")
    parser.add_argument("text", nargs="*", help="run only the tests whose id contains one of these")
    arguments = parser.parse_args()
    commit = _commit()
    passed = {} if arguments.again else _passed(commit)
    chosen = [form for form in forms() if not arguments.text or any(text in form for text in arguments.text)]
    width = max(map(len, chosen), default=0)
    failed = False
    print(f"{'form':{width}}  minutes  result", flush=True)
    for form in chosen:
        if form in passed:
            print(f"{form:{width}}  {passed[form]:7.1f}  passed before", flush=True)
            continue
        start = time.monotonic()
        unmarked = form.startswith((*WHOLE, *BY_TEST, *SLOWLY))
        marked = [] if unmarked else ["-m", "long" if "::" in form else "hypothesis and not long"]
        run = [sys.executable, "-m", form] if form in COMMANDS else [*_PYTEST, *marked, *form.split()]
        done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False)
        minutes = (time.monotonic() - start) / 60
        print(f"{form:{width}}  {minutes:7.1f}  {'failed' if done.returncode else 'passed'}", flush=True)
        if done.returncode:
            failed = True
            print(done.stdout + done.stderr, file=sys.stderr)
            continue
        passed[form] = minutes
        STATE.parent.mkdir(exist_ok=True)
        STATE.write_text(json.dumps({"commit": commit, "passed": passed}, indent=1))
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
