"""Small libraries for tests of audits, and audits run as a user runs them."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema

from service.batch.lines import LineAnswer
from tests.support.libraries import library_lines

ROOT = Path(__file__).resolve().parents[2]

BAD_LINES = {5: b"{oops}\n", 9: b'{"stack": {"components": []}}\n'}
"""Lines that are no request, by the number they get in :func:`mixed_lines`."""

PROGRAM = (
    "import sys; import service.audit.run as run; run._CHUNKS_BETWEEN_STATES = 2;"
    " from service.cli.main import main; sys.exit(main(sys.argv[1:]))"
)
"""The command line, noting its state so often that a small library can be interrupted."""


@cache
def stacks(count: int = 60) -> tuple[bytes, ...]:
    """Return lines of good requests."""
    return tuple(library_lines(count, seed=1))


@cache
def mixed_lines() -> tuple[bytes, ...]:
    """Return forty lines: requests, a blank one, and two that are bad."""
    lines = list(stacks(37))
    lines.insert(2, b"\n")
    for number, line in BAD_LINES.items():
        lines.insert(number - 1, line)
    return tuple(lines)


def write(path: Path, lines: Iterable[bytes]) -> Path:
    """Write lines to a file."""
    path.write_bytes(b"".join(lines))
    return path


def records(path: Path) -> list[dict[str, Any]]:
    """Return the objects of an .ndjson file."""
    return [json.loads(line) for line in path.read_bytes().splitlines()]


@cache
def _sarif() -> Any:
    schema = json.loads((ROOT / "tests/service/schemas/sarif-2.1.0-rtm.5.json").read_text("utf-8"))
    return jsonschema.Draft4Validator(schema, format_checker=jsonschema.FormatChecker())


def check_sarif(log: Any) -> None:
    """Hold a log against the schema of SARIF 2.1.0, and against clauses of the standard that it does not express."""
    assert [f"{list(one.absolute_path)}: {one.message}" for one in _sarif().iter_errors(log)] == []
    for run in log["runs"]:
        results, driver = run["results"], run["tool"]["driver"]
        # 3.27.9 and .10: a result that is no failure has no level; 3.27.5: its rule is described
        assert all(one["level"] == "none" for one in results if one["kind"] != "fail")
        assert {one["ruleId"] for one in results if one.get("baselineState") != "absent"} <= {
            one["id"] for one in driver["rules"]
        }
        # 3.27.24: a state on one result means one on all, against a baseline that is named (3.14.5)
        states = ["baselineState" in one for one in results]
        assert all(states) or not any(states)
        assert any(states) <= ("baselineGuid" in run)
        # 3.58.5 and 3.52: what a notification names is described
        for one in run["invocations"]:
            told = {notice["descriptor"]["id"] for notice in one["toolExecutionNotifications"]}
            assert told <= {notice["id"] for notice in driver["notifications"]}
        # 3.4.3 and .4: relative references with a base that the run has
        for result in results:
            for place in result.get("locations", ()):
                artifact = place["physicalLocation"]["artifactLocation"]
                assert artifact["uriBaseId"] in run["originalUriBaseIds"]
                assert not artifact["uri"].startswith("/")


def started(*arguments: str, cwd: Path, **environment: str) -> subprocess.Popen[bytes]:
    """Start an audit in a group of its own, as a terminal does."""
    command = [sys.executable, "-c", PROGRAM, "audit", *arguments]
    return subprocess.Popen(
        command,
        cwd=cwd,
        env={"PYTHONPATH": str(ROOT), **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def fake_answer(number: int, **fields: Any) -> LineAnswer:
    """Return an answer as if a stack had been judged."""
    given: dict[str, Any] = {"verdict": "pass", "stack": f"T-{number}", "p95_um": 8.0} | fields
    return LineAnswer(number, b"{}", **given)
