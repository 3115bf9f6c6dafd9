"""Bodies in gzip, both ways (RFC 9110, sections 8.4 and 12.5.3; RFC 1952)."""

from __future__ import annotations

import gzip
import json
import zlib
from typing import Any

import anyio
import httpx
import pytest
from fastapi import FastAPI

from service.http.app import create_app
from service.operations.settings import Settings
from tests.service.conftest import Client

LINES = "application/x-ndjson"
BATCHES = "/v1/check-batches"


def _gzip(data: bytes) -> bytes:
    return gzip.compress(data, mtime=0)


def _post(client: Client, content: Any, path: str = "/v1/checks", **headers: str) -> httpx.Response:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    named = {"content-type": "application/json", "content-encoding": "gzip"} | named
    return client.request("POST", path, content=content, headers=named)


async def _in_pieces(data: bytes, size: int) -> Any:
    for start in range(0, len(data), size):
        yield data[start : start + size]


@pytest.fixture
def body(request_data: dict[str, Any]) -> bytes:
    return json.dumps(request_data).encode()


def _halves(body: bytes) -> bytes:
    return _gzip(body[:100]) + _gzip(body[100:])


def _with_name(body: bytes) -> bytes:
    """A member with a file name and a time, as the gzip program writes it."""
    plain = _gzip(body)
    return plain[:3] + b"\x08" + b"\x01\x02\x03\x04" + plain[8:10] + b"check.json\x00" + plain[10:]


def _stored(body: bytes) -> bytes:
    coder = zlib.compressobj(0, zlib.DEFLATED, 31)
    return coder.compress(body) + coder.flush()


@pytest.mark.parametrize("code", [_gzip, _halves, _with_name, _stored, lambda body: _gzip(b"") + _gzip(body)])
@pytest.mark.parametrize("coding", ["gzip", "GZIP", "x-gzip", "identity, gzip"])
def test_a_body_in_gzip_is_answered_as_the_plain_one(client: Any, body: bytes, code: Any, coding: str) -> None:
    """Byte for byte, whatever the members, their headers and their levels."""
    plain = client.check(body)
    coded = _post(client, code(body), content_encoding=coding)
    assert (coded.status_code, coded.content) == (200, plain.content)


@pytest.mark.parametrize("size", [1, 7, 1000])
def test_a_body_in_gzip_may_come_in_pieces(client: Any, body: bytes, size: int) -> None:
    """Boundaries of pieces and of members are independent."""
    assert _post(client, _in_pieces(_halves(body), size)).content == client.check(body).content


@pytest.mark.parametrize("coding", ["identity", "", "identity, identity"])
def test_identity_is_no_coding(client: Any, body: bytes, coding: str) -> None:
    """Stated or not."""
    assert _post(client, body, content_encoding=coding).status_code == 200


@pytest.mark.parametrize("coding", ["br", "deflate", "zstd", "gzip, gzip", "gzip, br", "x", "gzip;q=1"])
@pytest.mark.parametrize(
    ("path", "media_type"), [("/v1/checks", "application/json"), (BATCHES, LINES), ("/v1/imports", "text/csv")]
)
def test_another_coding_is_415(client: Any, coding: str, path: str, media_type: str) -> None:
    """The answer names the codings that are taken (RFC 9110, section 12.5.3)."""
    response = _post(client, b"x", path, content_encoding=coding, content_type=media_type)
    assert (response.status_code, response.json()["code"]) == (415, "unsupported-media-type")
    assert response.headers["accept-encoding"] == "gzip, identity"


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param(lambda _: b"", id="nothing"),
        pytest.param(lambda _: b"{}", id="plain"),
        pytest.param(lambda coded: coded[:1], id="one byte"),
        pytest.param(lambda coded: coded[:-1], id="one byte short"),
        pytest.param(lambda coded: coded[:-8], id="without its trailer"),
        pytest.param(lambda coded: coded[:-8] + bytes(8), id="wrong sum"),
        pytest.param(lambda coded: coded[:20] + b"\xff" * 40 + coded[60:], id="damaged"),
        pytest.param(lambda coded: coded + b"x", id="a byte behind"),
        pytest.param(lambda coded: coded + coded[:12], id="half a member behind"),
        pytest.param(lambda coded: zlib.compress(gzip.decompress(coded)), id="zlib"),
    ],
)
@pytest.mark.parametrize("size", [10_000_000, 1])
def test_a_body_that_is_no_gzip_is_400(client: Any, body: bytes, wrong: Any, size: int) -> None:
    """However it arrives; nothing of it is judged."""
    response = _post(client, _in_pieces(wrong(_gzip(body)), size))
    assert (response.status_code, response.json()["code"]) == (400, "malformed-gzip")


