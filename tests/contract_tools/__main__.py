"""General-purpose tools on the contract: two linters, and clients generated in TypeScript and Go.

    python -m tests.contract_tools                       # all that the machine can run
    python -m tests.contract_tools linters typescript    # these, and an error if node, npm or go is missing

The tools come from npm in the versions of package-lock.json and are kept in .contract_tools. The clients check a stack,
and read an answer of a later release, which has more fields and other values in its open lists.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from tests.support.contract import DOCUMENT, EXAMPLES, later_answer
from tests.support.readme_blocks import ADDRESS, blocks
from tests.support.served import ROOT, served

HERE: Final = Path(__file__).parent
KEPT: Final = ROOT / ".contract_tools"
WORK: Final = KEPT / "work"

QUIET: Final = {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true", "GO111MODULE": "off"}


def _run(*command: str | Path, given: str | None = None) -> str:
    """What the command writes; raises RuntimeError with all it wrote if it fails."""
    done = subprocess.run(
        list(map(str, command)),
        cwd=WORK,
        input=given,
        env={**os.environ, **QUIET},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{' '.join(map(str, command))}\n{done.stdout}{done.stderr}")
    return done.stdout


def _tool(name: str) -> Path:
    """A tool from npm, installed when the lock has changed."""
    lock, stamp = (HERE / "package-lock.json").read_text("utf-8"), KEPT / "installed"
    if not stamp.is_file() or stamp.read_text("utf-8") != lock:
        for file in ("package.json", "package-lock.json"):
            shutil.copy(HERE / file, KEPT / file)
        _run("npm", "ci", "--prefix", KEPT, "--ignore-scripts", "--no-audit", "--no-fund")
        stamp.write_text(lock, encoding="utf-8")
    return KEPT / "node_modules" / ".bin" / name


def linters() -> None:
    """Two linters find nothing."""
    _run(_tool("redocly"), "lint", DOCUMENT, "--config", HERE / "redocly.yaml")
    _run(_tool("spectral"), "lint", DOCUMENT, "--ruleset", HERE / "spectral.yaml", "--fail-severity", "hint")


def typescript() -> None:
    """The lines of the README compile with the generated types, and check a stack."""
    flags = ("--root-types", "--root-types-no-schema-prefix", "--default-non-nullable=false")
    _run(_tool("openapi-typescript"), DOCUMENT, "-o", "stackgauge.ts", *flags)
    with served() as server:
        lines = blocks()["ts"].replace(ADDRESS, server.url)
        (WORK / "check.ts").write_text(lines, encoding="utf-8")
        (WORK / "package.json").write_text('{"type": "module"}', encoding="utf-8")
        (WORK / "tsconfig.json").write_text(json.dumps(_TYPESCRIPT), encoding="utf-8")
        _run(_tool("tsc"))
        assert _run("node", "check.js").split()[0] == "review"


_TYPESCRIPT: Final = {
    "compilerOptions": {
        "strict": True,
        "target": "es2022",
        "module": "nodenext",
        "lib": ["es2022", "dom"],
        "types": [],
    },
    "files": ["check.ts"],
}


def go() -> None:
    """The generated types read today's report and that of a later release alike."""
    _run(_tool("quicktype"), *("-s", "schema", f"{DOCUMENT}#/components/schemas/Report"), *_GO)
    shutil.copy(HERE / "report.go", WORK / "main.go")
    _run("go", "build", "-o", "report", "main.go", "types.go")
    answer = (EXAMPLES / "checks/patchy.answer.json").read_text("utf-8")
    now = _run(WORK / "report", given=answer)
    assert now.split()[0] == json.loads(answer)["verdict"]
    assert len(now.split()) == 1 + len(json.loads(answer)["undecided"])
    assert _run(WORK / "report", given=json.dumps(later_answer(json.loads(answer), "Report"))) == now


_GO: Final = ("--lang", "go", "--package", "main", "--top-level", "Report", "-o", "types.go")

CHECKS: Final[Mapping[str, tuple[Callable[[], None], tuple[str, ...]]]] = {
    "linters": (linters, ("node", "npm")),
    "typescript": (typescript, ("node", "npm")),
    "go": (go, ("node", "npm", "go")),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the checks and say how each ended; return 1 if one failed or could not run although it was named."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("check", nargs="*", help=f"of {', '.join(CHECKS)}")
    named = parser.parse_args(argv).check
    if unknown := set(named) - set(CHECKS):
        parser.error(f"unknown: {', '.join(sorted(unknown))}")
    WORK.mkdir(parents=True, exist_ok=True)
    failed = False
    for name in named or CHECKS:
        check, needed = CHECKS[name]
        missing = [program for program in needed if shutil.which(program) is None]
        if missing:
            print(f"{name}: not run, the machine has no {' and no '.join(missing)}")
            failed |= bool(named)
            continue
        try:
            check()
            print(f"{name}: passed")
        except (AssertionError, RuntimeError) as error:
            print(f"{name}: failed\n{error}", file=sys.stderr)
            failed = True
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
