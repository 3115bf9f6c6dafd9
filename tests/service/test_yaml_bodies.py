"""Requests in YAML over HTTP (RFC 9512): the short form, with the same care as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.schema.short_form import full_form, read_yaml
from service.http.posted import MAX_YAML_BYTES

_QUESTIONS = sorted((Path(__file__).resolve().parents[2] / "demo_data" / "questions").glob("*.yaml"))

_SHORT = """\
# which collet?
stack:
  - generic:holder:HSK-A63:iso15488-32:100
  - iso15488:32:12
  - part: "din6535:HA12:83"
    cutting_diameter_mm: 12
    teeth: 4
    projection_mm: 40
machine: {spindle: HSK-A63, max_speed_rpm: 12000}
operation:
  spindle_speed_rpm: 6000
  runout_limit_um: 20 um
"""


def _sent(client: Any, text: str | bytes, path: str = "/v1/checks", **headers: str) -> Any:
    body = text.encode() if isinstance(text, str) else text
    named = {"content-type": "application/yaml", **headers}
    return client.request("POST", path, content=body, headers=named)


@pytest.mark.parametrize("file", _QUESTIONS, ids=lambda file: file.stem)
def test_the_answer_is_that_to_the_full_form_in_json(client: Any, file: Path) -> None:
    """Byte for byte, digest of the request included."""
    full = full_form(read_yaml(file.read_bytes()))
    answer = _sent(client, file.read_bytes())
    assert answer.status_code == 200
    assert answer.content == client.check(json.dumps(full).encode()).content


@pytest.mark.parametrize("path", ["/v1/budgets", "/v1/drawings", "/v1/exports"])
def test_other_routes_about_one_stack_take_it_too(client: Any, path: str) -> None:
    """With the answer to the full form."""
    answer = _sent(client, _SHORT, path)
    full = json.dumps(full_form(read_yaml(_SHORT.encode())))
    assert answer.status_code == 200
    assert answer.content == _sent(client, full, path, **{"content-type": "application/json"}).content


@pytest.mark.parametrize("path", ["/v1/gates", "/v1/comparisons", "/v1/searches", "/v1/readings", "/v1/imports"])
def test_other_routes_do_not(client: Any, path: str) -> None:
    """They name what they take."""
    answer = _sent(client, _SHORT, path)
    assert answer.status_code == 415
    assert "yaml" not in answer.headers["accept-post"]


@pytest.mark.parametrize(
    "declared", ["application/x-yaml", "text/yaml", "text/plain", "application/yaml; charset=latin-1"]
)
def test_the_registered_type_alone_is_taken(client: Any, declared: str) -> None:
    """In UTF-8."""
    answer = _sent(client, _SHORT, **{"content-type": declared})
    assert (answer.status_code, answer.headers["accept-post"]) == (415, "application/json, application/yaml")


@pytest.mark.parametrize(
    ("change", "pointer", "line"),
    [
        pytest.param(("teeth: 4", "teeth: 0"), "/stack/components/2/with/teeth", 7, id="field of a part"),
        pytest.param(("teeth: 4", "teth: 4"), "/stack/components/2/with/teth", 7, id="unknown field"),
        pytest.param(("projection_mm: 40", "projection_mm: 3 kg"), "/stack/joints/0/projection_mm", 8, id="unit"),
        pytest.param(("projection_mm: 40", "projection_mm: -1"), "/stack/joints/0/projection_mm", 8, id="joint"),
        pytest.param(
            ("  runout_limit_um: 20 um", "  runout_limit_um: -1"), "/operations/0/limits/runout/tir_um", 12, id="limit"
        ),
        pytest.param(("max_speed_rpm: 12000", "max_speed_rpm: fast"), "/machine/max_speed_rpm", 9, id="machine"),
        pytest.param(('"din6535:HA12:83"', "{}"), "/stack/components/2/of/key", 5, id="no key"),
        pytest.param(("operation:", "operations:"), "/operations", 10, id="an object for a list"),
    ],
)
def test_a_fault_has_its_pointer_and_its_line(client: Any, change: tuple[str, str], pointer: str, line: int) -> None:
    """The pointer leads into the full form, the line into what was sent."""
    answer = _sent(client, _SHORT.replace(*change))
    assert answer.status_code == 422
    (fault, *_) = answer.json()["errors"]
    assert (fault["at"], fault["line"]) == ([pointer], line)
    assert fault["column"] >= 1


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("a: &x [1]\nb: *x\n", "syntax_error", 2),
        ("stack: []\nstack: []\n", "duplicate_key", 2),
        ("stack: !!python/name:os.system\n", "syntax_error", 1),
        ("stack: [\n", "syntax_error", 2),
        ("stack: " + "[" * 41 + "]" * 41, "too_deep", None),
        ("[" * 20_000, "too_deep", None),
        (b"\xff", "not_utf8", None),
        ("a: 1\n---\nb: 2\n", "syntax_error", 2),
    ],
)
def test_what_is_no_plain_yaml_is_a_problem(client: Any, text: str | bytes, code: str, line: int | None) -> None:
    """400 with the place, as for JSON."""
    answer = _sent(client, text)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (400, "malformed-document")
    assert (problem["errors"][0]["code"], problem["errors"][0].get("line")) == (code, line)


def test_long_yaml_is_not_read(client: Any) -> None:
    """Since reading it takes long; the bound itself is accepted."""
    padded = _SHORT + "#" * (MAX_YAML_BYTES - len(_SHORT))
    assert _sent(client, padded).status_code != 413
    answer = _sent(client, padded + "#")
    assert (answer.status_code, answer.json()["code"]) == (413, "body-too-large")


@pytest.mark.parametrize("text", ["", "~", "3", "[]", "stack", "stack: 3", "stack: [3, ~]", "{}"])
def test_any_value_is_a_report_or_a_fault(client: Any, text: str) -> None:
    """Never a fault of the program."""
    assert _sent(client, text).status_code == 422


def test_the_schema_for_editors_is_ignored(client: Any) -> None:
    """The answer does not depend on it."""
    assert _sent(client, "$schema: check-request.json\n" + _SHORT).content == _sent(client, _SHORT).content


def _read(client: Any, text: str, query: str = "", **headers: str) -> Any:
    return _sent(client, text, f"/v1/requests{query}", **headers)


@pytest.mark.parametrize("file", _QUESTIONS, ids=lambda file: file.stem)
def test_the_full_form_is_answered(client: Any, file: Path) -> None:
    """In JSON, and in YAML that reads as the same; either is checked with the same answer."""
    answer = _read(client, file.read_text())
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/json")
    assert answer.json() == full_form(read_yaml(file.read_bytes()))
    written = _read(client, answer.text, **{"content-type": "application/json", "accept": "application/yaml"})
    assert written.headers["content-type"] == "application/yaml"
    assert _read(client, written.text).json() == answer.json()
    assert _sent(client, written.text).content == client.check(answer.content).content


def test_a_request_in_json_stays_as_it_is(client: Any, request_data: dict[str, Any]) -> None:
    """With its lengths in inches; the order of the names, too."""
    request_data["stack"]["components"][0]["gauge_length_mm"] = "3 1/4 in"
    text = json.dumps(request_data, separators=(",", ":"))
    assert _read(client, text, **{"content-type": "application/json"}).text == text


@pytest.mark.parametrize("change", [("teeth: 4", "teeth: 0"), ("teeth: 4", "teth: 4"), ("mm: 40", "mm: 3 kg")])
def test_faults_of_reading_are_those_of_a_check(client: Any, change: tuple[str, str]) -> None:
    """Places included; a draft keeps them."""
    text = _SHORT.replace(*change)
    answer = _read(client, text)
    assert answer.status_code == 422
    assert answer.json()["errors"] == _sent(client, text).json()["errors"]
    draft = _read(client, text, "?form=draft")
    assert draft.status_code == 200
    assert draft.json() == full_form(read_yaml(text.encode()), draft=True)


def test_plain_values_get_no_other_form(client: Any) -> None:
    """So that a request to any route can be read."""
    assert _read(client, _SHORT, "?form=plain").json() == read_yaml(_SHORT.encode())


@pytest.mark.parametrize("form", ["draft", "plain"])
@pytest.mark.parametrize("text", ["a: [", "a: 1\na: 2", "a: 1e999", "a: 1" + 400 * "0", 'a: "\\ud800"', "a: *x"])
def test_what_cannot_be_read_is_a_problem_in_any_form(client: Any, text: str, form: str) -> None:
    """Numbers and texts that JSON has no place for are among it."""
    answer = _read(client, text, f"?form={form}")
    assert (answer.status_code, answer.json()["code"]) == (400, "malformed-document")


def test_lengths_in_inches_can_be_written(client: Any) -> None:
    """They become metric."""
    answer = _read(client, _SHORT.replace("mm: 40", "mm: 0.5 in"), accept="application/yaml")
    assert "projection_mm: 12.7\n" in answer.text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a: b: c", "colon cannot stand here"),
        ("a: {b: 1\nc: 2", "closing }"),
        ("a: [1\nc: 2", "closing ]"),
        ("a:\n  b: 1\n c: 2", "indentation"),
        ("a: 1\nb\nc: 2", "colon is missing"),
        ("a: ]", "value is expected"),
        ('a: "b', "ends too soon"),
        ("a:\n\tb: 1", "indent with spaces"),
    ],
)
def test_faults_of_the_text_are_told_in_words(client: Any, text: str, words: str) -> None:
    """Of whoever writes a request, not of a parser."""
    assert words in _read(client, text).json()["errors"][0]["detail"]
