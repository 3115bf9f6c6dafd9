"""Any input on any route gets an answer of the contract or a 4xx problem, never a fault of the service.

Input quoted in an answer is harmless on a terminal and in a browser.
"""

from __future__ import annotations

import copy
import gzip
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from service.batch.document import STREAMS
from service.http.app import create_app
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.contract import whole
from tests.support.hostile_bodies import HOSTILE_JSON, HOSTILE_TEXTS, HOSTILE_VALUES

JSON = "application/json"
MAX_ANSWER_BYTES = 100_000
LINES = "application/x-ndjson"
YAML = "application/yaml"


@pytest.fixture(scope="module")
def client(assessor: Assessor) -> Client:
    """Of an application with the limits as they are by default."""
    return Client(create_app(Settings(), assessor))


@pytest.fixture(scope="module")
def routes() -> dict[str, dict[str, Any]]:
    """Every path that takes a body, and for each of its media types an example."""
    found: dict[str, dict[str, Any]] = {}
    document = json.loads((Path(__file__).parents[2] / "openapi/v1.json").read_bytes())
    for path, item in whole(document)["paths"].items():
        if body := item.get("post", {}).get("requestBody"):
            found[path] = {
                media_type: next(iter(content["examples"].values()))["value"]
                for media_type, content in body["content"].items()
                if media_type not in ("application/zip", "multipart/form-data")  # no text; they have their own tests
            }
    return found


def _sent(client: Client, path: str, body: bytes, content_type: str = JSON, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.request("POST", path, content=body, headers={"content-type": content_type, **named})


def _is_harmless(text: str) -> bool:
    return all(one.isprintable() or one in "\n\t" for one in text)


def _is_refusal(response: Any, *statuses: int) -> None:
    """A problem in the 400s that is short and repeats nothing as it was."""
    assert response.status_code in (statuses or range(400, 500)), response.text[:500]
    assert response.headers["content-type"] == "application/problem+json"
    assert response.json()["status"] == response.status_code
    assert len(response.content) < MAX_ANSWER_BYTES
    assert _is_harmless(response.text)


def _with_json(routes: dict[str, dict[str, Any]]) -> list[str]:
    return [path for path, bodies in routes.items() if JSON in bodies]


def test_every_route_that_takes_a_body_is_walked(routes: dict[str, dict[str, Any]]) -> None:
    """New ones by themselves."""
    assert {"/v1/checks", "/v1/check-batches", "/v1/gates", "/v1/imports", "/v1/comparisons"} <= set(routes)
    assert len(_with_json(routes)) >= 7


@pytest.mark.parametrize("name", HOSTILE_JSON)
def test_what_is_no_request_is_refused_by_every_route(
    client: Client, routes: dict[str, dict[str, Any]], name: str
) -> None:
    """400 where it can't be read, 422 where it can."""
    for path in _with_json(routes):
        if (path, name) == ("/v1/searches", "an empty object"):
            continue  # the parts may all be mounted, and nothing else need be wanted
        _is_refusal(_sent(client, path, HOSTILE_JSON[name]), 400, 422)


@pytest.mark.parametrize("name", HOSTILE_JSON)
@pytest.mark.parametrize("content_type", ["application/xml", "text/csv"])
def test_it_is_no_document_either(client: Client, name: str, content_type: str) -> None:
    """The imports refuse it, or say what of it became no component."""
    response = _sent(client, "/v1/imports", HOSTILE_JSON[name], content_type)
    if content_type == "text/csv" and response.status_code == 200:
        assert response.json()["components"] == []
        assert _is_harmless(response.text)
    else:
        _is_refusal(response, 400, 422)


def test_lines_are_answered_one_by_one_whatever_they_are(client: Client) -> None:
    """Each with a problem, and the good ones among them as ever."""
    good = b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}}'
    bad = [body.replace(b"\n", b" ").replace(b"\r", b" ") for body in HOSTILE_JSON.values()]
    bad = [body for body in bad if body.strip()]
    lines = [line for body in bad for line in (good, body)]
    response = _sent(client, "/v1/check-batches", b"\n".join(lines), LINES)
    assert response.status_code == 200
    *answers, summary = map(json.loads, response.content.splitlines())
    assert summary["summary"]["complete"] is True
    by_line = {answer["line"]: answer for answer in answers}
    for number in range(1, len(lines) + 1):
        if number % 2:
            assert "report" in by_line[number]
        elif number in by_line:  # not: definitions of nothing
            assert by_line[number]["problem"]["status"] in (400, 413, 422)
    assert sum("problem" in answer for answer in answers) > 50
    assert _is_harmless(response.text)


