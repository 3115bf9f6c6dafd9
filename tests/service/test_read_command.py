"""The command ``read``: exit codes, text and JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.schema.reading import ReadingReport
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from service.examples import READING_EXAMPLES

READINGS = Path(__file__).resolve().parents[2] / "demo_data" / "readings"
RANGE = {"kind": "range", "distance_mm": 24, "tir_um": 9}


@pytest.mark.parametrize(
    ("request_", "code", "first"),
    [
        ({"planes": [RANGE]}, 0, "ACCEPT"),
        ({"planes": [RANGE], "limit_um": 20, "expanded_uncertainty_um": 1}, 0, "ACCEPT"),
        ({"planes": [RANGE], "limit_um": 20}, 1, "MEASURE BETTER"),
        ({"planes": [RANGE], "limit_um": 8.5, "expanded_uncertainty_um": 1}, 1, "TURN JOINT"),
        ({"planes": [RANGE], "limit_um": 8, "expanded_uncertainty_um": 0.5}, 2, "TURN JOINT"),
        ({"planes": []}, BAD_INPUT, ""),
    ],
)
def test_exit_codes(request_: dict[str, Any], code: int, first: str, tmp_path: Path, capsys: Any) -> None:
    """0 accepted, 1 open, 2 beyond the limit, 3 no request; the step is the first line."""
    file = tmp_path / "reading.json"
    file.write_text(json.dumps(request_), encoding="utf-8")
    assert main(["read", str(file)]) == code
    assert capsys.readouterr().out.partition("\n")[0] == first


def test_outside_the_prediction_is_refused(capsys: Any) -> None:
    """Without a limit too: a reading no such assembly should give."""
    assert main(["read", str(READINGS / "02-chip-in-a-seat.json")]) == 2
    assert "outside" in capsys.readouterr().out


def test_the_worst_file_decides(tmp_path: Path, capsys: Any) -> None:
    """Every file is read and named, and the gravest code wins."""
    names = [str(file) for file in sorted(READINGS.glob("*.json"))]
    assert main(["read", *names]) == 2
    printed = capsys.readouterr().out.replace("\n", "")
    assert all(name in printed for name in names)
    broken = tmp_path / "broken.json"
    broken.write_text("{", encoding="utf-8")
    assert main(["read", names[0], str(broken)]) == BAD_INPUT
    assert "broken.json:1:2" in capsys.readouterr().err


@pytest.mark.parametrize("name", READING_EXAMPLES)
def test_text_and_json_tell_the_same(name: str, tmp_path: Path, capsys: Any) -> None:
    """Step, trial, notes and cautions of the JSON stand in the text, which keeps its width and has no colour."""
    file = tmp_path / "reading.json"
    file.write_text(json.dumps(READING_EXAMPLES[name].request), encoding="utf-8")
    main(["read", "--json", str(file)])
    report = ReadingReport.model_validate_json(capsys.readouterr().out)
    main(["read", str(file)])
    text = capsys.readouterr().out
    words = " ".join(text.split())
    assert max(map(len, text.split("\n"))) <= 100
    assert "\x1b" not in text
    told = [report.next_step.text, *report.notes, *report.cautions]
    if report.trial is not None:
        told.append(str(report.trial.joint))
    if report.axis is not None:
        told.append(f"expected at the tip: {report.axis.tip_tir_um:.1f} µm")
    assert [one for one in told if " ".join(one.split()) not in words] == []


def test_what_cannot_be_told_is_said(tmp_path: Path, capsys: Any) -> None:
    """Notes and what a prediction lacks stand in the text."""
    stack = {"components": [{"kind": "gauge_pin", "id": "p"}]}
    plane = {"kind": "equal_steps", "distance_mm": 24, "readings_um": [1, 0, -1, 0]}
    file = tmp_path / "reading.json"
    file.write_text(json.dumps({"planes": [plane, RANGE], "stack": stack}), encoding="utf-8")
    main(["read", str(file)])
    words = " ".join(capsys.readouterr().out.split())
    assert "supplied by /stack/components/0/runout" in words
    assert "both planes need readings with directions." in words


def test_a_fault_of_the_program_is_no_answer(capsys: Any, monkeypatch: Any) -> None:
    """An exception must not leave with the code of an open reading."""
    monkeypatch.setattr("service.cli.questions.read_gauge", lambda *_: 1 / 0)
    assert main(["read", str(READINGS / "02-chip-in-a-seat.json")]) == FAULT
    assert "ZeroDivisionError" in capsys.readouterr().err
