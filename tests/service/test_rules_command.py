"""The command ``rules``: exit codes, text and JSON; ``--rulebooks`` on the commands that judge."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.rulebook.loader import base_request
from service.cli.files import BAD_INPUT, VERDICT_CODES
from service.cli.main import main
from service.cli.rules import DIFFERENT
from service.sheets.text import PLAIN_WIDTH

_GOOD = """\
book: house
version: "1"
title: House rules
rules:
  - code: HS-010
    title: Side lock too fast
    severity: error
    for: joint
    where: upper.coupling == "side_lock"
    require: operation.spindle_speed_rpm <= max_rpm
    thresholds: {max_rpm: 8000 rpm}
    message: "{joint}: {operation.spindle_speed_rpm} rpm"
    why: The screw pushes the shank off centre.
    remedy: Use a shrink-fit holder.
    source: trials in cell A
    owner: toolroom
    tags: [speed]
    examples:
      fires: [{name: 9000 rpm, base: side_lock, set: {"/operations/0/spindle_speed_rpm": 9000}}]
      silent: [{name: 3000 rpm, base: side_lock}]
      undecided: [{name: no speed, base: side_lock, remove: ["/operations/0/spindle_speed_rpm"]}]
"""


_REFUTED = "name: x, base: side_lock, set: {/operations/0/spindle_speed_rpm: 9000}"


@pytest.fixture
def books(tmp_path: Path) -> Path:
    """A folder with one complete rule."""
    folder = tmp_path / "books"
    folder.mkdir()
    folder.joinpath("house.yaml").write_text(_GOOD, encoding="utf-8")
    return folder


def _stack(folder: Path, speed: float | None = 3000, base: str = "side_lock") -> str:
    request = base_request(base)
    request["operations"][0]["spindle_speed_rpm"] = speed
    file = folder / "stack.json"
    file.write_text(json.dumps(request), encoding="utf-8")
    return str(file)


def _change(books: Path, old: str, new: str) -> None:
    file = books / "house.yaml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        ("", "", 0, "0 errors, 0 warnings"),
        ("    owner: toolroom\n", "", 1, "warning: no owner"),
        ("upper.coupling ==", "upper.couplin ==", 2, "did you mean upper.coupling?"),
        ("name: 3000 rpm, base: side_lock", _REFUTED, 2,
         "stays silent; it fires"),
    ],
)  # fmt: skip
def test_lint(books: Path, capsys: Any, old: str, new: str, code: int, words: str) -> None:
    """0 without remarks, 1 with warnings, 2 with what would stop a start."""
    _change(books, old, new)
    assert main(["rules", "lint", "--rulebooks", str(books)]) == code
    text = capsys.readouterr().out
    assert words in text
    assert all(len(line) <= PLAIN_WIDTH for line in text.splitlines())
    main(["rules", "lint", "--rulebooks", str(books), "--json"])
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["level"] for one in told] == ([["warning"], ["error"]][code - 1] if code else [])


def test_lint_needs_a_folder(tmp_path: Path, capsys: Any) -> None:
    """A folder that does not exist is invalid input, not a defect of a book."""
    assert main(["rules", "lint", "--rulebooks", str(tmp_path / "none")]) == BAD_INPUT
    assert "not a folder" in capsys.readouterr().err


def test_examples_and_coverage(books: Path, tmp_path: Path, capsys: Any) -> None:
    """The examples are run; outcomes are counted over them, or over a library of lines with shared fields."""
    assert main(["rules", "test", "--rulebooks", str(books), "--coverage"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("3 examples of 1 rule, 0 contradicted\n")
    assert "  HS-010      1      1            1          3\n" in text
    library = tmp_path / "library.ndjson"
    request = base_request("nut_collet")
    lines = [{"operations": request.pop("operations")}, request, request]
    library.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    assert main(["rules", "test", "--rulebooks", str(books), "--coverage", str(library)]) == 1
    text = capsys.readouterr().out
    assert "Outcomes over 2 stacks" in text
    assert "Concerned no subject\n  HS-010\n" in text
    library.write_text('{"stack": 1}\n', encoding="utf-8")
    assert main(["rules", "test", "--rulebooks", str(books), "--coverage", str(library)]) == 2
    assert "0 stacks, 1 request not judged" in capsys.readouterr().out
    assert main(["rules", "test", "--coverage", str(tmp_path / "none.json")]) == BAD_INPUT


def test_a_contradicted_example_fails(books: Path, capsys: Any) -> None:
    """It is named with its place and what the rule does."""
    _change(
        books, "name: 3000 rpm, base: side_lock", "name: x, base: side_lock, remove: [/operations/0/spindle_speed_rpm]"
    )
    assert main(["rules", "test", "--rulebooks", str(books)]) == 2
    text = " ".join(capsys.readouterr().out.split())
    assert text.startswith("books/house.yaml:5: HS-010: the example")
    assert "under silent; the outcome: undecided" in text


@pytest.mark.parametrize(
    ("speed", "code", "words"),
    [
        (3000, 0, "holder/end-mill, operation 10: holds"),
        (9000, 2, "is at most 8000 rpm (max rpm); now 9000 rpm."),
        (None, 1, "State operation spindle speed (/operations/0/spindle_speed_rpm)."),
    ],
)
def test_explain(books: Path, tmp_path: Path, capsys: Any, speed: float | None, code: int, words: str) -> None:
    """The exit code is that of the worst outcome; the text has the values with their places."""
    stack = _stack(tmp_path, speed)
    assert main(["rules", "explain", stack, "HS-010", "--rulebooks", str(books)]) == code
    text = capsys.readouterr().out
    assert words in text
    assert "upper.coupling: side_lock (/stack/components/0/workpiece_side/coupling)" in text
    assert main(["rules", "explain", stack, "HS-010", "--rulebooks", str(books), "--json"]) == code
    assert json.loads(capsys.readouterr().out)["code"] == "HS-010"
    assert main(["rules", "explain", stack, "--rulebooks", str(books)]) == code
    assert "HS-010" in capsys.readouterr().out


def test_explain_refuses(tmp_path: Path, capsys: Any) -> None:
    """A rule that does not exist, and a file that is no request."""
    assert main(["rules", "explain", _stack(tmp_path), "HS-010"]) == BAD_INPUT
    assert "/code: there is no rule HS-010" in capsys.readouterr().err
    tmp_path.joinpath("stack.json").write_text("[]", encoding="utf-8")
    assert main(["rules", "explain", str(tmp_path / "stack.json"), "HS-010"]) == BAD_INPUT
    assert main(["rules", "explain", str(tmp_path / "stack.json")]) == BAD_INPUT


def test_diff(books: Path, tmp_path: Path, capsys: Any) -> None:
    """Rules and findings that differ, with the place of the first stacks."""
    stack = _stack(tmp_path, 9000)
    assert main(["rules", "diff", "-", str(books), stack]) == DIFFERENT
    text = capsys.readouterr().out
    assert "Rules added\n  HS-010\n" in text
    assert "pass to fail: 1 stack (base-side-lock" in text
    assert "HS-010: nothing to error: 1 stack" in text
    assert main(["rules", "diff", str(books), str(books), stack]) == 0
    assert capsys.readouterr().out == "No difference over 1 stack.\n"


def test_list_schema_and_catalogue(books: Path, capsys: Any) -> None:
    """Rules in force, the JSON Schema, the catalogue of the shop's own rules."""
    assert main(["rules", "list", "--own", "--rulebooks", str(books)]) == 0
    assert " ".join(capsys.readouterr().out.split()).endswith("HS-010 error joint Side lock too fast (house)")
    assert main(["rules", "list", "--tag", "speed", "--rulebooks", str(books), "--json"]) == 0
    assert [json.loads(line)["code"] for line in capsys.readouterr().out.splitlines()] == ["HS-010"]
    assert main(["rules", "schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Rulebook"
    assert main(["rules", "catalogue", "--own", "--rulebooks", str(books)]) == 0
    text = capsys.readouterr().out
    assert text.count("\n## ") == 1
    assert "upper component's coupling is side lock" in text


@pytest.mark.parametrize("command", ["check", "budget", "draw", "export"])
def test_commands_take_rulebooks(books: Path, tmp_path: Path, capsysbinary: Any, command: str) -> None:
    """The verdict is that with the rules of the folder."""
    stack = _stack(tmp_path, 9000)
    plain, own = main([command, stack]), main([command, stack, "--rulebooks", str(books)])
    capsysbinary.readouterr()
    assert (plain, own) == ((0, 0) if command == "budget" else (0, VERDICT_CODES["fail"]))
    assert main([command, stack, "--rulebooks", str(tmp_path / "none")]) == BAD_INPUT


def test_a_batch_of_lines_takes_rulebooks(books: Path, tmp_path: Path, capsys: Any) -> None:
    """An audit in worker processes, too, reads the folder."""
    stack = _stack(tmp_path, 9000)
    for more in ([], ["--workers", "1"]):
        assert main(["audit", stack, "--quiet", *more]) == 0
        assert main(["audit", stack, "--quiet", "--rulebooks", str(books), *more]) == VERDICT_CODES["fail"]
    assert "HS-010" in capsys.readouterr().out
