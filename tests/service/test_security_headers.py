"""Security headers of every answer, and the permitted host names."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from pydantic import ValidationError
from starlette.middleware import Middleware
from starlette.responses import Response

from rules.assessor import Assessor
from service.http.app import create_app
from service.http.middleware import HEADERS, SecurityHeaders
from service.operations.settings import Settings

PAGE = "https://cam.example:8443"


@pytest.fixture(scope="module")
def app_with(assessor: Assessor) -> Callable[..., FastAPI]:
    return lambda **settings: create_app(Settings(**settings), assessor)


def _ask(app: FastAPI, method: str, path: str, **headers: str) -> httpx.Response:
    named = {name.replace("_", "-"): value for name, value in headers.items()}

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://stackgauge") as client:
            return await client.request(method, path, headers=named)

    return asyncio.run(ask())


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/v1/rules", 200),
        ("HEAD", "/v1/rules", 200),
        ("GET", "/healthz", 200),
        ("GET", "/openapi.json", 200),
        ("GET", "/nothing", 404),
        ("POST", "/v1/checks", 415),
        ("OPTIONS", "/v1/checks", 204),
    ],
)
def test_every_answer_carries_them(client: Any, method: str, path: str, status: int) -> None:
    """Good or bad, read or written."""
    response = client.request(method, path)
    assert response.status_code == status
    assert {name: response.headers[name] for name in HEADERS} == dict(HEADERS)
    if method == "POST":
        assert response.headers["cache-control"] == "no-store"


def test_an_answer_of_a_middleware_carries_them(app_with: Callable[..., FastAPI]) -> None:
    """Also where no route was reached."""
    for settings in ({"tokens_sha256": ("0" * 64,)}, {"allowed_hosts": ("other",)}):
        response = _ask(app_with(**settings), "POST", "/v1/checks")
        assert response.status_code in (401, 421)
        assert {name: response.headers[name] for name in HEADERS} == dict(HEADERS)


@pytest.mark.parametrize(("method", "stored"), [("POST", "no-store"), ("GET", None)])
def test_a_route_that_sets_none_gets_all(method: str, stored: str | None) -> None:
    """With their literal values; an answer to a POST is kept by nobody."""
    app = FastAPI(middleware=[Middleware(SecurityHeaders)])
    app.add_api_route("/bare", lambda: Response("x"), methods=[method])
    headers = _ask(app, method, "/bare").headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["content-security-policy"] == "default-src 'none'; frame-ancestors 'none'"
    assert headers.get("cache-control") == stored


def test_a_route_that_sets_its_own_keeps_it() -> None:
    """A page needs its own styles."""
    app = FastAPI(middleware=[Middleware(SecurityHeaders)])
    own = {"Content-Security-Policy": "default-src 'self'", "Cache-Control": "no-cache"}
    app.add_api_route("/page", lambda: Response(headers=own), methods=["POST"])
    response = _ask(app, "POST", "/page")
    assert response.headers.get_list("content-security-policy") == ["default-src 'self'"]
    assert response.headers["cache-control"] == "no-cache"
    assert response.headers["x-content-type-options"] == "nosniff"


def _preflight(app: FastAPI, origin: str) -> httpx.Response:
    return _ask(
        app,
        "OPTIONS",
        "/v1/checks",
        origin=origin,
        access_control_request_method="POST",
        access_control_request_headers="authorization,content-type",
    )


def test_no_page_from_elsewhere_may_ask_by_default(client: Any) -> None:
    """No header of CORS, whatever is asked."""
    for response in (_preflight(client.app, PAGE), _ask(client.app, "GET", "/v1/rules", origin=PAGE)):
        assert not [name for name in response.headers if name.startswith("access-control")]


def test_a_page_that_is_named_may_ask(app_with: Callable[..., FastAPI]) -> None:
    """Also before it has a token to show, since a browser asks so."""
    app = app_with(cors_origins=(PAGE,), tokens_sha256=("0" * 64,))
    allowed = _preflight(app, PAGE)
    assert allowed.status_code == 200
    assert allowed.headers["access-control-allow-origin"] == PAGE
    assert "authorization" in allowed.headers["access-control-allow-headers"].lower()
    assert "access-control-allow-credentials" not in allowed.headers
    answer = _ask(app, "GET", "/v1/rules", origin=PAGE)
    assert answer.status_code == 401
    assert answer.headers["access-control-allow-origin"] == PAGE


@pytest.mark.parametrize(
    "origin", ["https://cam.example", "http://cam.example:8443", PAGE + ".evil.example", "https://evil.example", "null"]
)
def test_a_page_that_is_not_named_exactly_may_not(app_with: Callable[..., FastAPI], origin: str) -> None:
    """Scheme, name and port are those of the setting."""
    app = app_with(cors_origins=(PAGE,))
    for response in (_preflight(app, origin), _ask(app, "GET", "/v1/rules", origin=origin)):
        assert "access-control-allow-origin" not in response.headers


@pytest.mark.parametrize("origin", ["*", "https://*.example", "null", "cam.example", "https://cam.example/path"])
def test_only_exact_origins_can_be_set(origin: str) -> None:
    """No wildcard."""
    with pytest.raises(ValidationError):
        Settings(cors_origins=(origin,))


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("tools.example", 200),
        ("TOOLS.example", 200),
        ("tools.example:8713", 200),
        ("[::1]:8713", 200),
        ("[::1]", 200),
        ("evil.example", 421),
        ("tools.example.evil.example", 421),
        ("x@tools.example", 421),
        ("", 421),
        ("[::2]", 421),
        ("tools.example\xff", 421),
    ],
)
def test_only_known_names_are_answered_where_they_are_set(
    app_with: Callable[..., FastAPI], host: str, status: int
) -> None:
    """Whatever the port; the name that was asked is not repeated."""
    app = app_with(allowed_hosts=("tools.example", "[::1]"))
    response = _ask(app, "GET", "/healthz", host=host.encode("latin-1"))  # type: ignore[arg-type]
    assert response.status_code == status
    assert "evil" not in response.text


def test_two_names_are_none(app_with: Callable[..., FastAPI]) -> None:
    """A proxy might have believed the other."""
    app = app_with(allowed_hosts=("tools.example",))
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.disconnect"}

    scope = {
        "type": "http",
        "method": "GET",
        "path": "/healthz",
        "query_string": b"",
        "headers": [(b"host", b"tools.example"), (b"host", b"evil.example")],
    }
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 421
