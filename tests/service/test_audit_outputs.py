"""The output files of an audit are readable by other programs and agree with each other."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import zlib
from pathlib import Path
from typing import Any

import junitparser
import pytest

from rules.assessor import Assessor
from service.audit.outputs import FINDINGS_HEAD, HEAD, SUMMARY_HEAD, CsvOutput, JunitOutput
from service.audit.page import HtmlOutput, page
from service.audit.tally import Tally
from service.batch.lines import problem_answer
from service.cli.main import main
from service.operations.problems import ProblemError
from tests.support.audits import BAD_LINES, check_sarif, fake_answer, mixed_lines, records, write
from tests.support.stacks import quantile

pytestmark = pytest.mark.usefixtures("judged_once")

UGLY = "=cmd|' /C x'!A0 <script>\u0007&\ufffe\"\n]]>"
"""What no file should be disturbed by: formula, markup, characters that XML forbids."""


@pytest.fixture(scope="module")
def outs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every output of one audit."""
    folder = tmp_path_factory.mktemp("outs")
    library = write(folder / "x.ndjson", mixed_lines())
    names = [str(folder / f"o.{kind}") for kind in ("ndjson", "csv", "html", "junit.xml", "sarif")]
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


def _rows_of(page: str, name: str) -> list[Any]:
    packed = re.findall(rf'"{name}":"([^"]*)"', page)
    return [one for text in packed for one in json.loads(zlib.decompress(base64.b64decode(text), -zlib.MAX_WBITS))]


def test_the_page_has_every_stack(outs: Path, answers: list[dict[str, Any]]) -> None:
    """A row an answer in order, with its findings and parts, and the sections of its report."""
    text = (outs / "o.html").read_text("utf-8")
    rows, reports = _rows_of(text, "rows"), _rows_of(text, "reports")
    assert len(rows) == len(reports) == len(answers)
    for row, sections, answer in zip(rows, reports, answers, strict=True):
        report = answer.get("report")
        assert row[1] == answer["line"]
        if report is None:
            assert (row[3], sections) == ("not judged", None)
            continue
        p95_um = quantile(report, "gauge_plane") if report["runout"]["planes"] else None
        assert (row[2], row[3], row[6]) == (report["stack_id"], report["verdict"], p95_um)
        assert [one[1] for one in row[8]] == [one["code"] for one in report["findings"] + report["undecided"]]
        assert {one[0] for one in sections} >= {"Stack", "Runout", "Mass"}
        assert all(part.startswith("KB-") for part in row[7])


def test_the_table_of_findings_has_message_part_and_severity(outs: Path, answers: list[dict[str, Any]]) -> None:
    """A row a finding, with the words and numbers of the report."""
    rows = list(csv.DictReader(io.StringIO((outs / "o.findings.csv").read_bytes().decode(), newline="")))
    assert tuple(rows[0]) == FINDINGS_HEAD
    by_line: dict[int, list[dict[str, str]]] = {}
    for row in rows:
        if row["line"]:
            by_line.setdefault(int(row["line"]), []).append(row)
    for answer in answers:
        found = by_line.get(answer["line"], [])
        report = answer.get("report")
        if report is None:
            assert [one["kind"] for one in found] == ["not judged"]
            continue
        decided = [one for one in found if one["kind"] == "finding"]
        for row, one in zip(decided, report["findings"], strict=True):
            assert (row["code"], row["severity"], row["message"]) == (one["code"], one["severity"], one["message"])
            assert row["at"].split() == one["at"]
        assert [one["code"] for one in found if one["kind"] == "undecided"] == [
            one["code"] for one in report["undecided"]
        ]
    assert all(one["part_number"].startswith("KB-") for one in rows if one["component"])
    assert all(re.fullmatch("[0-9a-f]{64}", one["fingerprint"]) for one in rows if one["kind"] != "not judged")


