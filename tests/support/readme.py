"""The demo's output as the README shows it. Run as a module it writes it there: python -m tests.support.readme."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
_BLOCK = re.compile(r"(<!-- demo output -->\n```text\n)(.*?)(```\n<!-- end of demo output -->)", re.DOTALL)


def shown() -> str:
    """Return what the README shows."""
    found = _BLOCK.search(README.read_text(encoding="utf-8"))
    assert found is not None
    return found[2]


def printed() -> str:
    """Return what the demo prints, without blanks at the ends of lines."""
    run = [sys.executable, "demo_data/run_demo.py"]
    output = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True, timeout=120).stdout
    return "\n".join(line.rstrip() for line in output.splitlines()) + "\n"


def main() -> None:
    """Write the output into the README."""
    output = printed()
    text = _BLOCK.sub(lambda found: found[1] + output + found[3], README.read_text(encoding="utf-8"))
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
