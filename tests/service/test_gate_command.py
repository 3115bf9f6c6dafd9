"""The command ``gate``: exit codes, text and JSON."""

from __future__ import annotations

import argparse
import copy
import io
import json
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from rules.assessor import Assessor
from rules.gate.gate import gate
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import parse
from service.cli.files import BAD_INPUT, VERDICT_CODES
from service.cli.questions import DECISION_CODES, MAY_NOT_START, gate_arguments
from service.examples import GATE_EXAMPLES
from service.sheets.figures import missing_words
from service.sheets.orders import print_gate
from tests.support.operations import change, drop
from tests.support.orders import order_of


@pytest.fixture
def order() -> dict[str, Any]:
    """The example; a test may change its copy."""
    return copy.deepcopy(dict(GATE_EXAMPLES["one-operation-held"].request))


def _run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    gate_arguments(parser)
    chosen = parser.parse_args(arguments)
    code: int = chosen.run(chosen)
    return code


def _file(folder: Path, request: object) -> str:
    file = folder / "order.json"
    file.write_text(json.dumps(request, indent=2), encoding="utf-8")
    return str(file)


@pytest.mark.parametrize(
    ("speed", "kept", "code", "first"),
    [
        (9000, slice(1), 0, "RELEASE  KB-WO-0001, revision A"),
        (9000, slice(2), 1, "HOLD  KB-WO-0001, revision A"),
        (90000, slice(2), 2, "STOP  KB-WO-0001, revision A"),
    ],
)
def test_the_exit_code_is_the_decision(
    tmp_path: Path, order: dict[str, Any], capsys: Any, speed: float, kept: slice, code: int, first: str
) -> None:
    """0 release, 1 hold, 2 stop, as the verdicts of a check; the decision is the first line."""
    change(order["operations"][0], {"spindle_speed_rpm": speed})
    order["operations"] = order["operations"][kept]
    assert _run(_file(tmp_path, order)) == code
    printed = capsys.readouterr()
    assert printed.err == ""
    assert printed.out.partition("\n")[0] == first
    assert list(DECISION_CODES.values()) == list(VERDICT_CODES.values())


def test_bad_input_is_told_with_its_place(tmp_path: Path, order: dict[str, Any], capsys: Any) -> None:
    """File, line, column, pointer and reason, whether the model or a rulebook objects; no decision."""
    order["operations"][1]["stock"] = {}
    file = _file(tmp_path, order)
    assert _run(file) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "/operations/1/stock: unknown field; did you " in printed.err
    del order["operations"][1]["stock"]
    order["policy"] = {"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}
    file = _file(tmp_path, order)
    for arguments in ((file,), (file, "--expect", f"digest={'0' * 64}")):
        assert _run(*arguments) == BAD_INPUT
        told = capsys.readouterr().err
        assert told.startswith(f"{file}:")
        assert " /policy/thresholds/0/code: " in told


def test_a_stored_decision_is_expected(tmp_path: Path, capsys: Any) -> None:
    """0 where the digests of the answer are met, 1 where the order has changed since."""
    order = order_of("good")
    file = _file(tmp_path, order)
    assert _run(file, "--json") == 0
    report = GateReport.model_validate_json(capsys.readouterr().out)
    kept = (f"digest={report.digest}", f"rulebook_sha256={report.provenance.rulebook_sha256}")
    assert _run(file, "--expect", kept[0], "--expect", kept[1]) == 0
    assert "May start." in capsys.readouterr().out
    order["revision"] = "B"
    assert _run(_file(tmp_path, order), "--expect", kept[0]) == MAY_NOT_START == 1
    words = " ".join(capsys.readouterr().out.split())
    assert "May not start. Expectations not met digest: " in words
    assert report.digest in words


@pytest.mark.parametrize("expected", ["digest", "dig=1", "=1"])
def test_an_expectation_has_a_name(tmp_path: Path, order: dict[str, Any], capsys: Any, expected: str) -> None:
    """Anything else is refused with the names there are."""
    with pytest.raises(SystemExit):
        _run(_file(tmp_path, order), "--expect", expected)
    assert "rulebook_sha256" in capsys.readouterr().err


def test_a_wrong_digest_is_pointed_at(tmp_path: Path, order: dict[str, Any], capsys: Any) -> None:
    """It is a fault of the request."""
    assert _run(_file(tmp_path, order), "--expect", "digest=abc") == BAD_INPUT
    assert "/expect/digest" in capsys.readouterr().err


@pytest.mark.parametrize("width", [60, 100])
def test_the_text_leaves_nothing_out(order: dict[str, Any], assessor: Assessor, width: int) -> None:
    """Decisions, reasons, gaps, advice, what was not required or judged, digest and cautions, within the width."""
    order["required"] = ["machine", "cutter", "spindle_speed"]
    drop(order["operations"][1], "balance_grade")
    change(order["operations"][0], {"feed_per_tooth_mm": 0.1})
    report = gate(parse(GateRequest, order), assessor)
    out = io.StringIO()
    print_gate(report, Console(file=out, width=width, highlight=False))
    lines = out.getvalue().splitlines()
    assert max(len(line) for line in lines if report.digest not in line) <= width
    words = " ".join(out.getvalue().split())
    assert "1 to release, 1 to hold, 0 to stop" in words
    for one in report.operations:
        assert f"{one.decision} {one.id} {one.stack_id} ({one.verdict})" in words
        for reason in (*one.reasons, *one.advice):
            assert f"{reason.effect or 'advice'} {reason.code} {reason.title} {reason.message}" in words
            assert f"Remedy: {reason.remedy} Where: {', '.join(reason.at)}" in words
        for gap in one.undecided:
            assert f"{gap.effect} {gap.code} {gap.title} not decided Missing: {missing_words(gap.lacks[0])}" in words
    assert report.operations[0].advice
    assert "Neither stated nor required: balance_grade" in words
    for one in report.operations:
        assert ", ".join(it.code for it in one.not_judged) in words
    for said in (*(f"{it.code} {it.name}: {it.why}" for it in report.not_required), *report.cautions):
        assert said in words
    assert report.digest in out.getvalue().replace("\n", "").replace(" ", "")


def test_a_decision_by_changed_rules_says_so(order: dict[str, Any], assessor: Assessor) -> None:
    """What the order changed under the decision, and what one operation changed under that operation."""

    def text() -> str:
        out = io.StringIO()
        print_gate(gate(parse(GateRequest, order), assessor), Console(file=out, width=200, highlight=False))
        return out.getvalue()

    assert "Judged by changed rules" not in text()
    order["policy"] = {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 5}]}
    order["operations"][1]["policy"] = {"thresholds": [{"code": "SPD-040", "threshold": "max_share", "value": 0.6}]}
    lines = text().split("\n")
    head, operations = lines.index("Judged by changed rules"), lines.index("Operations")
    assert head < operations
    assert lines[head + 1].startswith("  OVH-010: max length to diameter 5 ")
    (own,) = [line for line in lines[operations:] if "Judged by changed rules" in line]
    assert own.startswith("      Judged by changed rules: SPD-040: ")
