"""The application in this process, and a client without a port."""

from __future__ import annotations

import asyncio
import copy
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute

from rules.assessor import Assessor
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.examples import EXAMPLES, EXTENDED
from service.http.app import create_app
from service.operations.settings import Settings

MAX_BODY_BYTES = 64 * 1024


class Client:
    """Sends one request at a time to an application in this process."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app

    def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        return asyncio.run(self._request(method, path, options))

    def get(self, path: str, **headers: str) -> httpx.Response:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.request("GET", path, headers=named)

    def check(self, body: bytes, content_type: str = "application/json", **headers: str) -> httpx.Response:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.request("POST", "/v1/checks", content=body, headers={"content-type": content_type, **named})

    def check_in_pieces(self, pieces: Iterable[bytes]) -> httpx.Response:
        """Sends a body whose length is not declared."""

        async def flow() -> AsyncIterator[bytes]:
            for piece in pieces:
                yield piece

        return self.request("POST", "/v1/checks", content=flow(), headers={"content-type": "application/json"})

    async def _request(self, method: str, path: str, options: dict[str, Any]) -> httpx.Response:
        transport = httpx.ASGITransport(self.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://stackgauge") as client:
            return await client.request(method, path, **options)


def every_route(app: FastAPI) -> Iterator[APIRoute]:
    """Every route, of routers too."""
    waiting: list[Any] = list(app.routes)
    while waiting:
        one = waiting.pop()
        inner = getattr(one, "original_router", None)
        if isinstance(one, APIRoute):
            yield one
        elif inner is not None:
            waiting.extend(inner.routes)


@pytest.fixture(scope="session")
def assessor() -> Assessor:
    return Assessor.load()


@pytest.fixture(scope="session")
def _reports() -> dict[str, Report]:
    return {}


@pytest.fixture
def judged_once(monkeypatch: pytest.MonkeyPatch, assessor: Assessor, _reports: dict[str, Report]) -> None:
    """The built-in rules judge equal requests once in this process, where what becomes of the reports is tested."""
    assess = Assessor.assess

    def judge(self: Assessor, request: CheckRequest) -> Report:
        if self is not assessor:
            return assess(self, request)
        text = request.model_dump_json(exclude_unset=True)
        if text not in _reports:
            _reports[text] = assess(self, request)
        return _reports[text]

    monkeypatch.setattr(Assessor, "assess", judge)


@pytest.fixture(scope="session")
def app(assessor: Assessor) -> FastAPI:
    return create_app(Settings(max_body_bytes=MAX_BODY_BYTES), assessor)


@pytest.fixture(scope="session")
def client(app: FastAPI) -> Client:
    return Client(app)


@pytest.fixture(scope="session")
def client_with() -> Callable[[Any], Client]:
    """Makes a client of an application that judges with something else."""

    def make(assessor: Any) -> Client:
        return Client(create_app(Settings(max_body_bytes=MAX_BODY_BYTES), assessor))

    return make


@pytest.fixture
def request_data() -> dict[str, Any]:
    """The example in which nothing is left out; a test may change its copy."""
    return copy.deepcopy(dict(EXAMPLES[EXTENDED].request))


@pytest.fixture(scope="session")
def max_body_bytes() -> int:
    """The limit that the application of these tests was given."""
    return MAX_BODY_BYTES
