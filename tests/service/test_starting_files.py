"""Starting files of ``new``, and the JSON Schema that editors use for them."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from rules.assessor import Assessor
from rules.schema.editor_schema import EDITOR_SCHEMA_ID, EDITOR_SCHEMA_PATH, editor_schema
from rules.schema.import_map import IMPORT_MAP_SCHEMA_ID, IMPORT_MAP_SCHEMA_PATH, import_map_schema
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.short_form import full_form, read_yaml
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.cli.new import kinds, starting_file

_ROOT = Path(__file__).resolve().parents[2]
_QUESTIONS = sorted((_ROOT / "demo_data" / "questions").glob("*.yaml"))
_STACKS = sorted((_ROOT / "demo_data" / "stacks").glob("*.json"))
_KINDS = list(kinds())


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(editor_schema())


@pytest.mark.parametrize("kind", _KINDS)
def test_check_accepts_every_kind_as_it_stands(kind: str, tmp_path: Path, capsys: Any) -> None:
    """With no error, and no warning that a part cannot exist; nothing of it is undecided for want of a field's name."""
    file = tmp_path / "stack.yaml"
    assert main(["new", kind, str(file)]) == 0
    assert main(["check", "--json", str(file)]) in (0, 1)
    told = capsys.readouterr().out.splitlines()[1:]
    report = json.loads(told[0])
    assert report["verdict"] in ("pass", "review")
    assert [one["code"] for one in report["findings"] if one["code"].startswith(("PLA", "STK", "DAT", "REF"))] == []
    assert report["if_assumptions_hold"] in (None, "pass", "review")


@pytest.mark.parametrize("kind", _KINDS)
def test_every_file_has_comments_and_the_schema(kind: str) -> None:
    """The address comes first, then what the file is for."""
    first, second, *rest = starting_file(kind, "https://gauge.example/").splitlines()
    assert first == f"$schema: https://gauge.example{EDITOR_SCHEMA_PATH}"
    assert second.startswith("# ")
    assert any("  # " in line for line in rest)


def test_the_kinds_are_listed(capsys: Any) -> None:
    """With a title each, at least the usual clampings and tools."""
    assert main(["new", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == _KINDS
    assert all(len(line.split()) > 3 for line in lines)
    usual = {"nut-collet", "shrink-fit", "hydraulic", "side-lock", "face-mill", "drill", "tap", "extension"}
    assert usual <= set(_KINDS)


def test_a_file_is_not_overwritten(tmp_path: Path, capsys: Any) -> None:
    """The file stays as it was."""
    file = tmp_path / "mine.yaml"
    file.write_text("mine", encoding="utf-8")
    assert main(["new", "drill", str(file)]) == BAD_INPUT
    assert "exists already" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("arguments", [["new"], ["new", "hammer"], ["new", "drill", "/nowhere/at/all.yaml"]])
def test_wrong_usage(arguments: list[str]) -> None:
    """Without a kind, with an unknown one, or to a folder that is not there."""
    try:
        code = main(arguments)
    except SystemExit as error:
        code = int(error.code or 0)
    assert code == BAD_INPUT


def test_the_file_goes_to_output(capsys: Any) -> None:
    """For a pipe into check."""
    assert main(["new", "tap", "-"]) == 0
    assert capsys.readouterr().out == starting_file("tap")


# --- schema for editors ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "name", "schema"),
    [
        (EDITOR_SCHEMA_PATH, EDITOR_SCHEMA_ID, editor_schema()),
        (IMPORT_MAP_SCHEMA_PATH, IMPORT_MAP_SCHEMA_ID, import_map_schema()),
    ],
)
def test_it_is_a_schema_and_served_at_its_address(client: Any, path: str, name: str, schema: dict[str, Any]) -> None:
    """Of draft 2020-12, with an entity tag, as either media type."""
    jsonschema.Draft202012Validator.check_schema(schema)
    answer = client.get(path)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/schema+json")
    assert answer.json() == schema
    assert answer.json()["$id"] == name
    assert client.get(path, if_none_match=answer.headers["etag"]).status_code == 304
    assert client.get(path, accept="application/json").status_code == 200
    assert client.get(path, accept="text/html").status_code == 406


def _written() -> dict[str, Any]:
    found = {f"new {kind}": read_yaml(starting_file(kind).encode()) for kind in _KINDS}
    found |= {file.stem: read_yaml(file.read_bytes()) for file in _QUESTIONS}
    return found | {file.stem: json.loads(file.read_bytes()) for file in _STACKS}


@pytest.mark.parametrize("name", list(_written()))
def test_what_the_readers_accept_is_valid(validator: jsonschema.Draft202012Validator, name: str) -> None:
    """Short form and full form."""
    assert [error.message for error in validator.iter_errors(_written()[name])] == []


_WRONG = [
    (("stack",), 3),
    (("stak",), []),
    (("stack", 1, "part"), []),
    (("stack", 1, "teth"), 4),
    (("stack", 1, "teeth"), "four"),
    (("stack", 1, "projection_mm"), {}),
    (("stack", 1, "machine_side"), 3),
    (("machine", "max_sped_rpm"), 3),
    (("operation", "cut", "kind"), "sawing"),
    (("operation", "runout_limit_um"), []),
    (("operation", "runout_limit"), 3),
    (("policy",), "strict"),
    (("labels",), {"a": 3}),
]


@pytest.mark.parametrize(("way", "value"), _WRONG)
def test_what_is_misspelt_is_marked(
    validator: jsonschema.Draft202012Validator, way: tuple[str | int, ...], value: Any
) -> None:
    """As the readers refuse it."""
    data = copy.deepcopy(read_yaml(starting_file("shrink-fit").encode()))
    assert validator.is_valid(data)
    place: Any = data
    for step in way[:-1]:
        place = place[step]
    place[way[-1]] = value
    assert not validator.is_valid(data)
    with pytest.raises(BadRequestError):
        parse_request(full_form(data))


def test_the_schema_judges_nothing(assessor: Assessor) -> None:
    """A report is that of the file without it."""
    text = starting_file("nut-collet").encode()
    assert text.startswith(b"$schema: ")
    bare = text.partition(b"\n")[2]
    first, second = (assessor.assess(parse_request(full_form(read_yaml(one)))) for one in (text, bare))
    assert first == second