@pytest.mark.parametrize(
    ("extra", "code"), [(0, "malformed-json"), (1, "body-too-large"), (200_000_000, "body-too-large")]
)
def test_the_limit_holds_for_the_content(client: Any, max_body_bytes: int, extra: int, code: str) -> None:
    """As many bytes as of a plain body, and no more is inflated than that."""
    assert _post(client, _gzip(b" " * (max_body_bytes + extra))).json()["code"] == code


def test_a_body_that_grows_too_much_is_not_read_to_its_end(client: Any) -> None:
    """Lines have no limit in all, so their growth is limited: 413 before a bomb is unpacked."""
    taken = 0

    async def bomb() -> Any:
        nonlocal taken
        coder = zlib.compressobj(9, zlib.DEFLATED, 31)
        yield coder.flush(zlib.Z_FULL_FLUSH)
        piece = coder.compress((b" " * 1023 + b"\n") * 1024) + coder.flush(zlib.Z_FULL_FLUSH)
        for _ in range(1000):
            taken += len(piece)
            yield piece

    response = _post(client, bomb(), BATCHES, content_type=LINES)
    assert taken < 64 * 1024
    *_, refused, last = map(json.loads, response.content.splitlines())
    assert (refused["problem"]["code"], refused["problem"]["status"]) == ("body-too-large", 413)
    assert last["summary"]["complete"] is False


@pytest.mark.parametrize("part", [_gzip(b""), b"\x00\x00\x00\xff\xff"], ids=["members", "blocks"])
def test_gzip_without_content_has_an_end(client: Any, part: bytes) -> None:
    """Empty members and empty blocks grow to nothing, so no limit of the content would stop them."""
    taken = 0

    async def endless() -> Any:
        nonlocal taken
        yield _gzip(b"")[:10] if part[:1] == b"\x00" else b""
        for _ in range(10_000):
            taken += len(part) * 1000
            yield part * 1000

    response = _post(client, endless())
    assert (response.status_code, response.json()["code"]) == (400, "malformed-gzip")
    assert taken < 2 * 1024 * 1024


def _stacks(request_data: dict[str, Any], count: int) -> bytes:
    return b"".join(
        b"%b\n" % json.dumps({**request_data, "stack": {**request_data["stack"], "id": f"T-{n}"}}).encode()
        for n in range(count)
    )


def test_lines_in_gzip_are_answered_as_plain_ones(client: Any, request_data: dict[str, Any]) -> None:
    """Byte for byte after decoding, also lines that repeat one stack."""
    lines = _stacks(request_data, 40)
    plain = _post(client, lines, BATCHES, content_encoding="identity", content_type=LINES)
    coded = _post(client, _in_pieces(_gzip(lines), 100), BATCHES, content_type=LINES)
    assert (coded.status_code, coded.content) == (200, plain.content)
    assert coded.headers["content-encoding"] == "gzip"


def test_lines_that_break_off_in_gzip_say_so(client: Any, request_data: dict[str, Any]) -> None:
    """What came before is answered; then a problem, and the summary says that the batch is not complete."""
    coded = _gzip(_stacks(request_data, 5))
    response = _post(client, _in_pieces(coded[:-8] + bytes(8), 100), BATCHES, content_type=LINES)
    told = list(map(json.loads, response.content.splitlines()))
    assert response.status_code == 200
    assert told[-2]["problem"]["code"] == "malformed-gzip"
    assert told[-1]["summary"]["complete"] is False
    assert all("report" in one for one in told[:-2])


