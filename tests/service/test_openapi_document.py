"""The published contract is valid, current and closed, and has an example of everything."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import validate
from pydantic import ValidationError

from rules.schema.report import ALWAYS, Report, SpeedLimit
from rules.schema.request import CheckRequest
from service.contract import PROBLEM_BASE
from service.http.app import create_app
from service.operations.settings import Settings
from service.sheets.figures import unit_of
from tests.service.conftest import Client
from tests.support.contract import DOCUMENT, EXAMPLES, closed, whole
from tests.support.generated import cases, catalogue_files, main, openapi_files

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def document(client: Any) -> dict[str, Any]:
    told: dict[str, Any] = client.get("/openapi.json").json()
    return told


@pytest.fixture(scope="module")
def placed(document: dict[str, Any]) -> dict[str, Any]:
    """With the shared parts where they are referred to."""
    return whole(document)


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            yield f"{method.upper()} {path}", operation


def _contents(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every body of every request and answer that has one."""
    for name, operation in _operations(document):
        if "requestBody" in operation:
            for content in operation["requestBody"]["content"].values():
                yield name, content
        for status, response in operation["responses"].items():
            for content in response.get("content", {}).values():
                yield f"{name} {status}", content


def _check(document: dict[str, Any], schema: dict[str, Any], value: object) -> None:
    whole = {**schema, "components": document["components"]}
    jsonschema.Draft202012Validator(whole).validate(value)


def test_the_document_is_valid(document: dict[str, Any]) -> None:
    """It is OpenAPI 3.1 to an independent validator."""
    assert document["openapi"].startswith("3.1.")
    validate(document)


@pytest.mark.parametrize("make", [openapi_files, catalogue_files])
def test_generated_files_are_current(make: Any) -> None:
    """When this fails, run ``python -m tests.support.generated``."""
    for path, text in make().items():
        assert (PROJECT / path).read_text(encoding="utf-8") == text, f"{path} is stale"


