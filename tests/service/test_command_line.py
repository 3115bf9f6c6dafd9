"""The command line: reports, exit codes, and faults by file, line and column."""

from __future__ import annotations

import contextlib
import io
import json
import os
import pty
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.cli.files import BAD_INPUT, FAULT, PIPE_CLOSED, VERDICT_CODES
from service.cli.main import main
from tests.support.operations import change


@pytest.fixture
def files(tmp_path: Path, request_data: dict[str, Any]) -> dict[str, str]:
    """A file for each verdict, and two that hold no request."""
    failing = json.loads(json.dumps(request_data))
    failing["stack"]["components"][1]["machine_side"]["designation"] = "kb-16"
    review = json.loads(json.dumps(request_data))
    del review["stack"]["components"][1]["runout"]
    misspelt = json.loads(json.dumps(request_data))
    change(misspelt["operations"][0], {"feed_per_toth_mm": 3})
    contents = {
        "pass": json.dumps(request_data),
        "review": json.dumps(review),
        "fail": json.dumps(failing),
        "misspelt": json.dumps(misspelt, indent=2),
        "broken": '{"stack":\n  oops}',
        "twice": '{"stack": 1,\n "stack": 2}',
    }
    for name, text in contents.items():
        (tmp_path / f"{name}.json").write_text(text, encoding="utf-8")
    return {name: str(tmp_path / f"{name}.json") for name in (*contents, "absent")}


@pytest.mark.parametrize("verdict", ["pass", "review", "fail"])
def test_the_exit_code_is_the_verdict(files: dict[str, str], verdict: Any, capsys: Any) -> None:
    """0 pass, 1 review, 2 fail; the verdict is the first word printed."""
    assert main(["check", files[verdict]]) == VERDICT_CODES[verdict] == ["pass", "review", "fail"].index(verdict)
    printed = capsys.readouterr()
    assert printed.out.startswith(verdict.upper())
    assert printed.err == ""


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["pass", "review"], 1),
        (["fail", "pass"], 2),
        (["fail", "broken", "pass"], 3),
        (["absent", "pass"], 3),
        (["pass", "pass"], 0),
    ],
)
def test_the_worst_file_decides(files: dict[str, str], names: list[str], code: int, capsys: Any) -> None:
    """Every file is judged, its name stands in one piece, and the gravest code wins."""
    assert main(["check", *(files[name] for name in names)]) == code
    printed = capsys.readouterr()
    assert all(files[name] in printed.out + printed.err for name in names)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("broken", "broken.json:2:3: expecting value"),
        ("twice", "twice.json:1:1: the key 'stack' is duplicated in one object"),
        ("absent", "absent.json: No such file or directory"),
    ],
)
def test_bad_input_is_told_with_its_place(files: dict[str, str], name: str, told: str, capsys: Any) -> None:
    """File, line, column and reason go to standard error; nothing is printed as a report."""
    assert main(["check", files[name]]) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.strip().endswith(told)


def test_a_misspelt_field_is_told_with_pointer_and_place(files: dict[str, str], capsys: Any) -> None:
    """The line told is the one that holds the field."""
    assert main(["check", files["misspelt"]]) == BAD_INPUT
    error = capsys.readouterr().err
    place, _, rest = error.partition(": ")
    _, line, column = place.rsplit(":", 2)
    text = Path(files["misspelt"]).read_text(encoding="utf-8").split("\n")[int(line) - 1]
    assert text[int(column) - 1 :].startswith('"feed_per_toth_mm"')
    assert rest == "/operations/0/feed_per_toth_mm: unknown field; did you mean 'feed_per_tooth_mm'?\n"


DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.mark.parametrize("width", ["40", "60", "100"])
@pytest.mark.parametrize("file", sorted((DEMO / "stacks").glob("*.json")), ids=lambda file: file.stem[:2])
def test_a_brief_report_has_ten_lines_at_most(file: Path, width: str, capsys: Any) -> None:
    """Verdict first, the gravest finding with its code, and no line wider than asked."""
    code = main(["check", str(file), "--brief", "--width", width])
    lines = capsys.readouterr().out.splitlines()
    assert 3 < len(lines) <= 10
    assert max(map(len, lines)) <= int(width)
    assert lines[0].startswith(("PASS", "REVIEW", "FAIL")[code])
    if code == VERDICT_CODES["fail"]:
        assert lines[2].startswith("  error ")


_STACKS = str(DEMO / "stacks")
_SHORT_GRIP = str(DEMO / "stacks" / "14-short-grip.json")


@pytest.mark.parametrize("width", ["40", "60", "160"])
@pytest.mark.parametrize(
    "words",
    [
        ["rules", "lint", "--rulebooks", str(DEMO / "rulebooks"), "--date", "2100-01-01"],
        ["rules", "test", "--coverage", "--rulebooks", str(DEMO / "rulebooks")],
        ["rules", "explain", _SHORT_GRIP, "GRIP-010"],
        ["rules", "explain", _SHORT_GRIP],
        ["rules", "diff", "-", str(DEMO / "rulebooks"), _STACKS],
        ["rules", "list"],
        ["import", str(DEMO / "imports" / "holders.csv")],
        ["audit", _STACKS],
    ],
    ids=lambda words: " ".join(word for word in words if "/" not in word),
)
def test_a_report_is_as_wide_as_asked(words: list[str], width: str, capsys: Any) -> None:
    """Wrapped, with its columns; what one word takes may be wider."""
    main([*words, "--width", width])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 1
    assert [one for one in lines if len(one) > int(width) and " " in one.strip()] == []


@pytest.mark.parametrize(
    "words", [["rules", "list"], ["rules", "explain", _SHORT_GRIP, "GRIP-010"], ["audit", _STACKS]]
)
def test_a_wider_report_has_fewer_lines(words: list[str], capsys: Any) -> None:
    """The width is used."""
    counted = []
    for width in ("40", "160"):
        main([*words, "--width", width])
        counted.append(len(capsys.readouterr().out.splitlines()))
    assert counted[0] > counted[1]


def test_a_brief_report_says_what_to_measure_first(capsys: Any) -> None:
    """In the words of the whole report."""
    start = str(Path("service/cli/starts/shrink-fit.yaml"))
    shown = []
    for more in ([], ["--brief"]):
        main(["check", start, "--width", "200", *more])
        shown.append([one for one in capsys.readouterr().out.splitlines() if one.startswith("Measure or look up")])
    assert shown[0] == shown[1] != []


def test_a_brief_report_shows_inches(capsys: Any) -> None:
    """The figures of the report in the units that are wanted."""
    main(["check", str(DEMO / "stacks/01-deep-rib-shrink-extension.json"), "--brief", "--unit", "inch"])
    told = capsys.readouterr().out
    assert "; limit 0.00059 in" in told
    assert "µm" not in told


def test_cautions_are_printed_once(capsys: Any) -> None:
    """After the last of several reports, those of all."""
    files = [
        str(DEMO / "stacks" / name) for name in ("01-deep-rib-shrink-extension.json", "03-deep-rib-nut-collets.json")
    ]
    main(["check", *files])
    told = capsys.readouterr().out
    assert told.count("\nCautions\n") == told.count("\nComputed, never compared with a measurement\n") == 1
    assert told.count("This report is advice.") == told.count("gloves near a rotating spindle.") == 1
    closing = told.partition("\nCautions\n")[2]
    assert "induction heating" in closing
    assert "nut on an empty" in closing
    assert "\nStack\n" not in closing


