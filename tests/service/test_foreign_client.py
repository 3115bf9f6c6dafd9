"""A client generated from the published contract by a general-purpose generator works.

The generator is openapi-python-client. It generates attrs models, and a function for every call with JSON. It does not
support XML, CSV, SVG and JSON lines: it omits such calls, or does not parse their responses.
"""

from __future__ import annotations

import asyncio
import copy
import importlib
import json
import re
import subprocess
import sys
from collections.abc import Awaitable, Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any, Final

import httpx
import pytest
from fastapi import FastAPI

from service.client import Client as OwnClient
from service.examples import (
    BATCH_EXAMPLES,
    BUDGET_EXAMPLES,
    BUILD_EXAMPLES,
    CALIBRATION_EXAMPLES,
    COMPARISON_EXAMPLES,
    EXAMPLES,
    EXPLANATION_EXAMPLES,
    GATE_EXAMPLES,
    READING_EXAMPLES,
    SEARCH_EXAMPLES,
)
from tests.support.client_faces import ADDRESS
from tests.support.contract import DOCUMENT, LATER, later_answer, read

PACKAGE = "generated_from_the_contract"

NO_JSON: Final = MappingProxyType(
    {
        ("POST", "/v1/budgets"): {"application/yaml"},
        ("POST", "/v1/checks"): {"application/yaml"},
        ("POST", "/v1/explanations"): {"application/yaml"},
        ("POST", "/v1/check-batches"): {"application/jsonl", "application/x-ndjson"},
        ("POST", "/v1/drawings"): {"application/yaml", "image/svg+xml"},
        ("POST", "/v1/exports"): {"application/xml", "application/yaml"},
        ("POST", "/v1/requests"): {"application/yaml"},
        ("POST", "/v1/imports"): {
            "application/p21",
            "application/xml",
            "application/zip",
            "model/step",
            "text/csv",
            "text/xml",
        },
    }
)
"""What the generator warns of: media types it has no reader for."""