def test_stale_files_are_found_and_written(tmp_path: Path, capsys: Any) -> None:
    """--check finds a missing or changed file and writes nothing; without it the file is written."""
    root = ["--root", str(tmp_path)]
    assert main(["--check", *root]) == 1
    assert not list(tmp_path.iterdir())
    assert main(root) == 0
    catalogue = tmp_path / "rules/books/CATALOGUE.md"
    catalogue.write_text(catalogue.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    capsys.readouterr()
    assert main(["--check", *root]) == 1
    assert capsys.readouterr().err == f"{catalogue} is stale\n"


def test_no_example_is_left_behind() -> None:
    """The folder of examples holds the generated ones and no others."""
    kept = {file.relative_to(PROJECT).as_posix() for file in EXAMPLES.rglob("*") if file.is_file()}
    assert kept == {path for path in openapi_files() if path.startswith("openapi/examples/")}


def test_the_served_document_is_the_stored_one(client: Any) -> None:
    """A service with the built-in rules alone serves the file of the project, byte for byte."""
    assert client.get("/openapi.json").content == DOCUMENT.read_bytes()


def test_every_body_has_examples_that_fit(placed: dict[str, Any]) -> None:
    """Each request and each answer, problems too, is shown, and what is shown has described fields only."""
    document = closed(placed)
    contents = list(_contents(document))
    assert len(contents) > 30
    for name, content in contents:
        is_binary = content["schema"].get("format") == "binary"
        assert bool(content.get("examples")) != is_binary, f"{name} has no example"
        for example in content.get("examples", {}).values():
            _check(document, content["schema"], example["value"])


def test_the_answers_that_are_referred_to_are_served(client: Any, document: dict[str, Any]) -> None:
    """Beside the document, as the files of the project have them."""
    found = [one["externalValue"] for one in document["components"]["examples"].values() if "externalValue" in one]
    assert len(found) > 5
    for path in found:
        response = client.get(f"/{path}")
        assert response.headers["content-type"] == "application/json"
        assert response.content == (DOCUMENT.parent / path).read_bytes()
    assert client.get("/examples/checks/no-such.answer.json").status_code == 404


def test_every_route_has_pairs_of_request_and_answer_that_fit(placed: dict[str, Any]) -> None:
    """JSON of the files keeps the schemas; that the answers are the server's own, the generated files prove."""
    document = closed(placed)
    routes = set()
    for case in cases(placed):
        path = case.path.partition("?")[0]
        routes.add(case.route)
        if case.method == "GET":
            path = next(one for one in document["paths"] if _matches(one, path))
        operation = document["paths"][path][case.method.lower()]
        if case.media_type == "application/json":
            request = json.loads((PROJECT / case.request).read_text(encoding="utf-8"))
            _check(document, operation["requestBody"]["content"][case.media_type]["schema"], request)
        answer = (PROJECT / case.answer).read_text(encoding="utf-8")
        schema = operation["responses"]["200"]["content"][case.accept]["schema"]
        _check(
            document,
            schema,
            json.loads(answer) if case.accept.endswith("json") and "ndjson" not in case.accept else answer,
        )
    assert {"checks", "check-batches", "imports", "exports", "drawings", "rules", "version"} <= routes
    assert len(routes) >= len({path.split("/{")[0] for path in document["paths"]})


def _matches(template: str, path: str) -> bool:
    return re.fullmatch(re.sub(r"\{[^}]*\}", "[^/]+", template), path) is not None


def test_every_parameter_is_described_and_its_example_answers(client: Any, placed: dict[str, Any]) -> None:
    """The example of a path leads to something."""
    for name, operation in _operations(placed):
        path = name.split(" ")[1]
        for parameter in operation.get("parameters", []):
            assert parameter["description"]
            (example,) = parameter["schema"]["examples"]
            path = path.replace("{" + parameter["name"] + "}", str(example))
        if name.startswith("GET"):
            assert client.get(path).status_code == 200


def test_every_operation_declares_its_headers(placed: dict[str, Any]) -> None:
    """Identifier and trace in every request, identifier and caching in every response, a tag where there is 304."""
    for name, operation in _operations(placed):
        sent = {one["name"] for one in operation["parameters"] if one["in"] == "header"}
        assert sent - {"If-None-Match"} == {"X-Request-ID", "traceparent"}
        assert ("If-None-Match" in sent) == ("304" in operation["responses"])
        for status, response in operation["responses"].items():
            headers = set(response["headers"])
            assert headers >= {"X-Request-ID", "Cache-Control", "Vary"}, (name, status)
            assert ("ETag" in headers) == (status == "304" or (status == "200" and "304" in operation["responses"]))
            assert ("Retry-After" in headers) == (status == "503")


def test_every_operation_is_described(document: dict[str, Any]) -> None:
    """Names are unique, tags are declared, and a sentence says what each does."""
    operations = dict(_operations(document))
    assert len({one["operationId"] for one in operations.values()}) == len(operations)
    tags = {tag["name"] for tag in document["tags"]}
    for operation in operations.values():
        assert operation["summary"]
        assert operation["description"]
        assert set(operation["tags"]) <= tags


def _reached(document: Mapping[str, Any], node: Any, seen: set[str]) -> set[str]:
    """The names of all schemas that a part of the document leads to."""
    target = node.get("$ref", "") if isinstance(node, dict) else ""
    if target.startswith("#/components/schemas/"):
        name = target.rsplit("/", 1)[1]
        if name not in seen:
            seen.add(name)
            _reached(document, document["components"]["schemas"][name], seen)
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        _reached(document, inner, seen)
    return seen


def _sent_and_received(placed: Mapping[str, Any]) -> tuple[set[str], set[str]]:
    """The schemas of requests, and those of answers that no request has."""
    sent: set[str] = set()
    received: set[str] = set()
    for _, operation in _operations(dict(placed)):
        _reached(placed, {**operation, "responses": {}}, sent)
        _reached(placed, operation["responses"], received)
    return sent, received - sent


def test_requests_are_closed_and_reports_open_and_complete(placed: dict[str, Any]) -> None:
    """A request with an unknown field is refused; an answer has every field, and later releases may add some."""
    schemas = placed["components"]["schemas"]
    sent, received = _sent_and_received(placed)
    assert {"CheckRequest", "Cutter"} <= sent
    assert {"Report", "Finding", "Problem", "RuleAnswer"} <= received
    for name in sent:
        if schemas[name].get("type") == "object" and "propertyNames" not in schemas[name]:
            assert schemas[name]["additionalProperties"] is False, name
    for name in received:
        assert schemas[name].get("additionalProperties") is not False, name
    assert set(schemas["Report"]["required"]) == set(ALWAYS)
    for name in (
        "Finding",
        "Undecided",
        "RunoutReport",
        "Provenance",
        "RuleAnswer",
        "CouplingAnswer",
    ):
        assert set(schemas[name]["required"]) == set(schemas[name]["properties"]), name
    assert CheckRequest.model_json_schema()["$defs"].keys() <= schemas.keys()


def test_the_document_is_small_and_says_nothing_twice(document: dict[str, Any]) -> None:
    """Shared parts are referred to, no example is repeated, and every schema is used."""
    # 943 kB before its parts were shared
    assert DOCUMENT.stat().st_size < 15_000 * len(list(_operations(document)))
    components = document["components"]
    for kind in ("examples", "headers", "responses", "parameters"):
        parts = [json.dumps(part) for part in components.get(kind, {}).values()]
        assert len(parts) == len(set(parts)), kind
    for name, operation in _operations(document):
        for status, response in operation["responses"].items():
            assert set(response) == {"$ref"} or int(status) < 300, name
    assert set(components["schemas"]) == _reached(document, document["paths"], set()) | _reached(
        document, {name: part for name, part in components.items() if name != "schemas"}, set()
    )


def _schemas(document: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema and all within, with its place."""

    def within(at: str, node: Any) -> Iterator[tuple[str, dict[str, Any]]]:
        yield at, node
        for name, inner in node.get("properties", {}).items():
            yield from within(f"{at}.{name}", inner)
        for key in ("anyOf", "oneOf", "allOf"):
            for inner in node.get(key, ()):
                yield from within(at, inner)
        for key in ("items", "additionalProperties", "propertyNames"):
            if isinstance(node.get(key), dict):
                yield from within(at, node[key])

    for name, schema in document["components"]["schemas"].items():
        yield from within(name, schema)
    for name, operation in _operations(dict(document)):
        for one in operation.get("parameters", ()):
            yield from within(f"{name} ?{one['name']}", one["schema"])


def test_no_title_and_no_default_of_null(placed: dict[str, Any]) -> None:
    """A title would repeat the name; a generated client takes a default for a field that is always there."""
    for at, schema in _schemas(placed):
        assert "title" not in schema, at
        assert schema.get("default", "") is not None, at


def test_every_list_of_values_has_a_name(placed: dict[str, Any]) -> None:
    """Clients get a type for each, with names for values that are no identifiers."""
    named = {name: schema for name, schema in placed["components"]["schemas"].items() if "enum" in schema}
    for at, schema in _schemas(placed):
        if len(schema.get("enum", ())) > 1:
            assert named.get(at) is schema, at
            plain = all(str(value).isidentifier() for value in schema["enum"])
            assert plain or len(set(schema["x-enum-varnames"])) == len(schema["enum"]), at
            assert all(name.isidentifier() for name in schema.get("x-enum-varnames", ())), at
    assert {"Material", "RunoutLaw", "SteepTaperForm", "BalanceGrade", "WorkMaterial"} <= named.keys()
    grades = named["BalanceGrade"]
    assert dict(zip(grades["enum"], grades["x-enum-varnames"], strict=True))["G2.5"] == "G2_5"


def test_fields_stand_in_order(document: dict[str, Any]) -> None:
    """A report opens with its verdict, and each alternative with what tells it apart."""
    schemas = document["components"]["schemas"]
    assert next(iter(schemas["Report"]["properties"])) == "verdict"
    assert next(iter(schemas["Cutter"]["properties"])) == "kind"
    assert next(iter(schemas["NutCollet"]["properties"])) == "coupling"
    assert list(document)[:3] == ["openapi", "info", "servers"]


def _undescribed(document: Mapping[str, Any]) -> Iterator[str]:
    schemas = document["components"]["schemas"]
    for at, schema in _schemas(document):
        for name, one in schema.get("properties", {}).items():
            target = one.get("$ref", "").rsplit("/", 1)[-1]
            told = one.get("description") or schemas.get(target, {}).get("description")
            unit = unit_of(name)
            words = {"°": ("°", "degrees"), "rpm": ("rpm", "1/min"), "%": ("%", "percent")}.get(unit, (unit,))
            if not told or not any(word in told for word in words):
                yield f"{at}.{name}"


def test_every_field_is_described_with_its_unit(placed: dict[str, Any]) -> None:
    """The description stands beside the field, or in the schema that it refers to."""
    assert sorted(_undescribed(placed)) == []
    assert [name for name, schema in placed["components"]["schemas"].items() if not schema.get("description")] == []


RULEBOOK = """\
book: shop
version: "1"
title: Rules of the shop
rules:
  - code: SHOP-010
    title: Extended
    severity: advice
    for: stack
    require: extension_count <= most
    thresholds:
      most: {value: 1, unit: count, minimum: 0, maximum: 9, meaning: usual number of extensions}
    message: "The stack has {extension_count} extensions; {most} are usual."
    observed: extension_count
    limit: most
    unit: count
    why: Each joint adds runout.
    remedy: Take a longer holder.
    known_limits: none
    source: common practice
    examples:
      fires:
        - {name: none allowed, base: press_in, set: {"/policy": {
            "thresholds": [{"code": "SHOP-010", "threshold": "most", "value": 0}]}}}
      silent: [{name: one extension, base: press_in}]
"""


def test_a_rulebook_of_the_operator_changes_nothing(tmp_path: Path) -> None:
    """The contract is the same wherever it is served, whatever rules are in force there."""
    (tmp_path / "shop.yaml").write_text(RULEBOOK, encoding="utf-8")
    settings = Settings(extra_rulebooks=(tmp_path,))
    served = Client(create_app(settings))
    assert served.get("/v1/rules/SHOP-010").status_code == 200
    assert served.get("/openapi.json").content == DOCUMENT.read_bytes()


def test_nothing_loads_from_outside(document: dict[str, Any]) -> None:
    """The contract refers to itself only; the name of the SVG namespace is a name, which nothing fetches."""
    told = json.dumps(document).replace(PROBLEM_BASE, "")
    assert "://" not in told.replace('xmlns=\\"http://www.w3.org/2000/svg\\"', "")


def test_lists_of_an_answer_may_grow(placed: dict[str, Any]) -> None:
    """Only verdict and decision are closed; stacks that an answer hands back are closed as in a request."""
    schemas = placed["components"]["schemas"]
    _, received = _sent_and_received(placed)
    found = {name for name in received if schemas[name].get("type") == "string" and "enum" in schemas[name]}
    assert found <= {"Verdict", "Decision", "Conformity", "EvaluationName"}
    action = schemas["AssemblyStep"]["properties"]["action"]
    assert action["type"] == "string"
    assert "clamp" in action["x-known-values"]
    assert "Later releases may add values" in action["description"]


def test_a_client_reads_values_that_it_does_not_know() -> None:
    """A newer service may name a new class of joint or a new cause; verdict and decision stay closed."""
    cause = {"cause": "temperature", "component": None, "joint": None}
    cause["speed_rpm"] = {"value": 9000.0, "low": None, "high": None, "rests_on": []}
    assert SpeedLimit.model_validate(cause).cause == "temperature"
    with pytest.raises(ValidationError) as caught:
        Report.model_validate({"verdict": "perhaps"})
    assert "literal_error" in {one["type"] for one in caught.value.errors() if one["loc"] == ("verdict",)}
