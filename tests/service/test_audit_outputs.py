"""The output files of an audit are readable by other programs and agree with each other."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import junitparser
import pytest

from rules.assessor import Assessor
from service.audit.outputs import HEAD, SUMMARY_HEAD, CsvOutput, JunitOutput
from service.audit.page import page
from service.audit.tally import Tally
from service.batch.lines import problem_answer
from service.cli.main import main
from service.operations.problems import ProblemError
from tests.support.audits import BAD_LINES, fake_answer, mixed_lines, records, write
from tests.support.stacks import quantile

UGLY = "=cmd|' /C x'!A0 <script>\u0007&\ufffe\"\n]]>"
"""What no file should be disturbed by: formula, markup, characters that XML forbids."""


@pytest.fixture(scope="module")
def outs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every output of one audit."""
    folder = tmp_path_factory.mktemp("outs")
    library = write(folder / "x.ndjson", mixed_lines())
    names = [str(folder / f"o.{kind}") for kind in ("ndjson", "csv", "html", "junit.xml")]
    main(["audit", str(library), "--quiet", *(word for name in names for word in ("--out", name))])
    return folder


@pytest.fixture(scope="module")
def answers(outs: Path) -> list[dict[str, Any]]:
    """The answers of that audit."""
    return records(outs / "o.ndjson")[:-1]


@pytest.fixture(scope="module")
def summary(outs: Path) -> dict[str, Any]:
    """The summary of that audit."""
    found: dict[str, Any] = records(outs / "o.ndjson")[-1]["summary"]
    return found


def ugly_tally(assessor: Assessor) -> Tally:
    """A tally in which every text from outside is ugly."""
    tally = Tally(assessor.book, None, [UGLY, "b"])
    tally.add(0, fake_answer(1, verdict="fail", codes=("GRIP-010",), stack=UGLY))
    tally.add(1, problem_answer(2, ProblemError("invalid-request", UGLY)))
    return tally


def test_junit_reads_back(outs: Path, answers: list[dict[str, Any]], summary: dict[str, Any]) -> None:
    """A case a line, in order: failure for a failed stack, skipped where undecided, error for a bad line."""
    (suite,) = junitparser.JUnitXml.fromfile(str(outs / "o.junit.xml"))
    cases = list(suite)
    assert len(cases) == len(answers) == suite.tests
    kinds = {"failure": 0, "skipped": 0, "error": 0}
    for case, answer in zip(cases, answers, strict=True):
        results = [str(one._tag) for one in case.result]
        report = answer.get("report")
        if report is None:
            expected = ["error"]
        elif report["verdict"] == "fail":
            expected = ["failure"]
            assert all(
                one["message"] in case.result[0].text for one in report["findings"] if one["severity"] == "error"
            )
        elif report["undecided"]:
            expected = ["skipped"]
            fields = [field for gap in report["undecided"] for lack in gap["lacks"] for field in lack["at"]]
            assert all(field in case.result[0].text for field in fields)
        else:
            expected = []
        assert results == expected
        for kind in results:
            kinds[kind] += 1
        assert case.name == (report["stack_id"] if report else f"line {answer['line']}")
        warned = [one["code"] for one in report["findings"] if one["severity"] == "warning"] if report else []
        assert all(code in (case.system_out or case.result[0].text) for code in warned)
    assert (suite.failures, suite.skipped, suite.errors) == (kinds["failure"], kinds["skipped"], kinds["error"])
    assert all(kinds.values())
    assert f"{summary['stacks']} stacks judged" in (outs / "o.junit.xml").read_text("utf-8")


def test_csv_reads_back(outs: Path, answers: list[dict[str, Any]]) -> None:
    """A row an answer under one head, lines ended as RFC 4180 wants, numbers as they stand in the report."""
    data = (outs / "o.csv").read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == len(answers) + 1
    rows = list(csv.DictReader(io.StringIO(data.decode(), newline="")))
    assert tuple(rows[0]) == HEAD
    for row, answer in zip(rows, answers, strict=True):
        report = answer.get("report")
        assert int(row["line"]) == answer["line"]
        assert (row["problem"] == "") == (report is not None)
        if report is None:
            assert row["verdict"] == "not judged"
            continue
        assert (row["stack"], row["verdict"]) == (report["stack_id"], report["verdict"])
        assert row["findings"].split() == list(dict.fromkeys(one["code"] for one in report["findings"]))
        assert row["undecided"].split() == list(dict.fromkeys(one["code"] for one in report["undecided"]))
        if report["runout"]["complete"]:
            assert float(row["gauge_plane_p95_um"]) == quantile(report, "gauge_plane")


