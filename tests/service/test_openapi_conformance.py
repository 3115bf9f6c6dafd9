"""Valid and invalid requests generated from the contract; the answers conform to it."""

from __future__ import annotations

import copy
import json
import zlib
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, settings
from pydantic_core import to_json
from schemathesis import Case
from schemathesis.checks import load_all_checks
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.pytest._test_builder import build_operation_test
from schemathesis.python._constants.orchestrator import make_constants_value_source
from schemathesis.schemas import BaseSchema

from rules.assessor import Assessor
from service.http.app import create_app
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.contract import whole
from tests.support.sizes import is_full_size

_HEAVY = (
    "/v1/budgets",
    "/v1/calibrations",
    "/v1/check-batches",
    "/v1/comparisons",
    "/v1/drawings",
    "/v1/explanations",
    "/v1/exports",
    "/v1/gates",
    "/v1/readings",
    "/v1/requests",
    "/v1/searches",
)
"""Routes whose bodies hold the fields of a check once more: to make cases of them takes many minutes."""

_APART = ["/v1/imports", "/v1/builds", *(() if is_full_size() else _HEAVY)]
"""No generator of data writes the XML of a tool asset, or stages that name parts of the stack; both have own tests."""

_DOCUMENT: dict[str, Any] = json.loads((Path(__file__).parents[2] / "openapi/v1.json").read_bytes())


@pytest.fixture(scope="module")
def app() -> FastAPI:
    return create_app(Settings(), Assessor.load())


def _contract(document: dict[str, Any], app: FastAPI) -> BaseSchema:
    """The stored document, which tests/service/test_openapi_document.py compares with the served one."""
    found = schemathesis.openapi.from_dict(document)
    found.app = app
    for item in found.raw_schema["paths"].values():  # YAML takes the short form, too, which the schema does not say
        item.get("post", {}).get("requestBody", {}).get("content", {}).pop("application/yaml", None)
    return found


@pytest.fixture(scope="module")
def contract(app: FastAPI) -> BaseSchema:
    """The contract that every answer keeps."""
    return _contract(copy.deepcopy(_DOCUMENT), app)


@pytest.fixture(scope="module")
def walked(app: FastAPI) -> BaseSchema:
    """The contract whose requests are walked: each kind of part has some couplings, with --long all of them.

    Whatever the kind, a coupling is one model, and so each is walked once instead of a dozen times.
    """
    document = copy.deepcopy(_DOCUMENT)
    if is_full_size():
        return _contract(document, app)
    models = document["components"]["schemas"]
    models["Components"]["anyOf"][0]["additionalProperties"] = {"$ref": "#/components/schemas/RetentionKnob"}
    for side, field in (("machine_side", "MachineSide"), ("workpiece_side", "WorkpieceSide")):
        reference = {"$ref": f"#/components/schemas/{field}Field"}
        kinds = [one for one in models.values() if one.get("properties", {}).get(side) == reference]
        for number, kind in enumerate(kinds):
            couplings = models[field]["oneOf"][number :: len(kinds)]
            kind["properties"][side] = {"anyOf": [{"oneOf": couplings}, {"type": "null"}]}
        assert 1 < len(kinds) <= len(models[field]["oneOf"])
    return _contract(document, app)


_ONE_IN = {"/v1/checks": 8}
"""Of the thousands of boundary cases of a route."""


@schemathesis.serializer("application/x-ndjson", "application/jsonl")
def _as_lines(_: Any, value: Any) -> bytes:
    """Text as it is; whatever else is made of the schema, as the JSON it is."""
    return value.encode(errors="replace") if isinstance(value, str) else to_json(value, fallback=repr)


def _repeats_a_name(body: dict[str, Any]) -> bool:
    """Whether two operations share an id or two overrides a threshold: refused, though the schema allows it."""
    policy = body.get("policy")
    if isinstance(policy, dict) and policy.get("assumption_set") is not None:
        return True  # its digest is that of its content
    thresholds = policy.get("thresholds") if isinstance(policy, dict) else None
    for listed, fields in ((thresholds, ("code", "threshold")), (body.get("operations"), ("id",))):
        entries = [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []
        names = [repr([one.get(field) for field in fields]) for one in entries]
        if len(set(names)) < len(names):
            return True
    return False


def _chosen(case: Case, config: pytest.Config) -> bool:
    """A share of the boundary cases, always the same; with --long all of them. What no schema can say is left out."""
    if isinstance(case.body, dict) and _repeats_a_name(case.body):
        return False
    if case.path not in _ONE_IN or not isinstance(case.body, dict) or config.getoption("--long", default=False):
        return True
    return zlib.crc32(to_json(case.body, fallback=repr)) % _ONE_IN[case.path] == 0


@pytest.mark.parametrize("path", [path for path in _DOCUMENT["paths"] if path not in _APART])
def test_the_service_keeps_its_contract(path: str, walked: BaseSchema, pytestconfig: pytest.Config) -> None:
    """What the schema allows is answered with 200, what it forbids is refused, and every answer fits.

    Beside random requests this walks the boundaries of every field of the schema.
    """

    @settings(max_examples=30, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
    def keeps(case: Case) -> None:
        if _chosen(case, pytestconfig):
            case.call_and_validate()

    load_all_checks()
    feedback = FeedbackSources(constants_value_source=make_constants_value_source(walked))
    # The plugin for pytest would make the boundary cases, ten seconds of work, in every process that collects.
    for found in walked.include(path=path).get_all_operations():
        test = build_operation_test(
            config=walked.config, operation=found.ok(), test_func=keeps, given_kwargs={}, feedback=feedback
        )
        test()


def _posted() -> list[tuple[str, str, str]]:
    """Every path that takes a body, its media types, and the names of their examples."""
    return [
        (path, media_type, name)
        for path, item in whole(_DOCUMENT)["paths"].items()
        for media_type, content in item.get("post", {}).get("requestBody", {}).get("content", {}).items()
        if media_type not in ("application/zip", "multipart/form-data")  # no text; they have their own tests
        for name in content["examples"]
    ]


@pytest.mark.parametrize(("path", "media_type", "name"), _posted())
def test_every_posted_route_keeps_its_contract(path: str, media_type: str, name: str, contract: BaseSchema) -> None:
    """Its examples are answered as declared, and so is what is refused: an unknown field, less, nothing."""
    operation = whole(_DOCUMENT)["paths"][path]["post"]
    example = operation["requestBody"]["content"][media_type]["examples"][name]["value"]
    query = {one["name"]: one["example"] for one in operation.get("parameters", []) if "example" in one}
    client = Client(contract.app)

    def status_of(body: Any) -> int:
        content = body.encode() if isinstance(body, str) else to_json(body)
        response = client.request("POST", path, content=content, headers={"Content-Type": media_type}, params=query)
        contract[path]["POST"].validate_response(response)
        return int(response.status_code)

    assert status_of(example) == 200
    assert status_of("") in (200, 400, 422)
    if media_type == "application/json":
        assert status_of({**example, "no_such_field": 1}) == 422
        assert {
            status_of({key: value for key, value in example.items() if key != left_out}) for left_out in example
        } <= {
            200,
            422,
        }


def test_every_posted_route_has_an_example() -> None:
    """So the test above reaches each, whatever the generated requests leave apart."""
    assert {path for path, _, _ in _posted()} == {path for path, item in _DOCUMENT["paths"].items() if "post" in item}