class Generated:
    """The package that was generated, and what was said meanwhile."""

    def __init__(self, said: str, app: FastAPI) -> None:
        self.said = said
        self._app = app

    def module(self, name: str) -> Any:
        return importlib.import_module(f"{PACKAGE}.{name}")

    def ask(self, module: str, /, **arguments: Any) -> Any:
        """Ask the application by the function of this module."""
        call: Callable[..., Awaitable[Any]] = self.module(f"api.{module}").asyncio_detailed

        async def main() -> Any:
            options = {"transport": httpx.ASGITransport(self._app)}
            async with self.module("client").Client(base_url=ADDRESS, httpx_args=options) as client:
                return await call(client=client, **arguments)

        return asyncio.run(main())


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory, app: FastAPI) -> Iterator[Generated]:
    folder = tmp_path_factory.mktemp("generated")
    (folder / "settings.yaml").write_text("post_hooks: []\n", encoding="utf-8")
    command = [
        *(sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none"),
        *("--path", str(DOCUMENT), "--output-path", str(folder / PACKAGE), "--config", str(folder / "settings.yaml")),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    sys.path.insert(0, str(folder))
    yield Generated(done.stdout + done.stderr, app)
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


def test_the_generator_stumbles_over_media_types_only(generated: Generated) -> None:
    """It understands every schema, parameter and answer in JSON."""
    found: dict[tuple[str, str], set[str]] = {}
    for warning in re.split(r"^WARNING ", generated.said, flags=re.MULTILINE)[1:]:
        method, path = warning.split()[1:3]
        named = re.findall(r"Unsupported content[ _]type ([a-z]+/[a-z0-9+-]+)", " ".join(warning.split()))
        assert named, warning
        found.setdefault((method, path), set()).update(named)
    assert found == NO_JSON


def test_every_call_with_json_is_there(generated: Generated) -> None:
    """A module for each operation of the contract but the import."""
    document = json.loads(DOCUMENT.read_text(encoding="utf-8"))
    operations = [one for path in document["paths"].values() for one in path.values()]
    assert len(operations) > 15
    for operation in operations:
        if operation["operationId"] != "import_components":
            generated.module(f"api.{operation['tags'][0]}.{operation['operationId']}")


POSTED: Final[dict[str, tuple[str, str, Mapping[str, Any]]]] = {
    "checks.check_stack": ("/v1/checks", "CheckRequest", EXAMPLES),
    "checks.check_stacks": ("/v1/check-batches", "BatchRequest", BATCH_EXAMPLES),
    "readings.read_build": ("/v1/builds", "BuildRequest", BUILD_EXAMPLES),
    "checks.runout_budget": ("/v1/budgets", "BudgetRequest", BUDGET_EXAMPLES),
    "checks.compare_stacks": ("/v1/comparisons", "ComparisonRequest", COMPARISON_EXAMPLES),
    "rules.explain_rule": ("/v1/explanations", "ExplanationRequest", EXPLANATION_EXAMPLES),
    "gates.gate_order": ("/v1/gates", "GateRequest", GATE_EXAMPLES),
    "searches.search_stacks": ("/v1/searches", "SearchRequest", SEARCH_EXAMPLES),
    "readings.calibrate_assumptions": ("/v1/calibrations", "CalibrationRequest", CALIBRATION_EXAMPLES),
    "readings.read_gauge": ("/v1/readings", "ReadingRequest", READING_EXAMPLES),
}


@pytest.mark.parametrize("name", POSTED)
def test_a_report_comes_back_whole(generated: Generated, client: Any, name: str) -> None:
    """A request written by its models is the request, and the report read by its models is the report."""
    path, model, examples = POSTED[name]
    asked = getattr(generated.module("models"), model)
    for example in examples.values():
        request = copy.deepcopy(dict(example.request))
        body = asked.from_dict(copy.deepcopy(request))
        assert body.to_dict() == request
        answer = generated.ask(name, body=body)
        by_hand = client.request("POST", path, json=request)
        assert (int(answer.status_code), answer.content) == (200, by_hand.content)
        assert answer.parsed.to_dict() == by_hand.json()


@pytest.mark.parametrize(
    ("name", "path", "arguments"),
    [
        ("rules.list_rules", "/v1/rules", {}),
        ("rules.show_rule", "/v1/rules/GRIP-010", {"code": "GRIP-010"}),
        ("couplings.list_couplings", "/v1/couplings", {}),
        ("couplings.show_coupling", "/v1/couplings/nut_collet", {"name": "nut_collet"}),
        ("service.version", "/version", {}),
        ("service.readiness", "/readyz", {}),
        ("service.show_problem", "/problems/invalid-request", {"name": "invalid-request"}),
    ],
)
def test_what_stands_is_read(
    generated: Generated, client: Any, name: str, path: str, arguments: dict[str, str]
) -> None:
    """Listings, tables and states."""
    answer = generated.ask(name, **arguments)
    assert answer.parsed.to_dict() == client.get(path).json()


def test_a_problem_is_read(generated: Generated, client: Any) -> None:
    """With its places."""
    request = {"stack": {"components": [{"kind": "collet", "id": "collet-1", "mass_kg": -1}]}}
    body = generated.module("models").CheckRequest.from_dict(copy.deepcopy(request))
    answer = generated.ask("checks.check_stack", body=body)
    assert int(answer.status_code) == 422
    told = client.request("POST", "/v1/checks", json=request).json()
    assert {**answer.parsed.to_dict(), "request_id": None} == {**told, "request_id": None}


def test_a_document_is_passed_on(generated: Generated, client: Any, request_data: dict[str, Any]) -> None:
    """What the generator has no reader for can still be had as it is."""
    body = generated.module("models").CheckRequest.from_dict(copy.deepcopy(request_data))
    answer = generated.ask("exports.export_cutting_tool", body=body)
    assert answer.parsed is None
    assert answer.content == client.request("POST", "/v1/exports", json=request_data).content


@pytest.mark.parametrize("name", POSTED)
def test_answers_of_a_later_release_are_read(generated: Generated, client: Any, name: str) -> None:
    """More fields in every object and other values in every open list break no generated client."""
    path, _, examples = POSTED[name]
    document = read()
    content = document["paths"][path]["post"]["responses"]["200"]["content"]["application/json"]
    schema = content["schema"]["$ref"].rsplit("/", 1)[1]
    for example in examples.values():
        told = later_answer(client.request("POST", path, json=dict(example.request)).json(), schema)
        assert json.dumps(told).count(LATER) > 1
        assert getattr(generated.module("models"), schema).from_dict(copy.deepcopy(told)).to_dict() == told


def test_the_client_of_the_project_reads_them_too(client: Any, request_data: dict[str, Any]) -> None:
    """What it does not know it leaves out; new values come through."""
    answer = client.request("POST", "/v1/checks", json=request_data).json()
    told = later_answer(answer, "Report")
    with OwnClient(ADDRESS, transport=httpx.MockTransport(lambda _: httpx.Response(200, json=told))) as own:
        report = own.check(request_data)
    assert report.verdict == answer["verdict"]
    assert {limit.cause for limit in report.operations[0].speed.limits} == {LATER}
