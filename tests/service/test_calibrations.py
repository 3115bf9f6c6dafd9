"""``POST /v1/calibrations`` over HTTP, and the commands ``calibrate`` and ``check --assumption-set``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules import calibrate
from rules.schema.calibration import CalibrationReport
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.examples import CALIBRATION_EXAMPLES
from service.sheets.text import PLAIN_WIDTH
from tests.support.pages import misshown, parsed, words

SHOP = Path(__file__).resolve().parents[2] / "demo_data/calibrations/01-holders-and-end-mills.json"
EXAMPLE: dict[str, Any] = json.loads(json.dumps(CALIBRATION_EXAMPLES["hydraulic-chucks"].request))


def _post(client: Any, body: object, path: str = "/v1/calibrations", **headers: str) -> Any:
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.request("POST", path, content=content, headers={"content-type": "application/json", **headers})


def test_the_answer_is_the_report_of_the_library(client: Any) -> None:
    response = _post(client, EXAMPLE)
    assert response.status_code == 200
    assert CalibrationReport.model_validate_json(response.content) == calibrate(EXAMPLE)
    assert response.content == _post(client, dict(reversed(EXAMPLE.items()))).content


def test_the_set_goes_from_answer_to_check_unchanged(client: Any) -> None:
    """As a program would: the object of one answer is a field of the next request."""
    own = _post(client, EXAMPLE).json()["assumption_set"]
    check = {
        "stack": EXAMPLE["assemblies"][0]["stack"],
        "components": EXAMPLE["components"],
        "policy": {"unstated": "typical", "assumption_set": own},
    }
    report = _post(client, check, "/v1/checks").json()
    assert report["provenance"]["assumption_set_sha256"] == own["sha256"]
    assert own["sha256"] in _post(client, check, "/v1/checks", accept="text/plain").text
    assert own["sha256"] in _post(client, check, "/v1/checks", accept="text/html").text
    own["classes"][0]["typical"] /= 2
    problem = _post(client, check, "/v1/checks")
    assert problem.status_code == 422
    [part] = problem.json()["errors"]
    assert (part["code"], part["at"]) == ("digest_mismatch", ["/policy/assumption_set/sha256"])


def test_text_and_page_tell_what_the_report_has(client: Any) -> None:
    body = SHOP.read_bytes()
    report = _post(client, body).json()
    text = _post(client, body, accept="text/plain").text
    page = parsed(_post(client, body, accept="text/html").text)
    assert misshown(page) == []
    told = [report["assumption_set"]["sha256"], report["assumption_set"]["input_sha256"], "/assemblies/9/readings/0"]
    told += ["hydraulic", "shrink fit", "above 2.8 mm", "27 µm"]
    for each in (" ".join(text.split()), words(page)):
        assert [one for one in told if one not in each] == []
        for one in report["classes"]:
            assert f"{one['typical_um']:.1f}" in each
    assert max(map(len, text.splitlines())) <= PLAIN_WIDTH


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"assemblies": []}, "/assemblies"),
        ({"law": "measured"}, "/law"),
        ({"foreign_share": 0}, "/foreign_share"),
        ({"expanded_uncertainty_um": 0.01}, "/expanded_uncertainty_um"),
        ({"expanded_uncertainty_um": None}, "/assemblies/0/readings/0"),
        ({"sampling": True}, "/sampling"),
    ],
)
def test_a_body_that_breaks_the_contract_is_422(client: Any, change: dict[str, Any], at: str) -> None:
    response = _post(client, {**EXAMPLE, **change})
    assert response.status_code == 422
    assert response.json()["errors"][0]["at"] == [at]


def test_too_many_linked_classes_are_a_422(client: Any) -> None:
    """Four holders and five cutting tools, each with each."""
    seats = ["shrink_fit", "hydraulic", "milling_chuck", "side_lock"]
    holders = {f"H{one}": _holder(seat) for one, seat in enumerate(seats)}
    tools = [("cutter", 0.7), ("cutter", 1.2), ("cutter", 2.5), ("cutter", 8.0), ("drill", 8.0)]
    mills = {f"T{one}": _tool(kind, size) for one, (kind, size) in enumerate(tools)}
    assemblies = [
        {
            "stack": {
                "components": [{"kind": "reference", "of": {"from": "request", "key": key}} for key in (holder, tool)],
                "joints": [{"upper": "holder", "lower": "tool", "projection_mm": 30}],
            },
            "readings": [{"distance_mm": 20, "tir_um": 6}],
        }
        for holder in holders
        for tool in mills
    ]
    response = _post(client, {**EXAMPLE, "components": {**holders, **mills}, "assemblies": assemblies})
    assert response.status_code == 422, response.text
    assert "linked by common stacks" in response.json()["errors"][0]["detail"]


def _holder(seat: str) -> dict[str, Any]:
    return {
        "kind": "base_holder",
        "id": "holder",
        "machine_side": {"coupling": "hollow_taper", "size": "63", "form": "A"},
        "workpiece_side": {"coupling": seat, "diameter_mm": 8, "tolerance": "H5"},
        "gauge_length_mm": 90,
    }


def _tool(kind: str, diameter: float) -> dict[str, Any]:
    return {
        "kind": kind,
        "id": "tool",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 8, "tolerance": "h6", "length_mm": 36},
        "cutting_diameter_mm": diameter,
        "overall_length_mm": 80,
        "material": "cemented_carbide",
    }


def test_the_command_writes_a_set_that_a_check_takes(tmp_path: Path, capsys: Any) -> None:
    own = tmp_path / "own.json"
    assert main(["calibrate", str(SHOP), "--set", str(own)]) == 1  # one outlier
    assert "42 assemblies, 0 warnings, 1 outlier" in capsys.readouterr().out
    stack = tmp_path / "stack.json"
    shop = json.loads(SHOP.read_bytes())
    stack.write_text(json.dumps({"stack": shop["assemblies"][0]["stack"], "components": shop["components"]}))
    main(["check", str(stack), "--assumption-set", str(own), "--json"])
    report = json.loads(capsys.readouterr().out)
    assert report["provenance"]["assumption_set"] == "KB-2031-06"
    changed = json.loads(own.read_bytes())
    changed["classes"][0]["cautious"] += 1
    own.write_text(json.dumps(changed))
    assert main(["check", str(stack), "--assumption-set", str(own)]) == BAD_INPUT
    assert "is not the digest of this set" in capsys.readouterr().err
    own.write_text("{")
    assert main(["check", str(stack), "--assumption-set", str(own)]) == BAD_INPUT


def test_exit_codes_of_the_command(tmp_path: Path, capsys: Any) -> None:
    """0 no doubt, 1 doubts, 2 nothing usable, 3 no request; JSON is one line."""
    file = tmp_path / "readings.json"
    known = json.loads(json.dumps(EXAMPLE))
    known["components"]["KB-HY12"]["runout"] = {"statements": [{"tir_um": 3, "at_mm": 36}]}
    clean = {**EXAMPLE, "assemblies": [one for one in EXAMPLE["assemblies"] if one["readings"][0]["tir_um"] < 20]}
    for request, code in ((clean, 0), (EXAMPLE, 1), (known, 2), ({}, BAD_INPUT)):
        file.write_text(json.dumps(request))
        assert main(["calibrate", str(file)]) == code
    capsys.readouterr()
    file.write_text(json.dumps(EXAMPLE))
    main(["calibrate", "--json", str(file)])
    assert CalibrationReport.model_validate_json(capsys.readouterr().out) == calibrate(EXAMPLE)
