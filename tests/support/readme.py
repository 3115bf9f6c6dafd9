"""Output and pictures in the README and the README of the demo; run as a module to update them.

Run: python -m tests.support.readme
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Final

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"

DEMO_README = ROOT / "demo_data" / "README.md"

COMMANDS: Final = {
    "demo overview": ["demo_data/run_demo.py"],
    "demo output": ["demo_data/run_demo.py"],
    "comparison output": ["-m", "service", "compare", "demo_data/comparisons/deep-rib.json"],
    "scheduler output": ["demo_data/scheduler.py"],
}
"""Block of a README, and the Python arguments that print it."""

_DEEP_RIB: Final = "demo_data/stacks/01-deep-rib-shrink-extension.json"
PICTURES: Final = {
    "demo_data/pictures/deep-rib-stack.svg": ["-m", "service", "draw", _DEEP_RIB],
    "demo_data/pictures/deep-rib-distribution.svg": [
        *("-m", "service", "draw", _DEEP_RIB, "--picture", "distribution")
    ],
}
"""Picture in the README, and the Python arguments that draw it."""

_CAUTIONS: Final = "\nCautions\n"
_OVERVIEW: Final = "\nEvery stack of the shop"


def page(name: str) -> Path:
    """Return the README with a block."""
    return README if name == "demo overview" else DEMO_README


def _block(name: str) -> re.Pattern[str]:
    return re.compile(rf"(<!-- {name} -->\n```text\n)(.*?)(```\n<!-- end of {name} -->)", re.DOTALL)


def shown(name: str) -> str:
    """Return the text of a block in the README."""
    found = _block(name).search(page(name).read_text(encoding="utf-8"))
    assert found is not None
    return found[2]


def printed(name: str) -> str:
    """Return the output of the program without trailing blanks; for a comparison without its cautions."""
    run = [sys.executable, *COMMANDS[name]]
    output = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True, timeout=120).stdout
    if name == "comparison output":
        output = output.split(_CAUTIONS)[0]
    if name.startswith("demo"):
        report, _, overview = output.partition(_OVERVIEW)
        output = report if name == "demo output" else overview.partition("\n")[2]
    return "\n".join(line.rstrip() for line in output.splitlines()) + "\n"


def drawn(name: str) -> str:
    """Return the picture drawn by the program."""
    run = [sys.executable, *PICTURES[name]]
    return subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True, timeout=120).stdout


def main() -> None:
    """Update the pictures and the outputs in the READMEs."""
    for name in PICTURES:
        (ROOT / name).parent.mkdir(exist_ok=True)
        (ROOT / name).write_text(drawn(name), encoding="utf-8")
    for name in COMMANDS:
        output = printed(name)
        text = page(name).read_text(encoding="utf-8")
        page(name).write_text(_block(name).sub(lambda found, o=output: found[1] + o + found[3], text), encoding="utf-8")


if __name__ == "__main__":
    main()
