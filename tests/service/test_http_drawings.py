"""``POST /v1/drawings`` over HTTP, and ``draw`` on the command line: the same pictures."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import httpx
import pytest

from rules.schema.parsing import parse_request
from service.cli import questions
from service.cli.files import BAD_INPUT, VERDICT_CODES
from service.examples import EXAMPLES
from service.operations.problems import KINDS
from tests.support.pictures import NAMES, SVG, named, parsed, words_in


def _post(client: Any, body: bytes, query: str = "", **headers: str) -> httpx.Response:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    sent: httpx.Response = client.request(
        "POST", f"/v1/drawings{query}", content=body, headers={"content-type": "application/json", **named}
    )
    return sent


def _body(name: str = "extended") -> bytes:
    return json.dumps(EXAMPLES[name].request).encode()


@pytest.mark.parametrize("example", EXAMPLES)
@pytest.mark.parametrize("name", NAMES)
def test_a_stack_is_answered_with_a_picture(client: Any, example: str, name: str) -> None:
    """SVG, whatever is known of the stack, the same bytes each time, and not to be stored."""
    response = _post(client, _body(example), f"?picture={name}")
    assert (response.status_code, response.headers["content-type"]) == (200, "image/svg+xml")
    assert (response.headers["cache-control"], response.headers["vary"]) == ("no-store", "Accept, Accept-Encoding")
    assert parsed(response.text).tag == f"{SVG}svg"
    assert response.content == _post(client, _body(example), f"?picture={name}").content
    picture = getattr(named(dict(EXAMPLES[example].request)), name)
    assert picture is None or response.text == picture


def test_the_side_view_with_a_bent_axis_is_the_default(client: Any) -> None:
    """Straight is asked in the query."""
    default = _post(client, _body()).text
    assert default == _post(client, _body(), "?picture=stack&bent=true").text
    straight = _post(client, _body(), "?bent=false").text
    assert any(one.words.startswith("Eccentricity of the axis") for one in words_in(parsed(default)))
    assert not any(one.words.startswith("Eccentricity of the axis") for one in words_in(parsed(straight)))


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("picture=photo", "'distribution', 'axis' or 'speed'"),
        ("picture=", "'distribution', 'axis' or 'speed'"),
        ("bent=maybe", "'true' or 'false'"),
        ("bent=1", "'true' or 'false'"),
        ("pictures=speed", "pictures"),
    ],
)
def test_another_query_is_a_problem(client: Any, query: str, words: str) -> None:
    """Nothing is put right in silence, a misspelt name neither; the answer says what would do."""
    response = _post(client, _body(), f"?{query}")
    assert (response.status_code, response.json()["code"]) == (422, "invalid-request")
    assert words in response.text


@pytest.mark.parametrize(
    ("body", "headers", "name"),
    [
        (b"{", {}, "malformed-json"),
        (b"{}", {}, "invalid-request"),
        (b"<a/>", {"content_type": "application/xml"}, "unsupported-media-type"),
        (b"{}", {"accept": "application/json"}, "not-acceptable"),
        (b"{}", {"accept": "image/png"}, "not-acceptable"),
    ],
)
def test_what_is_no_request_is_a_problem(client: Any, body: bytes, headers: dict[str, str], name: str) -> None:
    """As of a check, but that the answer is a picture."""
    response = _post(client, body, **headers)
    assert (response.json()["code"], response.status_code) == (name, KINDS[name].status)


@pytest.mark.parametrize("accept", ["image/svg+xml", "image/*", "*/*", "text/html, image/*;q=0.5"])
def test_whoever_takes_svg_is_answered(client: Any, accept: str) -> None:
    """By its name or by a range."""
    assert _post(client, _body(), accept=accept).status_code == 200


def test_nothing_to_show_is_a_picture_that_says_so(client: Any) -> None:
    """A stack of which nothing but a name is known has no budget."""
    body = json.dumps({"stack": {"components": [{"id": "c", "kind": "cutter"}]}}).encode()
    response = _post(client, body, "?picture=budget")
    assert response.status_code == 200
    assert [one.words for one in words_in(parsed(response.text))] == ["No chart: no runout is stated."]


def _command(*words: str) -> int:
    parser = argparse.ArgumentParser()
    questions.draw_arguments(parser)
    arguments = parser.parse_args(words)
    code: int = arguments.run(arguments)
    return code


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_command_writes_the_same_picture(
    tmp_path: Path, capsysbinary: Any, client: Any, assessor: Any, example: str
) -> None:
    """To standard output or to a file; the exit code is that of the check."""
    file = tmp_path / "request.json"
    file.write_bytes(_body(example))
    code = VERDICT_CODES[assessor.assess(parse_request(EXAMPLES[example].request)).verdict]
    assert _command(str(file)) == code
    assert capsysbinary.readouterr().out == _post(client, _body(example)).content
    out = tmp_path / "picture.svg"
    assert _command(str(file), "--picture", "stack", "--straight", "--out", str(out)) == code
    assert out.read_bytes() == _post(client, _body(example), "?bent=false").content
    assert capsysbinary.readouterr().out == b""


def test_what_cannot_be_read_or_written_is_said(tmp_path: Path, capsys: Any) -> None:
    """No traceback, and no exit code of a verdict."""
    file = tmp_path / "request.json"
    assert _command(str(file)) == BAD_INPUT
    file.write_text("{}", encoding="utf-8")
    assert _command(str(file)) == BAD_INPUT
    file.write_bytes(_body())
    assert _command(str(file), "--out", str(tmp_path / "none" / "picture.svg")) == BAD_INPUT
    told = capsys.readouterr().err
    assert "No such file" in told
    assert "picture.svg" in told
