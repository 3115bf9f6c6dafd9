"""The work instruction on one sheet: what it repeats of the report, and how it is asked for."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from rules.analysis import StackAnalysis
from rules.assembly.instruction import RELEASED_BY
from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import parse_request
from rules.schema.report import STATES, Report
from service.cli.main import main
from service.sheets.page import report_page
from service.sheets.sheet import sheet_page
from tests.support.pages import by_id, loose_numbers, parsed, words
from tests.support.stacks import assessor

DEMO = Path(__file__).parents[2] / "demo_data/stacks"
STACKS = [*(file.stem for file in sorted(DEMO.glob("*.json"))), *base_names()]


QUANTITIES = ("grip length", "projection", "tightening torque", "clocking")


GOLDEN = [
    "Joint | Clean | Depth, mm | Stick-out, mm | Torque, N·m | Clocking, ° | Done | Reading after",
    "gauge spindle | 1 | – | – | – | – |  | ",
    "extension/collet-2 | 4 | – | – | 41 to 61* | – |  | ",
    "collet-2/end-mill | 5 | 36 ± 0.5* | 27 ± 0.5* | – | – |  | ",
    "holder/collet-1 | 2 | – | – | 122 to 149* | – |  | ",
    "collet-1/extension | 3 | 50 ± 0.5* | 80 ± 0.5* | – | – |  | µm at °median 21.2, p95 31.7; limit 9.6 µm",
]
"""The table of a collet extension in a collet."""


def _request(name: str) -> dict[str, Any]:
    file = DEMO / f"{name}.json"
    request: dict[str, Any] = json.loads(file.read_bytes()) if file.is_file() else base_request(name)
    return request


@cache
def _instructed(name: str) -> tuple[Report, StackAnalysis]:
    return assessor().assess_instructed(parse_request(_request(name)))


@cache
def _sheet(name: str) -> tuple[Report, str]:
    report, derived = _instructed(name)
    return report, sheet_page(report, derived)


def _words(page: str) -> str:
    (body,) = parsed(page).iter("body")
    return words(body)


def _joints(page: str) -> list[list[str]]:
    """Return the cells of the table of joints; none without it."""
    tables = [one for one in parsed(page).iter("table") if one.get("class") == "joints"]
    return [[words(cell) for cell in row] for one in tables for row in one.iter("tr")]


@pytest.mark.parametrize("name", STACKS)
def test_head_cautions_and_record(name: str) -> None:
    """State, revision, machine, operation, each caution once, each blank, the digests; nothing releases but 'build'."""
    report, _ = _sheet(name)
    said = _words(_sheet(name)[1])
    assembly = report.assembly
    assert assembly is not None
    assert said.startswith(f"{STATES[assembly.state].upper()} {report.stack_id}")
    assert f"Revision {assembly.record.instruction_sha256[:12]}" in said
    assert all(f"Operation {one.id}" in said for one in report.operations)
    for caution in report.cautions:
        assert said.count(" ".join(caution.split())) == 1
    assert assembly.record.release in said
    assert assembly.record.request_sha256[:12] in said
    assert assembly.record.judgement_sha256[:12] in said
    assert (RELEASED_BY.capitalize() in said) == (assembly.state == "build")
    assert bool(re.search(r"\baccept\b|[Ss]ignature", said, re.IGNORECASE)) == (assembly.state == "build")
    assert "/stack" not in said
    for one in assembly.record.blanks:
        if one.group in ("part", "instrument", "uncertainty", "signature"):
            assert one.name.capitalize() in said
            assert one.component is None or f"Serial number {one.component}" in said
    if assembly.state == "do_not_build":
        assert "Measure" not in said
        assert [one for one in report.findings if one.severity == "error" and one.remedy not in said][5:] == []
    else:
        assert assembly.acceptance is not None
        assert " ".join(assembly.acceptance.rule.split()) in said


@pytest.mark.parametrize("name", STACKS)
def test_table_of_joints(name: str) -> None:
    """A row for the gauge spindle and for each joint in the order of the work, its settings those of the record."""
    report, page = _sheet(name)
    assembly = report.assembly
    assert assembly is not None
    _, *rows = _joints(page) or [[]]
    if assembly.state == "do_not_build":
        assert not rows
        return
    made = list(dict.fromkeys(str(step.joint) for step in assembly.steps if step.action == "join"))
    assert [row[0] for row in rows] == ["gauge spindle", *made]
    assert sorted(int(row[1]) for row in rows) == list(range(1, len(rows) + 1))
    for row in rows[1:]:
        blanks = {one.name: one for one in assembly.record.blanks if str(one.joint) == row[0]}
        for cell, quantity in zip(
            row[2:6], ("grip length", "projection", "tightening torque", "clocking"), strict=True
        ):
            blank = blanks.get(quantity)
            if blank is None:
                assert cell in ("–", "by the maker")
                continue
            shown = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", cell.replace("−", "-"))]
            told = [blank.target, blank.tolerance, blank.inches]
            told = told if blank.target is not None else [blank.at_least, blank.at_most]
            assert shown == pytest.approx([one for one in told if one is not None])
            assert cell.endswith("*") == (blank.source is not None)
        assert ("µm at" in row[7]) == ("reading after this joint" in blanks)


def test_golden_row() -> None:
    """A collet extension in a collet: its tool first, then the extension; torques of common practice are marked."""
    rows = [" | ".join(row) for row in _joints(_sheet("03-deep-rib-nut-collets")[1])]
    assert rows == GOLDEN


@pytest.mark.parametrize("name", STACKS)
def test_no_number_comes_from_elsewhere(name: str) -> None:
    """Numbers beside the figures are words of the report or of the request."""
    report, page = _sheet(name)
    told = set(re.findall(r"\d+(?:[.,]\d+)*", report.model_dump_json() + json.dumps(_request(name))))
    told |= {str(number) for number in range(1, 30)}  # order of cleaning
    record = report.assembly.record if report.assembly is not None else None
    assert record is not None
    digests = (record.instruction_sha256, record.request_sha256, record.judgement_sha256)
    told |= {part for one in digests for part in re.findall(r"\d+", one + " " + one[:12])}
    assert loose_numbers(parsed(page)) - told <= {"95"}


@pytest.mark.parametrize(
    ("stated", "told"), [("1 1/2 in", "38.1 ± 0.5 (1.5 in)*"), (38.1, "38.1 ± 0.5*")], ids=["inch", "mm"]
)
def test_inches_on_the_sheet(stated: Any, told: str) -> None:
    """Inches stand beside the millimetres where they were stated."""
    request = base_request("nut_collet")
    joint = next(one for one in request["stack"]["joints"] if one["lower"] == "end-mill")
    joint["grip_length_mm"] = stated
    report, derived = assessor().assess_instructed(parse_request(request))
    assert told in _words(sheet_page(report, derived))


def test_a_stack_with_an_undefined_part_has_a_sheet() -> None:
    """Nothing is known of it, and the sheet says not to build it."""
    request = base_request("press_in")
    request["stack"]["components"][1] = {"kind": "reference", "of": {"from": "request", "key": "no"}, "id": "collet-1"}
    report, derived = assessor().assess_instructed(parse_request(request))
    assert _words(sheet_page(report, derived)).startswith("DO NOT BUILD")


def test_over_http(client: Any) -> None:
    """The query parameter selects it, for HTML alone; the digest is that of the same request without it."""
    request = _request("01-deep-rib-shrink-extension")
    answer = client.request("POST", "/v1/checks?page=sheet", json=request, headers={"Accept": "text/html"})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.text == _sheet("01-deep-rib-shrink-extension")[1]
    plain = client.request("POST", "/v1/checks", json=request).json()
    assert plain["provenance"]["request_sha256"][:12] in answer.text
    assert client.request("POST", "/v1/checks?page=sheet", json=request).text == answer.text
    assert client.request("POST", "/v1/checks?page=report", json=request).json() == plain
    for accept in ("application/json", "text/plain"):
        assert (
            client.request("POST", "/v1/checks?page=sheet", json=request, headers={"Accept": accept}).status_code == 406
        )
    for query in ("page=poster", "sheet=1", "page=sheet&page=sheet"):
        refused = client.request("POST", f"/v1/checks?{query}", json=request)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["parameter"] in ("page", "sheet")
    assert client.request("POST", "/v1/budgets?page=sheet", json=request).status_code == 422
    assert client.request("POST", "/v1/checks?page=sheet", json={}).status_code == 422


@pytest.mark.parametrize(
    ("query", "include", "printed"),
    [
        ("", None, "report front-alone"),
        ("?page=report", ["assembly"], "report front-alone"),
        ("?page=details", None, "report without-instruction"),
        ("?page=details", ["findings", "assembly"], "report"),
        ("?page=instruction", None, "instruction-alone"),
    ],
)
def test_what_is_printed(client: Any, query: str, include: list[str] | None, printed: str) -> None:
    """One sheet unless the details are asked for, and the instruction with them only if the request includes it."""
    request = _request("01-deep-rib-shrink-extension") | ({} if include is None else {"include": include})
    answer = client.request("POST", f"/v1/checks{query}", json=request, headers={"Accept": "text/html"})
    tree = parsed(answer.text)
    assert [one.get("class") for one in tree.iter("body")] == [printed]
    assert by_id(tree, "record") is not None


@pytest.mark.parametrize("name", STACKS)
def test_the_front_of_the_report_is_complete(name: str) -> None:
    """The first sheet has verdict, joints, reading, cautions and what to sign, as the work sheet has them."""
    report, sheet = _sheet(name)
    page = report_page(*_instructed(name))
    assert _joints(page) == _joints(sheet)
    front = by_id(parsed(page), "front")
    assert front is not None
    said = words(front)
    assembly = report.assembly
    assert assembly is not None
    assert said.startswith(f"{report.verdict.upper()} {report.stack_id}")
    assert [one for one in report.cautions if " ".join(one.split()) not in said] == []
    assert [
        one.name for one in assembly.record.blanks if one.group == "signature" and one.name.capitalize() not in said
    ] == []
    assert assembly.acceptance is None or " ".join(assembly.acceptance.rule.split()) in said
    must = [one for one in report.findings if one.severity in ("error", "warning")]
    assert [one for one in must[:5] if " ".join(one.remedy.split()) not in said] == []


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Report and sheet are written beside each other."""
    report, sheet = tmp_path / "report.html", tmp_path / "sheet.html"
    stack = DEMO / "01-deep-rib-shrink-extension.json"
    steps = tmp_path / "steps.html"
    outs = ["--html", str(report), "--sheet", str(sheet), "--instruction", str(steps)]
    assert main(["check", str(stack), *outs, "--unstated", "undecided"]) == 0
    assert '<body class="report front-alone">' in report.read_text(encoding="utf-8")
    assert main(["check", str(stack), "--html", str(report), "--details", "--assembly"]) == 0
    assert '<body class="report">' in report.read_text(encoding="utf-8")
    assert "Work instruction for KB-0101" in steps.read_text(encoding="utf-8")
    assert sheet.read_text(encoding="utf-8") == _sheet(stack.stem)[1]
    assert report.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    capsys.readouterr()
    for wrong in ([str(stack), "--sheet", str(sheet)], ["--details"]):
        with pytest.raises(SystemExit):
            main(["check", str(stack), *wrong])
    assert main(["check", str(stack), "--sheet", str(tmp_path / "no" / "folder.html")]) == 3


@pytest.mark.parametrize("name", STACKS)
def test_front_and_sheet_are_signed_in_the_same_words(name: str) -> None:
    """Heading, state, what it releases and every blank of the signature."""
    report, derived = assessor().assess_instructed(parse_request(_request(name)))
    assert report.assembly is not None
    signed = sum(one.group == "signature" for one in report.assembly.record.blanks)
    told = []
    for page in (sheet_page(report, derived), report_page(report, derived)):
        (section,) = [one for one in parsed(page).iter("section") if one.get("class") == "record"]
        blanks = [words(one) for one in section.iter("div")]
        told.append((words(section.find("h2")), words(section.find("p")), blanks[len(blanks) - signed :]))
    assert told[0] == told[1]
    assert len(told[0][2]) == signed
