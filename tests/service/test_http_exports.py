"""``POST /v1/exports`` over HTTP, and ``export`` on the command line: the same document."""

from __future__ import annotations

import argparse
import asyncio
import copy
import json
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from lxml import etree

from rules.assessor import Assessor
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_export import EPOCH
from rules.exchange.tool_asset_import import read_cutting_tools
from service.cli import exchange
from service.cli.files import BAD_INPUT, VERDICT_CODES
from service.examples import EXAMPLES
from service.http.documents import exports_router
from service.http.problem_answers import HANDLERS
from service.operations.problems import KINDS
from service.operations.process import Exporter


@pytest.fixture(scope="module")
def post(assessor: Assessor) -> Any:
    """Sends a request to the route alone."""
    app = FastAPI(openapi_url=None, exception_handlers=dict(HANDLERS))
    app.include_router(exports_router(Exporter(assessor)))

    def send(body: bytes, path: str = "/v1/exports", **headers: str) -> httpx.Response:
        async def request() -> httpx.Response:
            transport = httpx.ASGITransport(app)
            async with httpx.AsyncClient(transport=transport, base_url="http://stackgauge") as client:
                named = {name.replace("_", "-"): value for name, value in headers.items()}
                return await client.post(path, content=body, headers={"content-type": "application/json", **named})

        return asyncio.run(request())

    return send


def _body(name: str) -> bytes:
    return json.dumps(EXAMPLES[name].request).encode()


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_stack_is_answered_with_a_cutting_tool(post: Any, name: str) -> None:
    """XML, whatever is known of the stack, and the same bytes each time."""
    response = post(_body(name))
    assert (response.status_code, response.headers["content-type"]) == (200, "application/xml")
    assert response.headers["cache-control"] == "no-store"
    assert response.content == post(_body(name)).content
    (tool,) = etree.fromstring(response.content).iter("{*}CuttingTool")
    assert tool.get("timestamp") == EPOCH
    assert read_cutting_tools(response.content, ImportOptions(read_as="assembled")).assembled


def test_time_and_version_are_asked_in_the_query(post: Any) -> None:
    """Both are the caller's choice."""
    response = post(_body("extended"), "/v1/exports?timestamp=2031-05-04T12:00:00Z&standard=2.4")
    assert read_cutting_tools(response.content).version == "2.4"
    assert b'timestamp="2031-05-04T12:00:00Z"' in response.content


@pytest.mark.parametrize("query", ["timestamp=now", "timestamp=2031-02-30T00:00:00Z", "standard=1.1", "standard="])
def test_another_query_is_a_problem(post: Any, query: str) -> None:
    """Nothing is put right in silence."""
    response = post(_body("extended"), f"/v1/exports?{query}")
    assert (response.status_code, response.json()["code"]) == (422, "invalid-request")


@pytest.mark.parametrize(
    ("body", "headers", "name"),
    [
        (b"{", {}, "malformed-json"),
        (b"{}", {}, "invalid-request"),
        (b"<a/>", {"content_type": "application/xml"}, "unsupported-media-type"),
        (b"{}", {"accept": "application/json"}, "not-acceptable"),
    ],
)
def test_what_is_no_request_is_a_problem(post: Any, body: bytes, headers: dict[str, str], name: str) -> None:
    """As of a check, but that the answer is XML."""
    response = post(body, **headers)
    assert (response.json()["code"], response.status_code) == (name, KINDS[name].status)


def test_a_reference_is_resolved_or_left_unknown(post: Any) -> None:
    """A definition of the request is taken in place; one that is missing is no reason for no answer."""
    request = copy.deepcopy(dict(EXAMPLES["extended"].request))
    whole = post(json.dumps(request).encode())
    components = request["stack"]["components"]
    holder = components[0]
    components[0] = {"kind": "reference", "of": {"from": "request", "key": "key"}, "id": holder["id"]}
    missing = post(json.dumps(request).encode())
    request["components"] = {"key": holder}
    resolved = post(json.dumps(request).encode())

    def code(response: httpx.Response) -> list[str | None]:
        assert response.status_code == 200
        return [one.text for one in etree.fromstring(response.content).iter("{*}ConnectionCodeMachineSide")]

    assert code(resolved) == code(whole) != []
    assert code(missing) == []


def _command(*words: str) -> int:
    parser = argparse.ArgumentParser()
    exchange.export_arguments(parser)
    arguments = parser.parse_args(words)
    code: int = arguments.run(arguments)
    return code


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_command_prints_the_same_document(
    tmp_path: Path, capsysbinary: Any, post: Any, assessor: Assessor, name: str
) -> None:
    """The exit code is that of the check."""
    from rules.schema.parsing import parse_request

    file = tmp_path / "request.json"
    file.write_bytes(_body(name))
    verdict = assessor.assess(parse_request(EXAMPLES[name].request)).verdict
    assert _command(str(file), "--timestamp", "2031-05-04T12:00:00Z") == VERDICT_CODES[verdict]
    expected = post(_body(name), "/v1/exports?timestamp=2031-05-04T12:00:00Z")
    assert capsysbinary.readouterr().out == expected.content


def test_the_command_says_what_is_no_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By file, line and column, as a check does; nothing is printed."""
    file = tmp_path / "request.json"
    file.write_text('{"stack":\n oops}', encoding="utf-8")
    assert _command(str(file)) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"{file}:2:2:")


@pytest.mark.parametrize("words", [("--timestamp", "now"), ("--standard", "1.1")])
def test_the_command_refuses_a_senseless_option(words: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """Before any work."""
    with pytest.raises(SystemExit):
        _command("x.json", *words)
    assert words[0] in capsys.readouterr().err