@pytest.mark.parametrize(
    ("width", "told"), [("39", "40 to 400"), ("401", "40 to 400"), ("wide", "40 to 400"), ("terminal", "no terminal")]
)
def test_a_width_is_a_number_or_that_of_the_terminal(
    width: str, told: str, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a terminal there is no width of one."""

    def none(_: int) -> Any:
        raise OSError(25, "Inappropriate ioctl for device")

    monkeypatch.setattr(os, "get_terminal_size", none)
    with pytest.raises(SystemExit) as caught:
        main(["check", "stack.json", "--width", width])
    assert caught.value.code == BAD_INPUT
    assert told in capsys.readouterr().err


def _in_terminal(*words: str, **environment: str) -> tuple[int, str]:
    """Run a command in a terminal of its own; return exit code and what it showed."""
    child, terminal = pty.fork()
    if child == 0:
        os.environ.update({"TERM": "xterm-256color", **environment})
        os.execv(sys.executable, [sys.executable, "-m", "service", *words])  # noqa: S606
    shown = b""
    with contextlib.suppress(OSError):  # what reading a closed terminal raises
        while part := os.read(terminal, 65536):
            shown += part
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), shown.decode()


def test_a_terminal_gets_no_svg() -> None:
    """But a sentence that says where to write it."""
    code, shown = _in_terminal("draw", str(DEMO / "stacks/04-shrink-fit-rougher.json"))
    assert code == BAD_INPUT
    assert "<svg" not in shown
    assert "--out FILE.svg" in shown


@pytest.mark.parametrize("no_color", ["", "1"])
def test_colour_is_for_terminals_that_want_it(no_color: str) -> None:
    """NO_COLOR leaves the words bold, without colour."""
    _, shown = _in_terminal("check", str(DEMO / "stacks/03-deep-rib-nut-collets.json"), "--brief", NO_COLOR=no_color)
    assert ("\x1b[1;31mFAIL" in shown) == (no_color == "")
    assert "FAIL  KB-0103" in shown


@pytest.mark.parametrize(
    "command", ["check", "draw", "read", "build", "calibrate", "gate", "search", "compare", "budget"]
)
def test_help_has_examples(command: str, capsys: Any) -> None:
    """Each begins with the name of the program."""
    with pytest.raises(SystemExit):
        main([command, "--help"])
    _, _, told = capsys.readouterr().out.partition("\nexamples:\n")
    lines = told.splitlines()
    assert len(lines) >= 2
    assert all(line.startswith("  stackgauge ") for line in lines)


def test_standard_input_is_a_file(request_data: dict[str, Any], capsys: Any, monkeypatch: Any) -> None:
    """A dash reads the request from standard input."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps(request_data).encode())))
    assert main(["check", "-"]) == 0
    assert capsys.readouterr().out.startswith("PASS")


def test_json_is_a_line_a_report(
    files: dict[str, str], request_data: dict[str, Any], assessor: Assessor, capsys: Any
) -> None:
    """Each line is the report that the service answers."""
    assert main(["check", "--json", "--unstated", "undecided", files["pass"], files["fail"]]) == 2
    first, second = map(Report.model_validate_json, capsys.readouterr().out.splitlines())
    assert first == assessor.assess(parse_request(request_data))
    assert second.verdict == "fail"


@pytest.mark.parametrize(
    "arguments", [[], ["check"], ["weigh", "x"], ["check", "--colour", "x"], ["serve", "--port", "x"]]
)
def test_wrong_usage_is_no_verdict(arguments: list[str], capsys: Any) -> None:
    """A command that does not exist must not leave with the code of a failed stack."""
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == BAD_INPUT
    assert "usage" in capsys.readouterr().err


def test_a_fault_of_the_program_is_no_verdict(files: dict[str, str], capsys: Any, monkeypatch: Any) -> None:
    """An exception must not leave with the code of a review."""
    monkeypatch.setattr(Assessor, "assess", lambda *_: 1 / 0)
    assert main(["check", files["pass"]]) == FAULT
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_wrong_rulebook_is_told(files: dict[str, str], tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    """File and line of the defect, and no verdict."""
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "own.yaml").write_text("book: own\n", encoding="utf-8")
    monkeypatch.setenv("STACKGAUGE_EXTRA_RULEBOOKS", json.dumps([str(folder)]))
    assert main(["check", files["pass"]]) == BAD_INPUT
    assert "own.yaml" in capsys.readouterr().err


def test_a_wrong_setting_is_told(files: dict[str, str], capsys: Any, monkeypatch: Any) -> None:
    """The variable is named."""
    monkeypatch.setenv("STACKGAUGE_PORT", "99999")
    assert main(["check", files["pass"]]) == BAD_INPUT
    assert "STACKGAUGE_PORT" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["openapi", "catalogue"])