def test_csv_figures_read_back(outs: Path, summary: dict[str, Any]) -> None:
    """Beside the table lie the figures of the summary, in a table of their own."""
    rows = list(csv.DictReader(io.StringIO((outs / "o.summary.csv").read_text("utf-8"), newline="")))
    assert tuple(rows[0]) == SUMMARY_HEAD
    told = {(row["group"], row["key"]): row["stacks"] for row in rows}
    assert {word: int(told["verdict", word]) for word in ("pass", "review", "fail")} == summary["verdicts"]
    assert all(int(told["finding", one["code"]]) == one["stacks"] for one in summary["findings"])
    assert all(int(told["undecided", one["code"]]) == one["stacks"] for one in summary["undecided"])
    assert sum(int(row["stacks"]) for row in rows if row["group"] == "runout p95 um") == summary["stacks"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_formula_is_defused(tmp_path: Path, text: str) -> None:
    """A text that a spreadsheet would work out gets an apostrophe in front, and nothing else changes."""
    output = CsvOutput(tmp_path / "o.csv")
    output.begin()
    output.add(text, fake_answer(1, stack=text))
    output.close()
    row = list(csv.reader(io.StringIO((tmp_path / "o.csv").read_bytes().decode(), newline="")))[1]
    assert row == [f"'{text}", "1", f"'{text}", "pass", "", "", "8.0", "", ""]


def test_html_is_valid_and_needs_nothing_else(outs: Path, summary: dict[str, Any]) -> None:
    """A strict parser of HTML finds no fault; no script, nothing to fetch; every table has heads, the drawing words."""
    html5lib = pytest.importorskip("html5lib")
    text = (outs / "o.html").read_text("utf-8")
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
    assert not re.search(r"<script|<link|<img|<iframe|\bsrc=|\bhref=|url\(|@import|\bon\w+=", text)
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(head.get("scope") == "col" for head in table.find("thead").iter("th"))
        assert all(row.find("th").get("scope") == "row" for row in table.find("tbody").iter("tr"))
    (drawing,) = (one for one in tree.iter() if str(one.tag).endswith("svg"))
    assert drawing.get("role") == "img"
    names = {one.get("id") for one in tree.iter() if one.get("id")}
    assert set(drawing.get("aria-labelledby").split()) <= names
    assert tree.get("lang") == "en"
    tables = {table.find("caption").text: table for table in tree.iter("table")}
    rows = [["".join(cell.itertext()) for cell in row] for table in tables.values() for row in table.iter("tr")]
    for one in summary["findings"] + summary["undecided"]:
        assert [one["code"], one["severity"], one["title"], str(one["stacks"])] in rows
    for one in summary["worst"]:
        assert any(row[0] == one["stack"] and row[1].endswith(f"line {one['line']}") for row in rows)
    assert sum(line in row[0] for line in ("line 5", "line 9") for row in rows) == len(BAD_LINES)


def _luminance(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in channels]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_html_has_contrast(outs: Path) -> None:
    """Literature: every colour of text has at least 4.5 : 1 on white (WCAG 2.2, success criterion 1.4.3)."""
    style = (outs / "o.html").read_text("utf-8").split("</style>")[0]
    variables = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    colours = re.findall(r"(?<![-\w])(?:color|fill): (?:var\(--(\w+)\)|(#[0-9a-f]{6}))", style)
    texts = {variables.get(name, plain) for name, plain in colours}
    assert len(texts) >= 5
    assert all((1.05) / (_luminance(colour) + 0.05) >= 4.5 for colour in texts)


def test_ugly_texts_do_no_harm(tmp_path: Path, assessor: Assessor) -> None:
    """Names and details from outside stay text: in XML, in HTML and in tables."""
    html5lib = pytest.importorskip("html5lib")
    tally = ugly_tally(assessor)
    output = JunitOutput(tmp_path / "o.xml")
    output.begin()
    output.add(UGLY, problem_answer(2, ProblemError("invalid-request", UGLY)))
    output.finish(tally.summary())
    output.close()
    (suite,) = junitparser.JUnitXml.fromfile(str(tmp_path / "o.xml"))
    assert "<script>" in next(iter(suite)).result[0].text
    made = page(tally.summary())
    assert "<script" not in made
    tree = html5lib.HTMLParser(namespaceHTMLElements=False).parse(made)
    assert "<script>" in "".join(tree.itertext())


def test_an_empty_audit_is_still_readable(tmp_path: Path, assessor: Assessor) -> None:
    """No stack, no bin filled: every output is whole."""
    library = write(tmp_path / "x.ndjson", [b"\n"])
    names = [str(tmp_path / f"o.{kind}") for kind in ("ndjson", "csv", "html", "xml")]
    main(["audit", str(library), "--quiet", *(word for name in names for word in ("--out", name))])
    assert records(Path(names[0]))[0]["summary"]["stacks"] == 0
    (suite,) = junitparser.JUnitXml.fromfile(names[3])
    assert suite.tests == 0
    assert "0 stacks judged" in Path(names[2]).read_text()
    assert Tally(assessor.book, None, []).summary().stacks == 0
