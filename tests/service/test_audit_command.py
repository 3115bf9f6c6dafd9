"""``audit``: every stack of a library is judged as by a check, in order, with any number of workers."""

from __future__ import annotations

import io
import json
import shutil
from collections import Counter
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import service.audit.libraries as libraries
import service.audit.libraries as library_files
from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from service.cli.audit import INTERRUPTED
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from tests.support.audits import BAD_LINES, mixed_lines, records, stacks, write
from tests.support.libraries import library_lines
from tests.support.stacks import quantile

pytestmark = pytest.mark.usefixtures("judged_once")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, so that outputs name libraries without their folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def audit(*arguments: str, capsys: Any) -> tuple[int, dict[str, Any]]:
    """Return the exit code and the summary; nothing may be said on standard error."""
    code = main(["audit", *arguments, "--json", "--quiet"])
    printed = capsys.readouterr()
    assert printed.err == ""
    return code, json.loads(printed.out)


def test_counts_are_those_of_single_checks(here: Path, assessor: Assessor, capsys: Any) -> None:
    """Verdicts, findings, gaps and bins of an audit are what checks of its lines say, one by one."""
    write(here / "x.ndjson", mixed_lines())
    code, summary = audit("x.ndjson", capsys=capsys)
    good = [line for number, line in enumerate(mixed_lines(), 1) if line.strip() and number not in BAD_LINES]
    reports = [assessor.assess(parse_request(json.loads(line))) for line in good]
    assert code == BAD_INPUT
    assert summary["stacks"] == len(good) == 37
    assert summary["bad_lines"] == len(BAD_LINES)
    assert {one: count for one, count in summary["verdicts"].items() if count} == Counter(
        report.verdict for report in reports
    )
    for name in ("findings", "undecided"):
        told = {one["code"]: one["stacks"] for one in summary[name]}
        assert told == Counter(code for report in reports for code in {item.code for item in getattr(report, name)})
        assert all(one["title"] == assessor.book.rule(one["code"]).title for one in summary[name])
    known = [
        p95_um for report in reports if report.runout.planes and (p95_um := quantile(report, "gauge_plane")) is not None
    ]
    assert sum(one["stacks"] for one in summary["runout_histogram"]) == len(known) > 0
    assert summary["runout_not_known"] == len(reports) - len(known) > 0
    for one in summary["runout_histogram"]:
        end = one["to_um"] or float("inf")
        assert one["stacks"] == sum(one["from_um"] <= value < end for value in known)


def test_answers_keep_the_order_of_the_lines(here: Path, capsys: Any) -> None:
    """One answer a line that is not blank, numbered by its line; bad lines among them, the summary behind."""
    write(here / "x.ndjson", mixed_lines())
    audit("x.ndjson", "--out", "o.ndjson", capsys=capsys)
    *answers, last = records(here / "o.ndjson")
    assert [one["line"] for one in answers] == [1, 2, *range(4, len(mixed_lines()) + 1)]
    assert {one["line"] for one in answers if "problem" in one} == set(BAD_LINES)
    assert set(last) == {"summary"}
    assert all(one["library"] == "x.ndjson" for one in answers)


def test_every_way_of_working_gives_the_same_bytes(here: Path) -> None:
    """In this process or in one or two others: the outputs do not differ by a byte."""
    write(here / "x.ndjson", mixed_lines() * 2)
    seen = set()
    for run, workers in enumerate(([], ["--workers", "1"], ["--workers", "2"])):
        outs = [f"{run}.{kind}" for kind in ("ndjson", "csv", "html", "xml")]
        main(["audit", "x.ndjson", "--quiet", *workers, *(word for out in outs for word in ("--out", out))])
        seen.add(tuple((here / out).read_bytes() for out in [*outs, f"{run}.summary.csv"]))
    assert len(seen) == 1


def test_references_and_definitions_judge_as_components_in_place(here: Path, capsys: Any) -> None:
    """A library with definitions in front has the verdicts of the one in which every stack holds its parts."""
    counted = []
    for style in ("inline", "references"):
        write(here / f"{style}.ndjson", library_lines(60, 5, style))
        counted.append(audit(f"{style}.ndjson", capsys=capsys))
    (code, inline), (other_code, references) = counted
    assert code == other_code
    for name in ("verdicts", "findings", "undecided", "runout_histogram"):
        assert inline[name] == references[name]