def test_no_command_writes_files_of_the_project(command: str) -> None:
    """An installed copy must never write beside its own modules."""
    with pytest.raises(SystemExit) as caught:
        main([command])
    assert caught.value.code == BAD_INPUT


def test_the_page_is_written_beside_the_text(files: dict[str, str], tmp_path: Path, client: Any, capsys: Any) -> None:
    """--html writes the page that the service answers with; text and exit code stay as they are."""
    out = tmp_path / "page.html"
    check = ["check", "--unstated", "undecided", files["fail"]]
    assert main(check) == main([*check, "--html", str(out)]) == 2
    first, second = capsys.readouterr().out.split("FAIL")[1:]
    assert first == second
    body = Path(files["fail"]).read_bytes()
    assert out.read_bytes() == client.check(body, accept="text/html").content


def test_a_page_that_cannot_be_written_is_told(files: dict[str, str], tmp_path: Path, capsys: Any) -> None:
    """A path that leads nowhere, and a page for two files, are bad input."""
    nowhere = str(tmp_path / "none" / "page.html")
    assert main(["check", files["pass"], "--html", nowhere]) == BAD_INPUT
    assert capsys.readouterr().err == f"{nowhere}: No such file or directory\n"
    with pytest.raises(SystemExit) as caught:
        main(["check", files["pass"], files["fail"], "--html", nowhere])
    assert caught.value.code == BAD_INPUT
    assert "--html takes one FILE" in capsys.readouterr().err


@pytest.mark.parametrize(
    "request_text",
    [
        '{"stack": {"components": [{"kind": "cutter", "id": "c", "\\u001b[2Jx\\u202ey": 1}]}}',
        '{"stack": {"components": [{"kind": "cutter", "id": "c"}]}, "policy": {"thresholds": {"\\u001b": {"a": 1}}}}',
        '{"stack": {"components": [{"kind": "cutter", "id": "c"}]},'
        ' "policy": {"thresholds": [{"code": "OVH-010", "threshold": "\\u001b[2J", "value": 1}]}}',
        '{"\\u001b[2J": [1e400]}',
        '{"stack": {"\\u001b[2J": 1, "\\u001b[2J": 2}}',
    ],
)
def test_a_fault_does_not_steer_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], request_text: str
) -> None:
    """What is repeated of a file is printable."""
    file = tmp_path / "request.json"
    file.write_text(request_text, encoding="utf-8")
    assert main(["check", str(file)]) == 3
    told = capsys.readouterr().err
    assert told
    assert all(one.isprintable() for line in told.splitlines() for one in line)


@pytest.mark.parametrize(
    "options", [pytest.param([], id="text"), pytest.param(["--json"], id="json", marks=pytest.mark.long)]
)
def test_a_reader_that_leaves_early_leaves_no_traceback(files: dict[str, str], options: list[str]) -> None:
    """As with ``| head``; the exit code is no verdict."""
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "check", *options, *[files["pass"]] * 30],
        cwd=Path(__file__).resolve().parents[2],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    process.stdout.close()
    process.stdout = None
    _, told = process.communicate(timeout=60)
    assert (process.returncode, told) == (PIPE_CLOSED, b"")


_THIRD_PARTY = (
    "fastapi", "httpx", "jinja2", "lxml", "prometheus_client", "starlette", "structlog", "uvicorn",
)  # fmt: skip