def test_sarif_is_what_the_standard_permits(outs: Path, answers: list[dict[str, Any]], tmp_path: Path) -> None:
    """A result for each finding and undecided rule, with rule, place and level; invalid lines are notifications."""
    log = json.loads((outs / "o.sarif").read_text("utf-8"))
    check_sarif(log)
    (run,) = log["runs"]
    of_stacks = [one for one in run["results"] if one["properties"]["stack"] is not None]
    told = [
        (answer["line"], one["code"], "lacks" not in one)
        for answer in answers
        if "report" in answer
        for one in answer["report"]["findings"] + answer["report"]["undecided"]
    ]
    places = [one["locations"][0]["physicalLocation"]["region"]["startLine"] for one in of_stacks]
    assert [(place, one["ruleId"], one["kind"] == "fail") for place, one in zip(places, of_stacks, strict=True)] == told
    assert log["$schema"].startswith("https://docs.oasis-open.org/sarif/sarif/v2.1.0/")
    assert {one["ruleId"] for one in run["results"]} <= {one["id"] for one in run["tool"]["driver"]["rules"]}
    (invocation,) = run["invocations"]
    assert len(invocation["toolExecutionNotifications"]) == len(BAD_LINES)
    assert not any("baselineState" in one for one in run["results"])
    # against itself: states on all results, and a baseline that is named
    library, last = str(outs / "x.ndjson"), str(outs / "o.sarif")
    main(["audit", library, "--quiet", "--against", last, "--out", str(tmp_path / "again.sarif")])
    again = json.loads((tmp_path / "again.sarif").read_text("utf-8"))
    check_sarif(again)
    assert {one["baselineState"] for one in again["runs"][0]["results"]} == {"unchanged"}
    assert "baselineGuid" in again["runs"][0]


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
    """A strict parser of HTML finds no fault; nothing to fetch; every table has heads, each drawing words.

    Scripts are data or the one whose hash the policy names; no element has a handler or a style of its own.
    """
    html5lib = pytest.importorskip("html5lib")
    text = (outs / "o.html").read_text("utf-8")
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
    assert not re.search(r"<link|<img|<iframe|\bsrc=|\bhref=\"[^#]|url\(|@import", text)
    assert not any(name.startswith("on") or name == "style" for one in tree.iter() for name in one.attrib)
    scripts = [one for one in tree.iter("script") if one.get("type") != "application/json"]
    styles = list(tree.iter("style"))
    (policy,) = (one.get("content") for one in tree.iter("meta") if one.get("http-equiv"))
    for (element,), kind in ((scripts, "script"), (styles, "style")):
        digest = base64.b64encode(hashlib.sha256(element.text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(head.get("scope") == "col" for head in table.find("thead").iter("th"))
        assert all(row.find("th").get("scope") == "row" for row in table.find("tbody").iter("tr"))
    drawings = [one for one in tree.iter() if str(one.tag).endswith("svg")]
    named = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(drawings) == 3
    assert all(one.get("role") == "img" and set(one.get("aria-labelledby").split()) <= set(named) for one in drawings)
    assert len(named) == len(set(named))
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
    """Literature: every colour of text has at least 4.5 : 1 on its paper (WCAG 2.2, success criterion 1.4.3)."""
    style = (outs / "o.html").read_text("utf-8").split("</style>")[0]
    themes = [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", one)) for one in re.findall(r":root \{([^}]*)\}", style)]
    names = set(re.findall(r"(?<![-\w])(?:color|fill): var\(--(\w+)\)", style))
    assert not re.search(r"(?<![-\w])(?:color|fill): #", style)
    assert len(themes) == 3  # light, dark, print
    assert len(names) >= 5
    for theme in themes:
        paper = _luminance(theme["paper"])
        for name in names & set(theme):
            high, low = sorted((paper + 0.05, _luminance(theme[name]) + 0.05), reverse=True)
            assert high / low >= 4.5, name


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
    whole = HtmlOutput(tmp_path / "o.html", assessor.book)
    whole.begin()
    whole.add("</script><script>alert(1)//", problem_answer(2, ProblemError("invalid-request", UGLY)))
    whole.finish(tally.summary())
    whole.close()
    tree = html5lib.HTMLParser(namespaceHTMLElements=False).parse((tmp_path / "o.html").read_text("utf-8"))
    assert [one.get("id") or one.get("class") for one in tree.iter("script")] == ["stacks", "told", None]


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