@pytest.mark.parametrize("form", ["list", "stacks", "one each", "shared"])
def test_documents_judge_as_lines(here: Path, form: str, capsys: Any) -> None:
    """A list, a batch with or without shared parts, and a file each, count as the same stacks in lines."""
    lines = stacks(12)
    write(here / "x.ndjson", lines)
    _, expected = audit("x.ndjson", capsys=capsys)
    values = [json.loads(line) for line in lines]
    folder = here / "folder"
    folder.mkdir()
    if form == "one each":
        for number, value in enumerate(values):
            (folder / f"{number:02}.json").write_text(json.dumps(value, indent=2))
    elif form == "shared":
        components = {f"part-{number}": value["stack"]["components"][0] for number, value in enumerate(values)}
        for number, value in enumerate(values):
            value["stack"]["components"][0] = {"kind": "reference", "of": {"from": "request", "key": f"part-{number}"}}
        (folder / "all.json").write_text(json.dumps({"components": components, "stacks": values}))
    else:
        (folder / "all.json").write_text(json.dumps(values if form == "list" else {"stacks": values}))
    _, summary = audit("folder", capsys=capsys)
    for name in ("stacks", "verdicts", "findings", "undecided", "runout_histogram"):
        assert summary[name] == expected[name]


def test_a_folder_is_read_in_the_order_of_names(here: Path, capsys: Any) -> None:
    """All of its libraries below it, neither other files nor hidden ones; each begins without definitions."""
    folder = here / "shop"
    (folder / "b").mkdir(parents=True)
    (folder / ".hidden").mkdir()
    for name in ("z.ndjson", "b/y.jsonl", "a.ndjson", ".hidden/no.ndjson"):
        write(folder / name, stacks(60)[:2])
    (folder / "README.md").write_text("no library")
    code, summary = audit("shop", "--out", "shop/o.ndjson", capsys=capsys)
    assert [one["library"] for one in summary["libraries"]] == ["shop/a.ndjson", "shop/b/y.jsonl", "shop/z.ndjson"]
    again = audit("shop", "--out", "shop/o.ndjson", capsys=capsys)
    assert again == (code, summary)  # its own output is no library


def test_definitions_end_with_their_library(here: Path, capsys: Any) -> None:
    """A reference to what only the library before defines is a finding."""
    first, second = here / "1.ndjson", here / "2.ndjson"
    write(first, list(library_lines(2, 1, "references")))
    write(second, list(library_lines(2, 1, "references"))[-1:])
    _, summary = audit("1.ndjson", "2.ndjson", capsys=capsys)
    assert {one["code"]: one["stacks"] for one in summary["findings"]}["REF-010"] == 1


def test_lines_come_from_standard_input(here: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """- is a library of lines."""
    write(here / "x.ndjson", stacks(60)[:3])
    _, expected = audit("x.ndjson", capsys=capsys)
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=io.BytesIO(b"".join(stacks(60)[:3]))))
    _, summary = audit("-", "--workers", "1", capsys=capsys)
    assert summary["libraries"][0]["library"] == "standard input"
    assert (summary["distinct_parts"], expected["distinct_parts"]) == (None, 7)  # it cannot be read once more
    passed_over = {"libraries": 0, "worst": 0, "distinct_parts": 0, "parts": 0}
    assert summary | passed_over == expected | passed_over


