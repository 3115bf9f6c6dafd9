"""``POST /v1/imports`` over HTTP, and ``import`` on the command line: the same report."""

from __future__ import annotations

import argparse
import asyncio
import io
import json
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.middleware import Middleware

from rules.exchange.component_csv import read_component_csv
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.schema.imports import ImportReport
from service.cli import exchange
from service.cli.files import BAD_INPUT
from service.examples import CSV_EXAMPLE, XML_EXAMPLE
from service.http.documents import imports_router
from service.http.middleware import BodyLimit, UnhandledErrors
from service.http.problem_answers import HANDLERS
from service.operations.problems import KINDS

_LIMIT = 64 * 1024
_PIN = f"<CuttingTool xmlns='urn:mtconnect.org:MTConnectAssets:1.4' assetId='KB-{'1' * 3}'/>".encode()
_DEMO = Path(__file__).parents[2] / "demo_data" / "imports"


@pytest.fixture(scope="module")
def own_app() -> FastAPI:
    """The route alone, with what stands around it in the service."""
    app = FastAPI(
        openapi_url=None,
        exception_handlers=dict(HANDLERS),
        middleware=[Middleware(UnhandledErrors), Middleware(BodyLimit, max_bytes=_LIMIT, others={})],
    )
    app.include_router(imports_router())
    return app


@pytest.fixture(scope="module")
def post(own_app: FastAPI) -> Any:
    def send(body: bytes, content_type: str, path: str = "/v1/imports", **headers: str) -> httpx.Response:
        async def request() -> httpx.Response:
            transport = httpx.ASGITransport(own_app)
            async with httpx.AsyncClient(transport=transport, base_url="http://stackgauge") as client:
                named = {name.replace("_", "-"): value for name, value in headers.items()}
                return await client.post(path, content=body, headers={"content-type": content_type, **named})

        return asyncio.run(request())

    return send


def _problem(response: httpx.Response, name: str) -> dict[str, Any]:
    assert response.headers["content-type"] == "application/problem+json"
    told: dict[str, Any] = response.json()
    assert (told["code"], response.status_code) == (name, KINDS[name].status)
    assert told["instance"] == "/v1/imports"
    return told