@pytest.mark.parametrize("coding", ["gzip", "gzip, identity"])
def test_a_bomb_is_refused(client: Client, routes: dict[str, dict[str, Any]], coding: str) -> None:
    """By the limit of the content, before all of it is unpacked; lines by their growth."""
    bomb = gzip.compress(b" " * 100_000_000)
    for path, bodies in routes.items():
        for media_type in bodies:
            response = _sent(client, path, bomb, media_type, content_encoding=coding)
            if media_type in STREAMS:
                *_, refused, last = map(json.loads, response.content.splitlines())
                assert (refused["problem"]["code"], last["summary"]["complete"]) == ("body-too-large", False)
            else:
                _is_refusal(response, 413)


@pytest.mark.parametrize("coding", ["deflate", "br", "zstd", "gzip, gzip", "x"])
def test_another_coding_is_never_unpacked(client: Client, routes: dict[str, dict[str, Any]], coding: str) -> None:
    """So none can grow (RFC 9110, section 8.4)."""
    bomb = gzip.compress(b" " * 10_000_000)
    for path, bodies in routes.items():
        for media_type in bodies:
            _is_refusal(_sent(client, path, bomb, media_type, content_encoding=coding), 415)


@pytest.mark.parametrize(
    "content_type",
    ["", "x", "/", "*/*", "text/html", "application/json, text/csv", "application/json; charset=utf-16", "a" * 5000],
)
def test_an_undeclared_body_is_refused(client: Client, routes: dict[str, dict[str, Any]], content_type: str) -> None:
    """Nothing is guessed from the content."""
    for path in routes:
        _is_refusal(_sent(client, path, b"{}", content_type), 415)


