"""A deprecated route is marked in the contract and in every answer; at present there is none."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from email.utils import parsedate_to_datetime
from typing import Any

import pytest
from fastapi import APIRouter, FastAPI
from openapi_spec_validator import validate

from rules.assessor import Assessor
from service.http.answers import made_now
from service.http.app import create_app
from service.http.metrics import health_router
from service.http.openapi import Deprecation, deprecate, describe
from service.http.questions import readings_router
from service.operations.problems import ProblemError
from service.operations.process import Shutdown
from service.operations.settings import Settings
from tests.support.contract import whole

SINCE, SUNSET, LINK = date(2027, 3, 1), date(2028, 3, 1), "/problems/not-found"
FIELDS = ("deprecation", "sunset", "link")


def _old_router() -> APIRouter:
    """Routes thrown away after the test, one of them deprecated."""
    router = APIRouter(tags=["service"])

    @router.get("/v1/old")
    async def old(fault: str = "") -> dict[str, str]:
        """To go."""
        if fault == "problem":
            raise ProblemError("not-found", "No.")
        if fault:
            raise ZeroDivisionError
        return {"status": "ok"}

    @router.get("/v1/kept")
    async def kept() -> dict[str, str]:
        """To stay."""
        return {"status": "ok"}

    deprecate(router, "/v1/old", since=SINCE, sunset=SUNSET, link=LINK)
    return router


@pytest.fixture(scope="module")
def old_app(assessor: Assessor) -> FastAPI:
    app = create_app(Settings(), assessor)
    app.include_router(_old_router())
    return app


@pytest.fixture(scope="module")
def old_client(old_app: FastAPI, client: Any) -> Any:
    return type(client)(old_app)


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/v1/old", 200),
        ("HEAD", "/v1/old", 200),
        ("GET", "/v1/old?fault=problem", 404),
        ("GET", "/v1/old?fault=other", 500),
    ],
)
def test_every_answer_tells(old_client: Any, method: str, path: str, status: int) -> None:
    """A success, a problem, a fault; with the instants the days begin at."""
    response = old_client.request(method, path)
    assert response.status_code == status
    assert response.headers["link"] == f'<{LINK}>; rel="deprecation"'
    # RFC 9745, section 2.1: a Date of structured fields, that is @ and whole seconds
    assert response.headers["deprecation"] == "@1803859200"
    assert datetime.fromtimestamp(1803859200, UTC) == datetime(2027, 3, 1, tzinfo=UTC)
    # RFC 8594, section 3: an HTTP-date
    assert response.headers["sunset"] == "Wed, 01 Mar 2028 00:00:00 GMT"
    assert parsedate_to_datetime(response.headers["sunset"]) == datetime(2028, 3, 1, tzinfo=UTC)


@pytest.mark.parametrize("path", ["/v1/kept", "/healthz", "/v1/rules", "/v1/rules/NO-SUCH", "/nowhere"])
def test_other_answers_do_not(old_client: Any, path: str) -> None:
    """What stays says nothing of it."""
    assert not any(name in old_client.get(path).headers for name in FIELDS)


def test_the_contract_marks_it(old_app: FastAPI) -> None:
    """The operation is deprecated, and each of its answers names the fields; the document stays valid."""
    told, _ = describe(old_app)
    validate(told)
    document = whole(told)
    old, kept = document["paths"]["/v1/old"]["get"], document["paths"]["/v1/kept"]["get"]
    assert old["deprecated"] is True
    assert "401" in old["responses"], "turned away before the route is known"
    for response in (one for status, one in old["responses"].items() if status != "401"):
        required = {name: response["headers"][name]["required"] for name in ("Deprecation", "Link", "Sunset")}
        assert required == {"Deprecation": True, "Link": True, "Sunset": False}
    assert "deprecated" not in kept
    assert "Deprecation" not in kept["responses"]["200"]["headers"]


def test_a_sunset_may_be_open() -> None:
    """Deprecated now, gone nobody knows when."""
    assert [name for name, _ in Deprecation(SINCE, LINK).headers()] == [b"deprecation", b"link"]


@pytest.mark.parametrize(
    "make",
    [
        lambda: Deprecation(SINCE, LINK, date(2027, 2, 28)),
        lambda: Deprecation(SINCE, "/v1/new>; rel=next"),
        lambda: Deprecation(SINCE, "/v1/new\r\nX-Evil: 1"),
        lambda: Deprecation(SINCE, "/größe"),
    ],
)
def test_a_wrong_notice_is_refused(make: Callable[[], Deprecation]) -> None:
    """The sunset is not before the deprecation (RFC 9745, section 4), and a link is one link."""
    with pytest.raises(ValueError, match=r"before|URI"):
        make()


def test_only_what_is_there_can_be_deprecated(assessor: Assessor) -> None:
    """A path that is misspelt is told at the start."""
    with pytest.raises(LookupError, match="/v1/odl"):
        deprecate(health_router(assessor, Shutdown(0.0)), "/v1/odl", since=SINCE, link=LINK)


def test_a_posted_route_can_be_deprecated(assessor: Assessor, client: Any) -> None:
    """And only in the app whose router was marked: endpoints are made for each router."""
    app = FastAPI()
    router = readings_router(assessor)
    deprecate(router, "/v1/readings", since=SINCE, sunset=SUNSET, link=LINK)
    app.include_router(router)
    for route in router.routes:
        made_now(getattr(route, "responses", {}))
    assert app.openapi()["paths"]["/v1/readings"]["post"]["deprecated"] is True
    told = client.request("POST", "/v1/readings", content=b"{}", headers={"content-type": "application/json"})
    assert not any(name in told.headers for name in FIELDS)


def test_nothing_is_deprecated_now(client: Any) -> None:
    """When this fails on purpose, name the route here, and say in the README what to use instead."""
    assert '"deprecated"' not in json.dumps(client.get("/openapi.json").json())
