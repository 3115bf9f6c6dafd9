"""The contract as published is valid, current, closed, and shows an example of everything."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import validate
from pydantic import ValidationError

from rules.assessor import Assessor
from rules.schema.report import Report, SpeedLimit
from rules.schema.request import CheckRequest
from service.contract import PROBLEM_BASE
from tests.support.generated import catalogue_files, main, openapi_files

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def document(client: Any) -> dict[str, Any]:
    told: dict[str, Any] = client.get("/openapi.json").json()
    return told


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


def test_no_example_request_is_left_behind() -> None:
    """The folder of examples holds the generated ones and no others."""
    kept = {f"openapi/examples/{file.name}" for file in (PROJECT / "openapi/examples").iterdir()}
    assert kept == {path for path in openapi_files() if path.startswith("openapi/examples/")}


def test_the_served_document_is_the_stored_one(client: Any) -> None:
    """A service with the built-in rules alone serves the file of the project, byte for byte."""
    assert client.get("/openapi.json").content == (PROJECT / "openapi/openapi.json").read_bytes()


def test_every_body_has_examples_that_fit(document: dict[str, Any]) -> None:
    """Each request and each answer, problems too, is shown, and what is shown keeps its own schema."""
    contents = list(_contents(document))
    assert len(contents) > 30
    for name, content in contents:
        assert content.get("examples"), f"{name} has no example"
        for example in content["examples"].values():
            _check(document, content["schema"], example["value"])


def test_every_parameter_is_described_and_its_example_answers(client: Any, document: dict[str, Any]) -> None:
    """The example of a path leads to something."""
    for name, operation in _operations(document):
        path = name.split(" ")[1]
        for parameter in operation.get("parameters", []):
            assert parameter["description"]
            (example,) = parameter["schema"]["examples"]
            path = path.replace("{" + parameter["name"] + "}", example)
        if name.startswith("GET"):
            assert client.get(path).status_code == 200


def test_every_operation_declares_its_headers(document: dict[str, Any]) -> None:
    """Identifier and trace in every request, identifier and caching in every response, a tag where there is 304."""
    for name, operation in _operations(document):
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


def test_requests_are_closed_and_reports_complete(document: dict[str, Any]) -> None:
    """No object takes unknown fields; every field of a report is always there."""
    schemas = document["components"]["schemas"]
    for name, schema in schemas.items():
        if schema.get("type") == "object":
            assert schema["additionalProperties"] is False, name
    for name in (
        "Report",
        "Finding",
        "Undecided",
        "RunoutReport",
        "Provenance",
        "RuleAnswer",
        "CouplingAnswer",
    ):
        assert set(schemas[name]["required"]) == set(schemas[name]["properties"]), name
    definitions = CheckRequest.model_json_schema()["$defs"]
    assert definitions.keys() <= schemas.keys()


def test_thresholds_are_those_of_the_rules_in_force(document: dict[str, Any], assessor: Assessor) -> None:
    """Only known codes, names and bounds are allowed."""
    told = document["components"]["schemas"]["Thresholds"]
    assert told["additionalProperties"] is False
    expected = {
        rule.code: {name: (one.minimum, one.maximum) for name, one in rule.thresholds.items()}
        for rule in assessor.book.rules
        if rule.thresholds
    }
    assert expected
    assert {
        code: {name: (one["minimum"], one["maximum"]) for name, one in schema["properties"].items()}
        for code, schema in told["properties"].items()
    } == expected


def test_nothing_loads_from_outside(document: dict[str, Any]) -> None:
    """The contract refers to itself only; the name of the SVG namespace is a name, which nothing fetches."""
    told = json.dumps(document).replace(PROBLEM_BASE, "")
    assert "://" not in told.replace('xmlns=\\"http://www.w3.org/2000/svg\\"', "")


def _closed(node: Any, at: str, schemas: Mapping[str, Any], seen: set[str]) -> Iterator[str]:
    """Yield the places of all enumerations that an answer's schema leads to."""
    if isinstance(node, dict):
        if "$ref" in node:
            name = node["$ref"].rsplit("/", 1)[1]
            if name not in seen:
                seen.add(name)
                yield from _closed(schemas[name], name, schemas, seen)
        if "enum" in node and node.get("type") == "string":
            yield at
        for step, inner in node.items():
            yield from _closed(inner, f"{at}/{step}", schemas, seen)
    elif isinstance(node, list):
        for inner in node:
            yield from _closed(inner, at, schemas, seen)


def test_lists_of_an_answer_may_grow(document: dict[str, Any]) -> None:
    """Only verdict and decision are closed; stacks that an answer hands back are closed as in a request."""
    schemas = document["components"]["schemas"]
    asked = set()
    for name in ("CheckRequest", "SearchRequest", "GateRequest", "GateVerification", "ReadingRequest"):
        asked.add(name)
        list(_closed(schemas[name], name, schemas, asked))
    seen = set(asked)
    found = set()
    for operation in document["paths"].values():
        for method in operation.values():
            for status, response in method["responses"].items():
                if status == "200":
                    found |= set(_closed(response.get("content", {}), "", schemas, seen))
    assert {one.rsplit("/", 1)[1] for one in found} <= {"verdict", "decision", "evaluation_name"}, found
    action = schemas["AssemblyStep"]["properties"]["action"]
    assert action["type"] == "string"
    assert "clamp" in action["x-known-values"]
    assert "Later releases may add values" in action["description"]


def test_a_client_reads_values_that_it_does_not_know() -> None:
    """A newer service may name a new class of joint or a new cause; verdict and decision stay closed."""
    cause = {"cause": "temperature", "component": None, "speed_rpm": 9000.0}
    assert SpeedLimit.model_validate(cause).cause == "temperature"
    with pytest.raises(ValidationError) as caught:
        Report.model_validate({"verdict": "perhaps"})
    assert "literal_error" in {one["type"] for one in caught.value.errors() if one["loc"] == ("verdict",)}
