"""A library with forty kinds of planted faults: an audit finds all of them, and against itself exactly the changes."""

from __future__ import annotations

import csv
import io
import json
import os
import resource
import signal
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from service.cli.main import main
from tests.support.audits import started
from tests.support.planted import FAULTS, Planted, changed_lines, planted_library

SMALL = 320
FULL = 20_000


def _findings(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode(), newline="")))


def _missed(rows: list[dict[str, str]], planted: list[Planted]) -> list[Planted]:
    """Return the faults of which the table does not tell."""
    by_line: dict[str, set[tuple[str, str]]] = {}
    library: dict[str, list[str]] = {}
    for row in rows:
        if row["line"]:
            by_line.setdefault(row["line"], set()).add((row["kind"], row["code"]))
        else:
            library.setdefault(row["code"], []).append(row["message"] + row["library"])
    missed = []
    for one in planted:
        if one.fault.kind == "library":
            word = one.stack if one.fault.code == "AUD-010" else f"line {one.line}"
            found = any(word in text for text in library.get(one.fault.code, ()))
        else:
            found = (one.fault.kind, one.fault.code) in by_line.get(str(one.line), set())
        if not found:
            missed.append(one)
    return missed


def _false_alarms(rows: list[dict[str, str]], planted: list[Planted]) -> Counter[str]:
    """Return the errors and undecided rules on stacks in which nothing is planted, by code."""
    lines = {str(one.line) for one in planted}
    return Counter(
        row["code"]
        for row in rows
        if row["line"] and row["line"] not in lines and (row["kind"] != "finding" or row["severity"] == "error")
    )


def test_all_faults_are_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """Each of the forty kinds once; nothing is an error elsewhere; the changes of a night are told, no more."""
    monkeypatch.chdir(tmp_path)
    lines, planted = planted_library(SMALL, every=8)
    assert len({one.fault.name for one in planted}) == len(FAULTS) == 40
    Path("x.ndjson").write_bytes(b"".join(lines))
    main(["audit", "x.ndjson", "--quiet", "--workers", "2", "--out", "o.csv", "--out", "last.sarif"])
    rows = _findings(tmp_path / "o.findings.csv")
    assert [(one.fault.name, one.line) for one in _missed(rows, planted)] == []
    assert _false_alarms(rows, planted) == {}
    twice = [row for row in rows if row["code"] in ("AUD-010", "LIB-010")]
    assert len(twice) == 2
    capsys.readouterr()
    made, expected = changed_lines(lines, seed=3, number=10, every=8)
    Path("x.ndjson").write_bytes(b"".join(made))
    main(["audit", "x.ndjson", "--quiet", "--workers", "2", "--against", "last.sarif", "--json"])
    told = json.loads(capsys.readouterr().out)["against"]
    assert {one["stack"] for one in told["first_new"]} == set(expected)
    assert all(
        any(one["code"] == code for one in told["first_new"] if one["stack"] == stack)
        for stack, code in expected.items()
    )
    assert {one["stack"] for one in told["first_updated"]} <= set(expected)
    assert {one["stack"] for one in told["first_fixed"]} <= set(expected)
    assert told["gone"] == 0


@pytest.mark.long
def test_a_night_of_twenty_thousand_stacks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """Killed and resumed, everything found; against itself with fifty changes exactly these. Prints its figures."""
    monkeypatch.chdir(tmp_path)
    lines, planted = planted_library(FULL)
    Path("x.ndjson").write_bytes(b"".join(lines))
    command = ["x.ndjson", "--quiet", "--workers", "2", "--resume", "state"]
    command += [word for name in ("o.csv", "last.sarif", "o.html", "o.junit.xml") for word in ("--out", name)]
    start = time.monotonic()
    process = started(*command, cwd=tmp_path)
    while (
        not (tmp_path / "state").exists() or json.loads((tmp_path / "state").read_text())["place"]["line"] < FULL // 4
    ):
        assert process.poll() is None
        time.sleep(1.0)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
    resumed = started(*command, cwd=tmp_path)
    resumed.communicate()
    minutes = (time.monotonic() - start) / 60
    rows = _findings(tmp_path / "o.findings.csv")
    assert _missed(rows, planted) == []
    alarms = _false_alarms(rows, planted)
    assert alarms == {}
    made, expected = changed_lines(lines, seed=7)
    Path("x.ndjson").write_bytes(b"".join(made))
    main(["audit", "x.ndjson", "--quiet", "--workers", "2", "--against", "last.sarif", "--json", "--out", "o.sarif"])
    results = json.loads((tmp_path / "o.sarif").read_text())["runs"][0]["results"]
    changed = {one["properties"]["stack"] for one in results if one["baselineState"] != "unchanged"}
    assert changed == set(expected)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    page = (tmp_path / "o.html").stat().st_size / 2**20
    with capsys.disabled():
        print(f"{len(planted)} faults found, {minutes:.0f} min with a kill, page {page:.1f} MiB, peak {peak:.0f} MiB")
