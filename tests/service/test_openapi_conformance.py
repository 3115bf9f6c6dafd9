"""Valid and invalid requests generated from the contract; the answers conform to it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from pydantic_core import to_json
from schemathesis import Case
from schemathesis.schemas import BaseSchema
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from rules.assessor import Assessor
from service.http.app import create_app
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.contract import whole
from tests.support.generated_requests import HEAVY, contract_of, walk, with_some_couplings
from tests.support.served import PATIENCE_S
from tests.support.sizes import is_full_size

_APART = ["/v1/imports", "/v1/builds", *(() if is_full_size() else HEAVY)]
"""No generator of data writes the XML of a tool asset, or stages that name parts of the stack; both have own tests."""

_JUDGED_APART = ["/v1/check-batches"]
"""A stack that the schema forbids is a problem among the results, and the others are judged."""

_DOCUMENT: dict[str, Any] = json.loads((Path(__file__).parents[2] / "openapi/v1.json").read_bytes())


@pytest.fixture(scope="module")
def app() -> FastAPI:
    return create_app(Settings(), Assessor.load())


def _contract(document: dict[str, Any], app: FastAPI) -> BaseSchema:
    """The stored document, which tests/service/test_openapi_document.py compares with the served one."""
    found = contract_of(document)
    found.app = app
    return found


@pytest.fixture(scope="module")
def contract(app: FastAPI) -> BaseSchema:
    """The contract that every answer keeps."""
    return _contract(_DOCUMENT, app)


@pytest.fixture(scope="module")
def walked(app: FastAPI) -> BaseSchema:
    """The contract whose requests are walked: each kind of part has some couplings, with --long all of them."""
    return _contract(_DOCUMENT if is_full_size() else with_some_couplings(_DOCUMENT), app)


@schemathesis.serializer("application/x-ndjson", "application/jsonl")
def _as_lines(_: Any, value: Any) -> bytes:
    """Text as it is; whatever else is made of the schema, as the JSON it is."""
    return value.encode(errors="replace") if isinstance(value, str) else to_json(value, fallback=repr)


@pytest.mark.parametrize("path", [path for path in _DOCUMENT["paths"] if path not in _APART])
def test_the_service_keeps_its_contract(path: str, walked: BaseSchema) -> None:
    """What the schema allows is answered with 200, what it forbids is refused, and every answer fits.

    Beside random requests this walks the boundaries of every field of the schema. A body of a heavy route may be
    refused for what no schema can say: a rule or a machine that is not there, an assumption where none is made.
    """
    apart = [positive_data_acceptance] if path in HEAVY else []
    apart += [negative_data_rejection] if path in _JUDGED_APART else []

    def send(case: Case) -> None:
        case.call_and_validate(timeout=PATIENCE_S, excluded_checks=apart)

    walk(walked, path, send, examples=30, every=is_full_size())


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
