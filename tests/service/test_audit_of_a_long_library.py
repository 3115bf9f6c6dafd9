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


@pytest.mark.parametrize(
    ("workers", "count"), [("1", 133), ("2", 733), pytest.param("2", 1307, marks=pytest.mark.long)]
)
def test_every_line_of_a_long_library_is_counted(
    workers: str, count: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """Lines of four stacks in turn, a few of them bad: totals, codes, and one answer a line in order."""
    bad = {number: line for number, line in BAD.items() if number <= count}
    monkeypatch.chdir(tmp_path)
    names = list(VERDICTS)
    bodies = [json.dumps(json.loads((STACKS / f"{name}.json").read_bytes())).encode() for name in names]
    numbered = {number: (number * 7) % 4 for number in range(1, count + 1) if number not in bad}
    lines = [bad[number] if number in bad else bodies[numbered[number]] for number in range(1, count + 1)]
    Path("long.ndjson").write_bytes(b"\n".join(lines) + b"\n")
    code = main(["audit", "long.ndjson", "--json", "--quiet", "--out", "answers.ndjson", "--workers", workers])
    summary = json.loads(capsys.readouterr().out)
    of = Counter(names[place] for place in numbered.values())
    assert code == BAD_INPUT
    assert summary["stacks"] == count - len(bad)
    assert summary["bad_lines"] == len(bad)
    assert [one["line"] for one in summary["first_bad_lines"]] == [*bad]
    assert summary["verdicts"] == {
        "pass": of["04-shrink-fit-rougher"] + of["19-press-in-collet"],
        "review": of["06-side-lock-inch"],
        "fail": of["12-face-mill-too-wide"],
    }
    found = {one["code"]: one["stacks"] for one in summary["findings"]}
    assert found == {
        "RUN-030": count - len(bad) - of["04-shrink-fit-rougher"] - of["06-side-lock-inch"],
        "MCH-030": of["12-face-mill-too-wide"],
        "BOR-040": of["06-side-lock-inch"],
        "RUN-040": of["06-side-lock-inch"],
    }
    assert sum(one["stacks"] for one in summary["runout_histogram"]) == count - len(bad)
    *answers, last = [json.loads(line) for line in Path("answers.ndjson").read_bytes().splitlines()]
    assert set(last) == {"summary"}
    assert [one["line"] for one in answers] == list(range(1, count + 1))