@pytest.mark.parametrize("content_type", ["application/xml", "text/xml; charset=utf-8", "Text/XML"])
def test_xml_is_answered_with_a_report(post: Any, content_type: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost."""
    response = post(XML_EXAMPLE.encode(), content_type)
    assert (response.status_code, response.headers["content-type"]) == (200, "application/json")
    report = ImportReport.model_validate_json(response.content)
    assert report == read_cutting_tools(XML_EXAMPLE.encode()).report()
    assert report.components[0].component["kind"] == "cutter"


@pytest.mark.parametrize("content_type", ["text/csv", "text/csv; header=present", "text/csv;charset=UTF-8"])
def test_csv_is_answered_with_a_report(post: Any, content_type: str) -> None:
    """A wrong cell is a good answer, with the cell in it."""
    response = post(CSV_EXAMPLE.encode(), content_type)
    assert response.status_code == 200
    report = ImportReport.model_validate_json(response.content)
    assert report == read_component_csv(CSV_EXAMPLE.encode()).report()
    assert (len(report.components), report.faults) == (3, [])
    assert [cell.name for one in report.components for cell in one.rejected] == ["DC"]
    strict = post(CSV_EXAMPLE.encode(), content_type, "/v1/imports?strict=true").json()
    assert (len(strict["components"]), [fault["name"] for fault in strict["faults"]]) == (2, ["DC"])


def test_the_same_document_gives_the_same_bytes(post: Any) -> None:
    """Nothing in the answer depends on when it was asked."""
    first, second = (post(XML_EXAMPLE.encode(), "application/xml") for _ in range(2))
    assert first.content == second.content
    assert first.headers["cache-control"] == "no-store"


def test_a_component_goes_into_a_request_as_it_is(post: Any) -> None:
    """What comes out of an import goes into a check."""
    from rules.schema.parsing import parse_request

    answer = post(CSV_EXAMPLE.encode(), "text/csv", "/v1/imports?strict=true").json()
    components = [one["component"] for one in answer["components"]]
    parsed = parse_request({"stack": {"components": components}})
    assert [part.id for part in parsed.stack.components] == ["KB-EM8-3", "KB-GP8"]


def test_the_kind_is_asked_in_the_query(post: Any) -> None:
    """It holds for pieces that do not say their own; another word is a problem."""
    assert post(_PIN, "application/xml").json()["faults"]
    told = post(_PIN, "application/xml", "/v1/imports?kind=collet").json()
    assert told["components"][0]["component"] == {"kind": "collet", "id": "KB-111"}
    _problem(post(_PIN, "application/xml", "/v1/imports?kind=spoon"), "invalid-request")


_LIST = "ID;KIND;Schaft;OAL\nKB-1;cutter;12,5;83\n"
_MAP = '{"heads": {"Schaft": "DMM"}}'


def test_a_map_and_a_decimal_sign_stand_in_the_query(post: Any, tmp_path: Path, capsys: Any) -> None:
    """The command takes the same, the map as a file."""
    path = str(httpx.URL("/v1/imports", params={"map": _MAP, "decimal": "comma"}))
    told = post(_LIST.encode(), "text/csv", path).json()
    assert told["components"][0]["component"]["machine_side"] == {"coupling": "cylindrical", "diameter_mm": 12.5}
    (tmp_path / "list.csv").write_text(_LIST, encoding="utf-8")
    (tmp_path / "map.json").write_text(_MAP, encoding="utf-8")
    options = ("--map", str(tmp_path / "map.json"), "--decimal", "comma", "--json")
    assert _command(str(tmp_path / "list.csv"), *options) == 0
    assert json.loads(capsys.readouterr().out) == told


@pytest.mark.parametrize(
    ("text", "at"), [('{"heads": {"a": "nothing"}}', "/heads/a"), ('{"hats": {}}', "/hats"), ("{", None)]
)
def test_a_wrong_map_is_a_problem(text: str, at: str | None, post: Any, tmp_path: Path, capsys: Any) -> None:
    """With its place in the map; the command reads nothing."""
    told = _problem(
        post(_LIST.encode(), "text/csv", str(httpx.URL("/v1/imports", params={"map": text}))), "invalid-request"
    )
    assert [place for part in told["errors"] for place in part["at"]] == ([] if at is None else [at])
    (tmp_path / "map.json").write_text(text, encoding="utf-8")
    assert _command(str(tmp_path / "map.json"), "--map", str(tmp_path / "map.json")) == BAD_INPUT
    assert str(tmp_path / "map.json") in capsys.readouterr().err


def test_what_a_tool_is_stands_in_the_query(post: Any) -> None:
    """A polygonal taper may be of either."""
    body = (
        b'<CuttingTool assetId="a"><CuttingToolLifeCycle><ConnectionCodeMachineSide>PSC 63</ConnectionCodeMachineSide>'
        b"<Measurements><CuttingDiameterMax>32</CuttingDiameterMax></Measurements></CuttingToolLifeCycle></CuttingTool>"
    )
    assert len(post(body, "application/xml").json()["faults"]) == 1
    assert len(post(body, "application/xml", "/v1/imports?as=assembled").json()["assembled"]) == 1
    assert len(post(body, "application/xml", "/v1/imports?as=cutter").json()["components"]) == 1
    _problem(post(body, "application/xml", "/v1/imports?as=spoon"), "invalid-request")


@pytest.mark.parametrize(
    ("body", "content_type", "name"),
    [
        pytest.param(b"", "text/csv", "malformed-document", id="empty table"),
        pytest.param(b"", "application/xml", "malformed-document", id="empty document"),
        pytest.param(b"<a>", "application/xml", "malformed-document", id="not well-formed"),
        pytest.param(b"<!DOCTYPE a><a/>", "application/xml", "malformed-document", id="document type"),
        pytest.param(b"\xff\xfe<\x00", "application/xml", "malformed-document", id="UTF-16"),
        pytest.param(b"ID,KIND\n\xff", "text/csv", "malformed-document", id="not UTF-8"),
        pytest.param(b"<a/>", "application/xml", "invalid-request", id="not an assets document"),
        pytest.param(b"ID,DC\nKB-1,8", "text/csv", "invalid-request", id="no kind"),
        pytest.param(CSV_EXAMPLE.encode(), "application/xml", "malformed-document", id="table as XML"),
        pytest.param(b" " * (_LIMIT + 1), "text/csv", "body-too-large", id="too large"),
        pytest.param(b"{}", "application/json", "unsupported-media-type", id="JSON"),
        pytest.param(b"ID,KIND", "text/plain", "unsupported-media-type", id="plain text"),
        pytest.param(b"ID,KIND", "text/csv; charset=latin-1", "unsupported-media-type", id="charset"),
        pytest.param(b"<a/>", "image/svg+xml", "unsupported-media-type", id="other XML"),
    ],
)
def test_what_cannot_be_read_is_a_problem(post: Any, body: bytes, content_type: str, name: str) -> None:
    """400 what is no text of its kind, 422 what is no document of tools, 413 and 415 as everywhere."""
    _problem(post(body, content_type), name)


def test_a_problem_names_the_place(post: Any) -> None:
    """Line and column, where they are known."""
    told = _problem(post(b"<a>\n  <!DOCTYPE b></a>", "text/xml"), "malformed-document")
    assert [(part["line"], part["column"]) for part in told["errors"]] == [(2, 3)]


def test_the_types_taken_are_named(post: Any) -> None:
    """So that a client can mend its request."""
    response = post(b"x", "text/plain")
    assert response.headers["accept-post"] == "application/xml, text/xml, text/csv"


def test_an_accept_that_cannot_be_met_is_406(post: Any) -> None:
    """The report is JSON."""
    _problem(post(b"x", "text/csv", accept="image/png"), "not-acceptable")


def _command(*words: str) -> int:
    parser = argparse.ArgumentParser()
    exchange.import_arguments(parser)
    arguments = parser.parse_args(words)
    code: int = arguments.run(arguments)
    return code


def test_the_command_prints_the_same_report(tmp_path: Path, capsys: pytest.CaptureFixture[str], post: Any) -> None:
    """One line of JSON a file, told apart by what they begin with and not by their names."""
    (tmp_path / "a.txt").write_text(XML_EXAMPLE, encoding="utf-8")
    (tmp_path / "b").write_text(CSV_EXAMPLE, encoding="utf-8")
    assert _command(str(tmp_path / "a.txt"), str(tmp_path / "b"), "--json") == 1
    first, second = map(json.loads, capsys.readouterr().out.splitlines())
    assert first == post(XML_EXAMPLE.encode(), "application/xml").json()
    assert second == post(CSV_EXAMPLE.encode(), "text/csv").json()


def test_the_command_tells_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Golden: components, what is left over and the fault with its place."""
    file = tmp_path / "pieces.csv"
    file.write_text(CSV_EXAMPLE, encoding="utf-8")
    assert _command(str(file)) == 1
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.startswith("CSV: 3 components, 1 wrong value")
    assert "KB-EM8-3: cutter, row, line 2" in printed
    assert "in the format: joints.grip_length_mm" in printed
    assert "PRICE: neither a symbol nor a field" in printed
    assert "DC: 5,0: a number is written with" in printed


def test_the_command_reads_standard_input(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A dash is standard input; the kind is given as over HTTP."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(_PIN)))
    assert _command("-", "--kind", "collet", "--json") == 0
    assert json.loads(capsys.readouterr().out)["components"][0]["component"]["kind"] == "collet"


def test_the_command_says_why_a_file_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By file, line and column; the others are read all the same."""
    good, bad = tmp_path / "good.csv", tmp_path / "bad.xml"
    good.write_text("ID,KIND\nKB-1,collet\n", encoding="utf-8")
    bad.write_text("<a>\n<!DOCTYPE b></a>", encoding="utf-8")
    assert _command(str(bad), str(tmp_path / "none"), str(good), "--json") == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.err.splitlines() == [
        f"{bad}:2:1: a document type declaration is not allowed",
        f"{tmp_path / 'none'}: No such file or directory",
    ]
    assert len(printed.out.splitlines()) == 1


@pytest.mark.parametrize(
    ("name", "components", "assembled", "rejected", "faults"),
    [
        ("archetypes.xml", 1, 1, 0, 1),
        ("face-mill-2.4.xml", 0, 1, 0, 0),
        ("measured-tool.xml", 0, 1, 0, 0),
        ("holders.csv", 3, 0, 0, 0),
        ("list-of-a-maker.csv", 3, 0, 1, 0),
        ("shanks-and-pins.csv", 5, 0, 1, 0),
    ],
)
def test_the_demonstration_documents_are_read(
    name: str, components: int, assembled: int, rejected: int, faults: int, capsys: Any
) -> None:
    """Golden: each shows what its name says, three of them a mistake on purpose."""
    assert _command(str(_DEMO / name), "--json") == (1 if faults or rejected else 0)
    told = json.loads(capsys.readouterr().out)
    assert (len(told["components"]), len(told["assembled"])) == (components, assembled)
    assert len(told["faults"]) == faults
    assert sum(len(one["rejected"]) for one in told["components"]) == rejected
