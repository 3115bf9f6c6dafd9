"""Every header of every kind of answer, with its exact value."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

BODY = (Path(__file__).resolve().parents[2] / "demo_data/stacks/01-deep-rib-shrink-extension.json").read_bytes()
BARE = "default-src 'none'; frame-ancestors 'none'"
SHEET = "default-src 'none'; style-src 'sha256-…'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
APPLICATION = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'sha256-…'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

# method, path, Accept, body, status, media type, Cache-Control, Content-Security-Policy, whether there is an ETag
ANSWERS = [
    ("POST", "/v1/checks", "application/json", BODY, 200, "application/json", "no-store", BARE, False),
    ("POST", "/v1/checks", "text/html", BODY, 200, "text/html; charset=utf-8", "no-store", SHEET, False),
    ("POST", "/v1/checks", "text/plain", BODY, 200, "text/plain; charset=utf-8", "no-store", BARE, False),
    ("POST", "/v1/drawings", "image/svg+xml", BODY, 200, "image/svg+xml", "no-store", BARE, False),
    ("POST", "/v1/checks", "application/json", b"{", 400, "application/problem+json", "no-store", BARE, False),
    ("POST", "/v1/checks", "image/svg+xml", BODY, 406, "application/problem+json", "no-store", BARE, False),
    ("GET", "/nothing", "*/*", None, 404, "application/problem+json", "no-store", BARE, False),
    ("GET", "/v1/rules", "*/*", None, 200, "application/json", "no-cache", BARE, True),
    ("GET", "/openapi.json", "*/*", None, 200, "application/json", "no-cache", BARE, True),
    ("GET", "/healthz", "*/*", None, 200, "application/json", "no-store", BARE, False),
    ("GET", "/", "text/html", None, 200, "text/html; charset=utf-8", "no-cache", APPLICATION, True),
]


@pytest.mark.parametrize(
    ("method", "path", "accept", "body", "status", "media", "cache", "policy", "tagged"),
    ANSWERS,
    ids=[f"{one[0]} {one[1]} {one[2]} {one[4]}" for one in ANSWERS],
)
def test_headers_of_an_answer(
    client: Any,
    method: str,
    path: str,
    accept: str,
    body: bytes | None,
    status: int,
    media: str,
    cache: str,
    policy: str,
    tagged: bool,
) -> None:
    """No header more, no header less; the length is that of the body, and each answer has a number of its own."""
    headers = {"accept": accept} | ({} if body is None else {"content-type": "application/json"})
    answer = client.request(method, path, headers=headers, content=body)
    told = dict(answer.headers)
    assert answer.status_code == status
    coded = len(answer.content) >= 1024
    assert told.pop("content-encoding", None) == ("gzip" if coded else None)
    assert (0 < int(told.pop("content-length")) < len(answer.content)) == coded
    assert re.fullmatch("[0-9a-f]{32}", told.pop("x-request-id"))
    if tagged:
        assert re.fullmatch('W/"[0-9a-f]{32}"', told.pop("etag"))
    told["content-security-policy"] = re.sub("sha256-[^']+", "sha256-…", told["content-security-policy"])
    assert told == {
        "content-type": media,
        "cache-control": cache,
        "vary": "Accept, Accept-Encoding",
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        "content-security-policy": policy,
    }


def test_two_answers_have_two_numbers(client: Any) -> None:
    """The request's own number comes back where it states one."""
    first, second = (client.get("/healthz").headers["x-request-id"] for _ in range(2))
    assert first != second
    assert client.get("/healthz", x_request_id="abc-1").headers["x-request-id"] == "abc-1"
