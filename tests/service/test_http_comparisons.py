"""``POST /v1/comparisons`` over HTTP, and the same on the command line."""

from __future__ import annotations

import copy
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from rules.assessor import Assessor
from rules.comparison import compare
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.parsing import parse
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.examples import COMPARISON_EXAMPLES
from service.sheets.questions import print_comparison
from tests.support.operations import change

_SMALL = {"name": "a", "stack": {"components": [{"id": "c", "kind": "collet"}]}}


@pytest.fixture
def comparison() -> dict[str, Any]:
    """The example; a test may change its copy."""
    return copy.deepcopy(dict(COMPARISON_EXAMPLES["extended-or-one-piece"].request))


def _post(client: Any, request: object, content_type: str = "application/json") -> Any:
    body = request if isinstance(request, bytes) else json.dumps(request).encode()
    return client.request("POST", "/v1/comparisons", content=body, headers={"content-type": content_type})


@pytest.mark.parametrize("name", COMPARISON_EXAMPLES)
def test_an_example_is_answered_with_a_report(client: Any, assessor: Assessor, name: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost."""
    request = COMPARISON_EXAMPLES[name].request
    response = _post(client, request)
    assert (response.status_code, response.headers["cache-control"]) == (200, "no-store")
    report = ComparisonReport.model_validate_json(response.content)
    assert report == compare(parse(ComparisonRequest, request), assessor)


def test_the_same_request_gives_the_same_bytes(client: Any, comparison: dict[str, Any]) -> None:
    """Nothing in the answer depends on when it was asked."""
    assert _post(client, comparison).content == _post(client, comparison).content


def test_alternatives_that_all_fail_are_a_good_answer(client: Any, comparison: dict[str, Any]) -> None:
    """200 with the verdicts, as in a check."""
    change(comparison["operations"][0], {"spindle_speed_rpm": 90000})
    response = _post(client, comparison)
    assert response.status_code == 200
    assert {one["verdict"] for one in response.json()["alternatives"]} == {"fail"}


def test_names_used_again_are_a_good_answer(client: Any, comparison: dict[str, Any]) -> None:
    """The schema allows them, so they are numbered and not refused."""
    for one in comparison["alternatives"]:
        one["name"] = "x"
    answer = _post(client, comparison).json()
    assert [one["name"] for one in answer["alternatives"]] == ["x", "x#2", "x#3"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (lambda it: it["alternatives"].__delitem__(slice(1, None)), "/alternatives"),
        (lambda it: it.update(alternatives=[_SMALL] * 51), "/alternatives"),
        (lambda it: it["alternatives"][1].pop("name"), "/alternatives/1"),
        (lambda it: it["alternatives"][1].update(name="a#2"), "/alternatives/1/name"),
        (
            lambda it: it["alternatives"][2]["stack"]["components"][0].update(mass_kg=-1),
            "/alternatives/2/stack/components/0/mass_kg",
        ),
        (lambda it: it.update(stack=it["alternatives"][0]["stack"]), "/stack"),
        (
            lambda it: it.update(policy={"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}),
            "/policy/thresholds/0/code",
        ),
    ],
    ids=["one", "fifty-one", "no name", "numbered name", "mass", "stack", "threshold"],
)
def test_wrong_input_is_pointed_at(client: Any, comparison: dict[str, Any], change: Any, pointer: str) -> None:
    """A problem with the place of the fault, 422."""
    change(comparison)
    response = _post(client, comparison)
    assert (response.status_code, response.headers["content-type"]) == (422, "application/problem+json")
    assert [error["at"] for error in response.json()["errors"]] == [[pointer]]


@pytest.mark.parametrize(
    ("body", "content_type", "status"),
    [(b"{", "application/json", 400), (b"{}", "text/plain", 415), (b" " * 70_000, "application/json", 413)],
)
def test_other_problems_are_those_of_a_check(client: Any, body: bytes, content_type: str, status: int) -> None:
    """Not JSON, not declared as JSON, too much of it."""
    response = _post(client, body, content_type)
    assert (response.status_code, response.headers["content-type"]) == (status, "application/problem+json")


def _file(folder: Path, request: object) -> str:
    file = folder / "comparison.json"
    file.write_text(json.dumps(request, indent=2), encoding="utf-8")
    return str(file)


@pytest.mark.parametrize(
    ("speed", "kept", "code"), [(9000, slice(None), 0), (9000, slice(2, None), 1), (90000, slice(None), 2)]
)
def test_the_exit_code_is_that_of_the_best(
    tmp_path: Path, comparison: dict[str, Any], capsys: Any, speed: float, kept: slice, code: int
) -> None:
    """0 one passes, 1 one asks for review, 2 all fail."""
    change(comparison["operations"][0], {"spindle_speed_rpm": speed})
    comparison["alternatives"] = comparison["alternatives"][kept] * (1 if code != 1 else 2)
    assert main(["compare", _file(tmp_path, comparison)]) == code
    assert capsys.readouterr().err == ""


def test_bad_input_is_told_with_its_place(tmp_path: Path, comparison: dict[str, Any], capsys: Any) -> None:
    """File, line, column, pointer and reason; no table."""
    comparison["alternatives"][1]["stock"] = {}
    file = _file(tmp_path, comparison)
    assert main(["compare", file]) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"{file}:")
    assert "/alternatives/1/stock: unknown field" in printed.err


def test_json_on_the_command_line_is_the_report(
    comparison: dict[str, Any], assessor: Assessor, capsys: Any, monkeypatch: Any
) -> None:
    """One line, read from standard input; what the service answers."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps(comparison).encode())))
    assert main(["compare", "--json", "-"]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert ComparisonReport.model_validate_json(line) == compare(parse(ComparisonRequest, comparison), assessor)


@pytest.mark.parametrize("width", [60, 100])
def test_the_text_leaves_nothing_out(comparison: dict[str, Any], assessor: Assessor, width: int) -> None:
    """Names, verdicts, sentences, chances, notes and cautions are all there, within the width."""
    comparison["alternatives"].append(comparison["alternatives"][0])
    report = compare(parse(ComparisonRequest, comparison), assessor)
    out = io.StringIO()
    print_comparison(report, Console(file=out, width=width, highlight=False))
    lines = out.getvalue().splitlines()
    assert max(map(len, lines)) <= width
    words = " ".join(out.getvalue().split())
    for one in report.alternatives:
        assert f"{one.verdict} {one.name} {one.because}" in words
    for pair in report.reads_less:
        if pair.probability is None:
            assert f"{pair.first} against {pair.second}: not known." in words
        else:
            assert (
                f"{pair.first} has less runout than {pair.second} in {100 * pair.probability:.1f} % of pairs." in words
            )
    for said in (*report.notes, *report.cautions):
        assert said in words


def test_two_fixed_readings_are_told_as_equal(comparison: dict[str, Any], assessor: Assessor) -> None:
    """No chance is printed where both always have the same runout."""
    parts = [part for one in comparison["alternatives"] for part in one["stack"]["components"]]
    for part in (*parts, *comparison["components"].values()):
        if part["kind"] not in ("retention_knob", "reference"):
            part["runout"] = {"statements": [{"tir_um": 0, "at_mm": 0}]}
    report = compare(parse(ComparisonRequest, comparison), assessor)
    out = io.StringIO()
    print_comparison(report, Console(file=out, width=100, highlight=False))
    assert "always have the same runout." in out.getvalue()
