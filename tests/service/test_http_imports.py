"""``POST /v1/imports`` over HTTP, and ``import`` on the command line: the same report."""

from __future__ import annotations

import argparse
import asyncio
import io
import json
import sys
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.middleware import Middleware

from rules.assessor import Assessor
from rules.exchange.component_csv import read_component_csv
from rules.exchange.documents import read_document, read_import_map
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.exchange.tool_packages import read_exchange_document
from rules.schema.imports import ImportReport
from service.cli import exchange
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.examples import CSV_EXAMPLE, P21_EXAMPLE, XML_EXAMPLE
from service.http.app import create_app
from service.http.documents import imports_router
from service.http.middleware import BodyLimit, UnhandledErrors
from service.http.problem_answers import HANDLERS
from service.operations.problems import KINDS
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.exchange_files import file_of

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
        pytest.param(b"<a/>", "application/p21", "malformed-document", id="no exchange file"),
        pytest.param(file_of([], "AUTOMOTIVE_DESIGN"), "model/step", "invalid-request", id="another schema"),
        pytest.param(P21_EXAMPLE.encode(), "application/zip", "malformed-document", id="no archive"),
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
    assert set(response.headers["accept-post"].split(", ")) == {
        *("application/xml", "text/xml", "text/csv", "application/p21", "model/step", "application/zip"),
        "multipart/form-data",
    }


# --- ISO 13399 data and the map of a form --------------------------------------------------------------------------

_DRILL = (_DEMO / "drill-in-collet-chuck.p21").read_bytes()
_MAP = (_DEMO / "iso-13399-map.yaml").read_bytes()
_FORM = 'multipart/form-data; boundary="a b"'


def _package() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("package_assortment.xml", "<package_assortment/>")
        archive.writestr("product_data_files/a.p21", _DRILL)
    return made.getvalue()


def _part(name: str, content: bytes, *heads: str) -> bytes:
    lines = [f'Content-Disposition: form-data; name="{name}"', *heads]
    return b"\r\n".join((b"--a b", *(one.encode() for one in lines), b"", content, b""))


def _form(*parts: bytes) -> bytes:
    return b"".join((*parts, b"--a b--\r\n"))


def test_exchange_files_and_packages_are_answered_with_a_report(post: Any) -> None:
    """By either type of an exchange file; the file of a package is not in its assortment, so it is left over."""
    expected = read_exchange_document(P21_EXAMPLE.encode()).report()
    for content_type in ("application/p21", "model/step"):
        response = post(P21_EXAMPLE.encode(), content_type)
        assert ImportReport.model_validate_json(response.content) == expected
    told = post(_package(), "application/zip").json()
    assert (told["format"], [one["name"] for one in told["unmapped"]]) == (
        "iso_13399_package",
        ["product_data_files/a.p21"],
    )


@pytest.mark.parametrize("declared", ["application/p21", "application/octet-stream", ""])
@pytest.mark.parametrize("written", [_MAP, json.dumps({"kinds": {"KB-N32-12": "collet"}}).encode()])
def test_a_map_travels_in_a_form(post: Any, declared: str, written: bytes) -> None:
    """In YAML or JSON; a document of unknown type is known by its first bytes."""
    heads = [f"Content-Type: {declared}"] if declared else []
    body = _form(_part("map", written), _part("document", _DRILL, *heads))
    using = read_import_map(written)
    response = post(b"preamble\r\n" + body + b"epilogue", _FORM)
    assert (
        ImportReport.model_validate_json(response.content)
        == read_document(_DRILL, "iso_13399", ImportOptions(map=using)).report()
    )
    assert response.json()["provenance"]["map_sha256"] == using.digest


def test_the_bytes_of_a_package_survive_a_form(post: Any) -> None:
    """Whatever line ends and dashes are in it, and other formats are taken, too."""
    data = _package()
    assert post(_form(_part("document", data)), _FORM).content == post(data, "application/zip").content
    table = CSV_EXAMPLE.encode()
    assert (
        post(_form(_part("document", table, "Content-Type: text/csv")), _FORM).content
        == post(table, "text/csv").content
    )


@pytest.mark.parametrize(
    ("body", "content_type", "name"),
    [
        (_form(_part("document", _DRILL)), "multipart/form-data", "malformed-document"),
        (_form(_part("document", _DRILL)), "multipart/form-data; boundary=other", "malformed-document"),
        (_form(_part("document", _DRILL))[:-8], _FORM, "malformed-document"),
        (b"", _FORM, "malformed-document"),
        (_form(), _FORM, "malformed-document"),
        (_form(_part("map", _MAP)), _FORM, "malformed-document"),
        (_form(_part("document", _DRILL), _part("document", _DRILL)), _FORM, "malformed-document"),
        (_form(_part("document", _DRILL), _part("more", b"")), _FORM, "malformed-document"),
        (_form(*(_part("document", b"") for _ in range(9))), _FORM, "malformed-document"),
        (_form(_part("document", b"", "Content-Transfer-Encoding: base64")), _FORM, "malformed-document"),
        (_form(_part("document", b"", "X: " + "x" * 5000)), _FORM, "malformed-document"),
        (_form(b"--a b\r\n\r\nno head\r\n"), _FORM, "malformed-document"),
        (_form(_part("document", b"", "Content-Type: image/png")), _FORM, "unsupported-media-type"),
        (_form(_part("document", _DRILL), _part("map", b"{")), _FORM, "malformed-json"),
        (_form(_part("document", _DRILL), _part("map", b"a: [")), _FORM, "malformed-document"),
        (_form(_part("document", _DRILL), _part("map", b"# " * 40_000)), _FORM, "body-too-large"),
    ],
)
def test_a_broken_form_is_a_problem(post: Any, body: bytes, content_type: str, name: str) -> None:
    """No boundary, no end, fields that are missing, unknown or there twice, a map that is no text of its kind."""
    told = _problem(post(body, content_type), name)
    is_map = any(text in body for text in (b"\r\n\r\n{\r\n", b"a: ["))
    assert ("in the map" in told["detail"]) == is_map