def test_lines_that_never_were_gzip_are_400(client: Any) -> None:
    """Where nothing has been read, there is nothing to answer."""
    response = _post(client, b'{"stack": {}}\n', BATCHES, content_type=LINES)
    assert (response.status_code, response.json()["code"]) == (400, "malformed-gzip")


GIVEN = [
    ("gzip", "gzip"),
    ("gzip, deflate, br", "gzip"),
    ("GZip", "gzip"),
    ("x-gzip", "gzip"),
    ("*", "gzip"),
    ("gzip;q=0.1", "gzip"),
    ("br;q=1, gzip;q=0.5", "gzip"),
    ("identity", None),
    ("br", None),
    ("", None),
    ("gzip;q=0", None),
    ("gzip;q=0, *", None),
    ("gzip;q=0.5, identity;q=1", None),
    ("nogzip", None),
]


@pytest.mark.parametrize(("accept", "coding"), GIVEN)
@pytest.mark.parametrize("path", ["/v1/rules", "/", "/static/base.js", "/openapi.json"])
def test_a_response_is_in_gzip_where_it_is_accepted(client: Any, path: str, accept: str, coding: str | None) -> None:
    """Weights count; the content is the same; a cache is told that there are two."""
    plain = client.get(path, accept_encoding="identity")
    response = client.get(path, accept_encoding=accept)
    assert response.headers.get("content-encoding") == coding
    assert response.content == plain.content
    assert response.headers["etag"] == plain.headers["etag"]
    assert response.headers["vary"] == plain.headers["vary"] == "Accept, Accept-Encoding"
    assert (int(response.headers["content-length"]) < len(plain.content)) == (coding == "gzip")


def test_a_copy_in_gzip_is_known_again(client: Any) -> None:
    """The tag is that of the content in every coding; the 304 varies as the 200 does."""
    first = client.get("/v1/rules", accept_encoding="gzip")
    again = client.get("/v1/rules", accept_encoding="gzip", if_none_match=first.headers["etag"])
    assert (again.status_code, again.content) == (304, b"")
    for name in ("etag", "vary", "cache-control"):
        assert again.headers[name] == first.headers[name]


def test_reports_problems_and_heads_are_in_gzip_too(client: Any, body: bytes) -> None:
    """Whatever is long; a short one stays as it is."""
    for accept in ("application/json", "text/html", "text/plain"):
        assert client.check(body, accept=accept, accept_encoding="gzip").headers["content-encoding"] == "gzip"
    many = json.dumps({f"x{n}": n for n in range(40)}).encode()
    assert client.check(many, accept_encoding="gzip").headers["content-encoding"] == "gzip"
    assert "content-encoding" not in client.check(b"{}", accept_encoding="gzip").headers
    headers = {"accept-encoding": "gzip", "x-request-id": "1"}
    got, head = (client.request(method, "/v1/rules", headers=headers) for method in ("GET", "HEAD"))
    assert head.headers == got.headers


def _raw(app: FastAPI, body: bytes) -> bytes:
    """The coded bytes of a report."""

    async def ask() -> bytes:
        transport = httpx.ASGITransport(app)
        async with (
            httpx.AsyncClient(transport=transport, base_url="http://stackgauge") as http,
            http.stream(
                "POST",
                "/v1/checks",
                content=body,
                headers={"content-type": "application/json", "accept-encoding": "gzip"},
            ) as response,
        ):
            return b"".join([piece async for piece in response.aiter_raw()])

    return anyio.run(ask)


def test_equal_reports_are_equal_bytes_in_gzip(assessor: Any, app: FastAPI, body: bytes) -> None:
    """No time and no file name in the header (RFC 1952, section 2.3.1), in another application too."""
    one, other = _raw(app, body), _raw(create_app(Settings(), assessor), body)
    assert one == other
    assert one[:4] == b"\x1f\x8b\x08\x00"
    assert one[4:8] == bytes(4)