def test_an_endless_line_is_one_bad_line(here: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """A line beyond the limit is answered with a problem, and the lines around it keep their numbers."""
    monkeypatch.setattr(library_files, "MAX_LINE_BYTES", 20_000)
    lines = [*stacks(60)[:2], b" " * 200_000 + b"\n", stacks(60)[2]]
    write(here / "x.ndjson", lines)
    audit("x.ndjson", "--out", "o.ndjson", capsys=capsys)
    *answers, _ = records(here / "o.ndjson")
    assert [(one["line"], "problem" in one) for one in answers] == [(1, False), (2, False), (3, True), (4, False)]
    assert "more than 20000 bytes" in answers[2]["problem"]["detail"]


@pytest.mark.parametrize(
    ("verdicts", "fail_on", "code"),
    [
        ("pass", "review", 0),
        ("pass review", "review", 1),
        ("pass review", "fail", 0),
        ("pass review fail", "review", 2),
        ("pass review fail", "fail", 2),
        ("pass bad", "fail", BAD_INPUT),
        ("fail bad", "review", BAD_INPUT),
        ("nothing", "review", BAD_INPUT),
    ],
)
def test_the_exit_code_is_the_gravest(
    here: Path, assessor: Assessor, verdicts: str, fail_on: str, code: int, capsys: Any
) -> None:
    """Worst verdict, as far as it counts; a bad line is worse than any, and no stack at all is bad input."""
    lines = {assessor.assess(parse_request(json.loads(line))).verdict: line for line in stacks(60)}
    lines |= {"bad": b"{}\n", "nothing": b"\n"}  # type: ignore[dict-item]
    write(here / "x.ndjson", [lines[word] for word in verdicts.split()])  # type: ignore[index]
    assert main(["audit", "x.ndjson", "--fail-on", fail_on]) == code
    told = capsys.readouterr().err
    assert ("no stack" in told) == (verdicts == "nothing")


def test_a_fault_of_the_program_outweighs_all(here: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """A stack the program fails on is a bad line, counted as a fault, and the exit code says so."""
    monkeypatch.setattr(Assessor, "assess", lambda *_: 1 // 0)
    write(here / "x.ndjson", stacks(60)[:2])
    assert main(["audit", "x.ndjson", "--json"]) == FAULT
    summary = json.loads(capsys.readouterr().out)
    assert (summary["faults"], summary["bad_lines"], summary["stacks"]) == (2, 2, 0)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["absent.ndjson"], "absent.ndjson: No such file or directory"),
        (["x.txt"], "x.txt: not an .ndjson, .jsonl or .json file"),
        (["empty"], "no library (.ndjson, .jsonl, .json) in empty"),
        (["x.ndjson", "x.ndjson"], "x.ndjson is named more than once"),
        (["x.ndjson", "--out", "x.ndjson"], "the output would overwrite this library"),
        (["x.ndjson", "--out", "o.pdf"], "must end in .ndjson, .html, .xml, .csv"),
        (["x.ndjson", "--out", "o.csv", "--out", "./o.csv"], "--out and --resume must name"),
        (["x.ndjson", "--out", "o.csv", "--out", "o.summary.csv"], "--out and --resume must name"),
        (["x.ndjson", "--out", "no/o.csv"], "no/o.csv: No such file or directory"),
        (["-", "--resume", "s"], "--resume needs files"),
        (["large.json"], "large.json: more than 0 MiB"),
    ],
)
def test_what_can_t_be_audited_is_said(
    here: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], told: str, capsys: Any
) -> None:
    """Before anything is judged or written, and with the code for bad input; the library stays as it was."""
    monkeypatch.setattr(libraries, "MAX_DOCUMENT_BYTES", 100)
    write(here / "x.ndjson", stacks(60)[:1])
    write(here / "large.json", stacks(60)[:1])
    (here / "empty").mkdir()
    assert main(["audit", *arguments]) == BAD_INPUT
    assert told in capsys.readouterr().err
    assert (here / "x.ndjson").read_bytes() == stacks(60)[0]


@pytest.mark.parametrize("workers", ["0", "-1", "two", "1.5"])
def test_workers_are_counted(workers: str, capsys: Any) -> None:
    """Anything but a whole number from 1 on is refused as a wrong command."""
    with pytest.raises(SystemExit) as left:
        main(["audit", "x.ndjson", "--workers", workers])
    assert left.value.code == BAD_INPUT
    assert "whole number" in capsys.readouterr().err


def test_the_text_tells_the_same_figures(here: Path, capsys: Any) -> None:
    """Counts, titles, bins, the worst and the bad lines stand in the text for people."""
    write(here / "x.ndjson", mixed_lines())
    _, summary = audit("x.ndjson", capsys=capsys)
    main(["audit", "x.ndjson"])
    text = " ".join(capsys.readouterr().out.split())
    assert text.startswith("37 stacks judged, 2 invalid lines")
    for one in summary["findings"] + summary["undecided"]:
        assert f"{one['stacks']} {one['code']} {one['severity']}: {one['title']}" in text
    assert f"{summary['worst'][0]['verdict']} {summary['worst'][0]['stack']} (x.ndjson, line" in text
    assert "x.ndjson, line 9: /stack/components too few" in text


def test_the_demo_stacks_can_be_audited(here: Path, capsys: Any) -> None:
    """The shop's own folder is a library: as many stacks as files."""
    demo = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"
    shutil.copytree(demo, here / "stacks")
    code, summary = audit("stacks", capsys=capsys)
    assert summary["stacks"] == len(list(demo.glob("*.json")))
    assert code == 2
    assert code != INTERRUPTED