def _leaves(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield at
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from _leaves(inner, (*at, key))


def _changed(value: Any, at: tuple[Any, ...], put: object) -> Any:
    changed = copy.deepcopy(value)
    holder = changed
    for step in at[:-1]:
        holder = holder[step]
    holder[at[-1]] = put
    return changed


@pytest.mark.parametrize(
    ("offset", "one_in"),
    [(0, 3), *(pytest.param(offset, 1, marks=pytest.mark.long) for offset in range(7))],
)
def test_a_hostile_value_anywhere_is_an_answer_or_a_refusal(
    client: Client, routes: dict[str, dict[str, Any]], offset: int, one_in: int
) -> None:
    """Each place of an example, or one in so many, is given values that it was not made for, by turns."""
    refused = answered = 0
    for path in _with_json(routes):
        example = routes[path][JSON]
        for number, at in enumerate(_leaves(example)):
            if not at or number % one_in:
                continue
            put = HOSTILE_VALUES[(7 * number + 13 * offset) % len(HOSTILE_VALUES)]
            response = _sent(client, path, json.dumps(_changed(example, at, put)).encode())
            if response.status_code == 200:
                answered += 1
            else:
                refused += 1
                _is_refusal(response, 422)
    assert refused > 100
    assert answered > 20


TEXTS = {
    "/stack/id": ("stack", "id"),
    "/stack/description": ("stack", "description"),
    "/stack/components/0/id": ("stack", "components", 0, "id"),
    "/stack/components/0/description": ("stack", "components", 0, "description"),
    "/stack/components/0/part_number": ("stack", "components", 0, "part_number"),
    "/machine/id": ("machine", "id"),
}

UNSEEN = {
    "NUL", "escape", "next line", "line feed", "line feed at the end", "line separator", "override", "isolate",
    "mark from right to left", "Arabic letter mark",
}  # fmt: skip


@pytest.mark.parametrize("place", TEXTS)
@pytest.mark.parametrize("name", HOSTILE_TEXTS)
def test_texts_that_show_otherwise_than_they_are_are_refused(client: Client, place: str, name: str) -> None:
    """Control characters and those that turn the direction of reading, wherever a text is taken; others are text."""
    request: dict[str, Any] = {
        "stack": {"id": "T-1", "components": [{"kind": "cutter", "id": "c"}]},
        "machine": {"kind": "stated", "id": "mill 3"},
    }
    response = _sent(client, "/v1/checks", json.dumps(_changed(request, TEXTS[place], HOSTILE_TEXTS[name])).encode())
    if name in UNSEEN:
        _is_refusal(response, 422)
        assert response.json()["errors"][0]["at"] == [place]
    else:
        assert response.status_code in (200, 422)
        assert _is_harmless(response.text)


@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE", "OPTIONS", "TRACE", "PROPFIND", "get", "X" * 200])
@pytest.mark.parametrize(
    "path",
    [
        "/v1/checks/",
        "/v1/%2e%2e/%2e%2e/etc/passwd",
        "/v1/rules/..%2f..%2fetc%2fpasswd",
        "/v1/rules/%00",
        "/v1/rules/%0d%0aSet-Cookie:%20a=b",
        "/v1/rules/%ff%fe",
        "/v1/rules/%E2%80%AEx",
        "/v1/rules/" + "x" * 20_000,
        "/v1/couplings/%7b%7b7*7%7d%7d",
        "/problems/%2e%2e%2f",
        "/" + "a/" * 5_000,
        "/%2f%2fevil.example",
        "/;/v1/checks",
    ],
)
def test_a_path_that_leads_nowhere_is_refused(client: Client, method: str, path: str) -> None:
    """404 or 405, or the methods of a route with a name in its path; nothing of it gets into a header."""
    response = client.request(method, path)
    if (method, response.status_code) == ("OPTIONS", 204):
        assert response.headers["allow"] == "GET, HEAD, OPTIONS"
    else:
        _is_refusal(response, 404, 405)
    assert "set-cookie" not in response.headers
    assert "location" not in response.headers


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("accept", "application/json;q=" + "9" * 5000),
        ("accept", ",".join(["text/x;q=0.1"] * 5000)),
        ("accept", ";;;,,,===\x7f"),
        ("accept", "\xff\xfe"),
        ("accept-encoding", ",".join(["gzip;q=" + "9" * 500] * 500)),
        ("accept-encoding", "\xff;q=\x7f,,;gzip"),
        ("content-encoding", "gzip"),
        ("if-none-match", '"' + "x" * 60_000),
        ("if-none-match", "W/" * 30_000),
        ("content-length", "-1"),
        ("transfer-encoding", "gzip, chunked"),
        ("expect", "500-continue"),
        ("range", "bytes=0-" + "9" * 5000),
        ("x-forwarded-host", "evil.example"),
        ("host", "evil.example\xff"),
        ("cookie", "a=" + "b" * 60_000),
    ],
    ids=range(16),
)
def test_a_hostile_header_is_no_fault(client: Client, name: str, value: str) -> None:
    """Answered as if it were not there, or refused."""
    response = client.request("GET", "/v1/rules", headers={name: value.encode("latin-1")})
    assert response.status_code in (200, 406)
    assert "evil" not in response.text + str(response.headers)


@pytest.mark.parametrize(
    "query", ["?kind=%00", "?kind=" + "x" * 9000, "?brief=%ff", "?timestamp=%0a", "?" + "a&" * 9000]
)
def test_a_hostile_query_is_no_fault(client: Client, routes: dict[str, dict[str, Any]], query: str) -> None:
    """Refused where the name is known, else passed over."""
    for path, bodies in routes.items():
        media_type, example = next(iter(bodies.items()))
        body = example.encode() if isinstance(example, str) else json.dumps(example).encode()
        response = _sent(client, path + query, body, media_type)
        if response.status_code != 200:
            _is_refusal(response)


@pytest.mark.parametrize("one_in", [5, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", HOSTILE_JSON)
def test_it_is_no_request_in_yaml_either(
    client: Client, routes: dict[str, dict[str, Any]], name: str, one_in: int
) -> None:
    """400, 413 or 422, from every route that takes YAML, where it does not mean something there.

    One reader serves all routes: the others take turns.
    """
    if name in ("two byte order marks", "Infinity"):  # YAML allows several marks; a bare word is the key of a part
        return
    paths = [path for path, bodies in routes.items() if YAML in bodies]
    assert paths
    turn = list(HOSTILE_JSON).index(name)
    for number, path in enumerate(paths):
        if path != "/v1/checks" and number % one_in != turn % one_in:
            continue
        _is_refusal(_sent(client, path, HOSTILE_JSON[name], YAML), 400, 413, 422)