_LIST = b"ID;KIND;Schaft;OAL\nKB-1;cutter;12,5;83\n"
_LIST_MAP = b'{"heads": {"Schaft": "DMM"}}'


def test_a_map_of_heads_and_a_decimal_sign_are_named(post: Any, tmp_path: Path, capsys: Any) -> None:
    """The command takes the same, the map as a file."""
    body = _form(_part("document", _LIST, "Content-Type: text/csv"), _part("map", _LIST_MAP))
    told = post(body, _FORM, "/v1/imports?decimal=comma").json()
    assert told["components"][0]["component"]["machine_side"] == {"coupling": "cylindrical", "diameter_mm": 12.5}
    assert told["provenance"]["map_sha256"] == read_import_map(_LIST_MAP).digest
    (tmp_path / "list.csv").write_bytes(_LIST)
    (tmp_path / "map.json").write_bytes(_LIST_MAP)
    options = ("--map", str(tmp_path / "map.json"), "--decimal", "comma", "--json")
    assert _command(str(tmp_path / "list.csv"), *options) == 0
    assert json.loads(capsys.readouterr().out) == told


@pytest.mark.parametrize(
    ("name", "words"),
    [("face-mill-2.4.xml", "codes, kinds"), ("holders.csv", "codes, kinds, heads, outline")],
)
def test_a_map_of_another_format_is_told(name: str, words: str, tmp_path: Path, capsys: Any) -> None:
    """A report that rests on no map names none, and the command says what the map may have."""
    (tmp_path / "map.json").write_text('{"classes": {"A": "nut_collet"}}', encoding="utf-8")
    assert _command(str(_DEMO / name), "--map", str(tmp_path / "map.json"), "--json") == 0
    printed = capsys.readouterr()
    assert json.loads(printed.out)["provenance"] is None
    assert words in printed.err


@pytest.mark.parametrize(
    ("text", "at"),
    [(b'{"heads": {"a": "nothing"}}', "/heads/a"), (b'{"hats": {}}', "/hats"), (b"kinds: {A: spoon}", "/kinds/A")],
)
def test_a_wrong_map_is_a_problem_with_its_place(text: bytes, at: str, post: Any, tmp_path: Path, capsys: Any) -> None:
    """A pointer into the map; the command reads nothing."""
    told = _problem(post(_form(_part("document", _LIST), _part("map", text)), _FORM), "invalid-request")
    assert [one["at"] for one in told["errors"]] == [[f"/map{at}"]]
    file = tmp_path / ("map.json" if text.startswith(b"{") else "map.yaml")
    file.write_bytes(text)
    assert _command(str(_DEMO / "holders.csv"), "--map", str(file)) == BAD_INPUT
    printed = capsys.readouterr()
    assert (str(file) in printed.err, printed.out) == (True, "")


def test_long_documents_have_a_limit_of_their_own(assessor: Assessor) -> None:
    """An exchange file may be longer than a request; a table may not."""
    client = Client(create_app(Settings(max_body_bytes=4096, max_import_body_bytes=50_000), assessor))
    answers = [
        client.request("POST", "/v1/imports", content=content, headers={"Content-Type": content_type}).status_code
        for content_type, content in (
            ("application/p21", _DRILL),
            ("application/p21", _DRILL + b" " * 50_000),
            ("text/csv", CSV_EXAMPLE.encode() + b"\n" * 4096),
        )
    ]
    assert answers == [200, 413, 413]


def test_the_command_prints_stacks_that_check_takes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On standard output, one a line; the report in words is on standard error."""
    files = [str(_DEMO / name) for name in ("measured-tool.xml", "drill-in-collet-chuck.p21", "holders.csv")]
    assert _command(*files, "--map", str(_DEMO / "iso-13399-map.yaml")) == 0
    printed = capsys.readouterr()
    (line,) = printed.out.splitlines()
    assert all(one in printed.err for one in ("KB-T-0104: assembled tool", "KB-T-0418: stack", "KB-H63-N16"))
    file = tmp_path / "stack.json"
    file.write_text(line, encoding="utf-8")
    assert main(["check", str(file)]) in (0, 1)
    assert "KB-T-0418" in capsys.readouterr().out


def test_the_command_without_a_stack_prints_its_report(capsys: pytest.CaptureFixture[str]) -> None:
    """A single holder, and the same file without its map."""
    assert _command(str(_DEMO / "shrink-fit-chuck.p21"), "--map", str(_DEMO / "iso-13399-map.yaml")) == 0
    assert "KB-7388-40-S12-090: base_holder" in capsys.readouterr().out
    assert _command(str(_DEMO / "drill-in-collet-chuck.p21")) == 1
    assert "kind not stated" in capsys.readouterr().out


def test_the_command_says_where_a_map_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By file and line, and reads nothing."""
    wrong = tmp_path / "map.yaml"
    wrong.write_text("kinds:\n  A: collet\n  B: spoon\n", encoding="utf-8")
    for name in (str(wrong), str(tmp_path / "none")):
        assert _command(str(_DEMO / "drill-in-collet-chuck.p21"), "--map", name) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"{wrong}:3:")


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