def _loaded(*words: str) -> set[str]:
    """Every module that a command loads."""
    program = (
        "import atexit, sys\n"
        "atexit.register(lambda: print('loaded', *sys.modules, file=sys.stderr))\n"
        "from service.__main__ import main\n"
        "sys.exit(main())\n"
    )
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
    first, *modules = done.stderr.split()
    assert first == "loaded"
    return set(modules)


def test_the_help_loads_no_command() -> None:
    """Nor anything of third parties: whoever asks for help, a completion of words say, waits for no engine."""
    modules = _loaded("--help")
    assert "service.cli.main" in modules
    assert not modules & {*_THIRD_PARTY, "lark", "numpy", "pydantic", "rich", "scipy", "yaml"}
    assert {name for name in modules if name.startswith("service.cli.")} == {"service.cli.main"}


def test_a_check_loads_what_a_check_needs(files: dict[str, str]) -> None:
    """Not the web framework, the audit, pages or drawings; no scipy, and no colours for what is no terminal."""
    modules = _loaded("check", files["pass"])
    assert {"durable_rules_engine", "service.cli.check"} <= modules
    assert not modules & {*_THIRD_PARTY, "rich.console", "scipy", "service.drawing", "service.http"}
    assert {name for name in modules if name.startswith("service.cli.")} == {
        "service.cli.check", "service.cli.files", "service.cli.main",
    }  # fmt: skip
    assert not {name for name in modules if name.startswith(("service.audit", "service.batch", "rules.search"))}


_HOUSE_NAME = """\
- {pattern: KB cone, becomes: HSK-A63, reason: house name}
"""
_NO_TARGET = _HOUSE_NAME.replace("HSK-A63", "KB taper")
_TOLD_ALIAS = "KB cone, by the alias file HSK-A63: hollow taper ISO 12164"
_TOLD_TARGET = "'KB cone' becomes 'KB taper', which is no designation"
_MISSPELT = """\
stack:
  - iso15488:32:12
  - part: "din6535:HA12:83"
    teth: 4
"""


def test_a_house_name_is_known_by_the_alias_file(tmp_path: Path, capsys: Any) -> None:
    """Named on the command line; a file with a defect is told with its line, and is no verdict."""
    stack, good, bad = (tmp_path / name for name in ("stack.yaml", "good.yaml", "bad.yaml"))
    stack.write_text("stack: [{kind: base_holder, machine_side: KB cone}]", encoding="utf-8")
    good.write_text(_HOUSE_NAME, encoding="utf-8")
    bad.write_text(_NO_TARGET, encoding="utf-8")
    main(["check", "--aliases", str(good), str(stack)])
    assert _TOLD_ALIAS in capsys.readouterr().out
    assert main(["check", "--aliases", str(bad), str(stack)]) == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"{bad}:1: {_TOLD_TARGET}")


def test_a_fault_in_yaml_has_line_and_column(tmp_path: Path, capsys: Any) -> None:
    """Of what was written, with the pointer into the full form."""
    stack = tmp_path / "stack.yaml"
    stack.write_text(_MISSPELT, encoding="utf-8")
    assert main(["check", str(stack)]) == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"{stack}:4:5: /stack/components/1/with/teth: unknown field")


@pytest.mark.parametrize("end", ["yaml", "json"])
def test_the_schema_for_editors_is_ignored(tmp_path: Path, end: str, request_data: dict[str, Any]) -> None:
    """In either format; any other unknown field is refused."""
    file = tmp_path / f"stack.{end}"
    file.write_text(json.dumps({"$schema": "check-request.json", **request_data}), encoding="utf-8")
    assert main(["check", str(file)]) != BAD_INPUT
    file.write_text(json.dumps({"$scheme": "check-request.json", **request_data}), encoding="utf-8")
    assert main(["check", str(file)]) == BAD_INPUT
