"""Direct dispatch of routes gives the same answers as the router."""

from __future__ import annotations

import asyncio
from datetime import date
from typing import Any

import pytest
from fastapi import APIRouter
from pydantic_core import to_json

from rules.assessor import Assessor
from service.http.app import create_app
from service.http.openapi import deprecate
from service.http.questions import readings_router
from service.operations.settings import Settings
from tests.support.contract import whole

POSTED = (
    "/v1/budgets",
    "/v1/builds",
    "/v1/calibrations",
    "/v1/checks",
    "/v1/comparisons",
    "/v1/explanations",
    "/v1/gates",
    "/v1/readings",
    "/v1/searches",
)

PLAIN = {"content-type": "application/json"}


@pytest.fixture(scope="module")
def by_router(assessor: Assessor, client: Any, max_body_bytes: int) -> Any:
    """A client of an application without short ways."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("service.http.app.posted_routes", lambda _: {})
        return type(client)(create_app(Settings(max_body_bytes=max_body_bytes), assessor))


def _example(client: Any, path: str) -> bytes:
    operation = whole(client.get("/openapi.json").json())["paths"][path]["post"]
    examples = operation["requestBody"]["content"]["application/json"]["examples"]
    return to_json(next(iter(examples.values()))["value"])


@pytest.mark.parametrize("path", POSTED)
@pytest.mark.parametrize(
    ("method", "content", "headers"),
    [
        ("POST", None, PLAIN),
        ("POST", None, {**PLAIN, "accept": "text/plain"}),
        ("POST", None, {**PLAIN, "accept": "text/html"}),
        ("POST", None, {**PLAIN, "accept": "image/png"}),
        ("POST", None, {**PLAIN, "content-encoding": "gzip"}),
        ("POST", None, {}),
        ("POST", b"{}", PLAIN),
        ("POST", b"{", {**PLAIN, "accept": "text/html"}),
        ("POST", b"", PLAIN),
        ("POST", b" " * (1 << 20), PLAIN),
        ("GET", b"", {}),
        ("HEAD", b"", {}),
        ("OPTIONS", b"", {}),
    ],
)
def test_it_answers_as_the_router_does(
    client: Any, by_router: Any, path: str, method: str, content: bytes | None, headers: dict[str, str]
) -> None:
    """Status, headers in their order and body, for what is right and for all that may be wrong."""
    named = {"x-request-id": "same", **headers}
    sent = _example(client, path) if content is None else content
    short, long = (one.request(method, path, content=sent, headers=named) for one in (client, by_router))
    assert short.status_code == long.status_code
    assert short.headers.raw == long.headers.raw
    assert short.content == long.content


def test_a_deprecated_one_says_so(client: Any, assessor: Assessor, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every answer, as on the long way."""

    def deprecated(judge: Assessor) -> APIRouter:
        router = readings_router(judge)
        deprecate(router, "/v1/readings", since=date(2027, 3, 1), link="/v1/new")
        return router

    monkeypatch.setattr("service.http.app.readings_router", deprecated)
    old = type(client)(create_app(Settings(), assessor))
    for content in (_example(client, "/v1/readings"), b"{"):
        told = old.request("POST", "/v1/readings", content=content, headers=PLAIN)
        assert told.headers["deprecation"] == "@1803859200"


def _scope_after(client: Any, method: str, path: str, **more: Any) -> dict[str, Any]:
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [],
        **more,
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(_: Any) -> None:
        pass

    asyncio.run(client.app(scope, receive, send))
    return scope


@pytest.mark.parametrize("path", POSTED)
def test_no_router_is_asked(client: Any, path: str) -> None:
    """The router leaves its name in the scope; the route is known all the same, for log and counts."""
    scope = _scope_after(client, "POST", path)
    assert "router" not in scope
    assert scope["route"].path_format == path


@pytest.mark.parametrize(
    ("method", "path", "more"),
    [
        ("PUT", "/v1/checks", {}),
        ("POST", "/v1/checks/", {}),
        ("POST", "/v1/exports", {}),
        ("POST", "/below/v1/checks", {"root_path": "/below"}),
        ("POST", "/v1/checks", {"fastapi.telemetry": None}),
    ],
)
def test_all_else_is_the_routers(client: Any, method: str, path: str, more: dict[str, Any]) -> None:
    """Other methods and routes, a mounted application, and what the framework itself is to watch."""
    assert "router" in _scope_after(client, method, path, **more)
