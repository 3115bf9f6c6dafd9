"""An audit of more than a thousand lines counts every one of them."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from service.cli.files import BAD_INPUT
from service.cli.main import main

STACKS = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"

# what the shop's stacks were built for; see demo_data/README.md
VERDICTS = {
    "04-shrink-fit-rougher": "pass",
    "06-side-lock-inch": "review",
    "12-face-mill-too-wide": "fail",
    "19-press-in-collet": "pass",
}
BAD = {100: b"{oops}", 700: b"[]", 1111: b'{"stack": {"components": []}}'}
LINES = 1307


@pytest.mark.parametrize("workers", ["1", "2"])
def test_every_line_of_a_long_library_is_counted(
    workers: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """1,307 lines of four stacks in turn, three of them bad: totals, codes, and one answer a line in order."""
    monkeypatch.chdir(tmp_path)
    names = list(VERDICTS)
    bodies = [json.dumps(json.loads((STACKS / f"{name}.json").read_bytes())).encode() for name in names]
    numbered = {number: (number * 7) % 4 for number in range(1, LINES + 1) if number not in BAD}
    lines = [BAD[number] if number in BAD else bodies[numbered[number]] for number in range(1, LINES + 1)]
    Path("long.ndjson").write_bytes(b"\n".join(lines) + b"\n")
    code = main(["audit", "long.ndjson", "--json", "--quiet", "--out", "answers.ndjson", "--workers", workers])
    summary = json.loads(capsys.readouterr().out)
    of = Counter(names[place] for place in numbered.values())
    assert code == BAD_INPUT
    assert summary["stacks"] == 1304
    assert summary["bad_lines"] == 3
    assert [one["line"] for one in summary["first_bad_lines"]] == [100, 700, 1111]
    assert summary["verdicts"] == {
        "pass": of["04-shrink-fit-rougher"] + of["19-press-in-collet"],
        "review": of["06-side-lock-inch"],
        "fail": of["12-face-mill-too-wide"],
    }
    found = {one["code"]: one["stacks"] for one in summary["findings"]}
    assert found == {
        "RUN-030": 1304,
        "MCH-030": of["12-face-mill-too-wide"],
        "BOR-040": of["06-side-lock-inch"],
        "RUN-040": of["06-side-lock-inch"],
    }
    assert sum(one["stacks"] for one in summary["runout_histogram"]) == 1304
    *answers, last = [json.loads(line) for line in Path("answers.ndjson").read_bytes().splitlines()]
    assert set(last) == {"summary"}
    assert [one["line"] for one in answers] == list(range(1, LINES + 1))
