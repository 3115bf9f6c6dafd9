"""Bearer tokens: where they are required, which are valid, and that they are never disclosed (RFC 6750)."""

from __future__ import annotations

import asyncio
import hmac
import logging
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from service.cli.main import main
from service.http.access import digest_of, is_known, is_open, new_token
from service.http.app import create_app
from service.operations.settings import Settings
from tests.service.conftest import every_route

OLD, NEW, OTHER = (new_token() for _ in range(3))

OPEN = {
    "/",
    "/docs",
    "/rules/try",
    "/static/{name}",
    "/healthz",
    "/readyz",
    "/openapi.json",
    "/v1/schemas/audit-waivers.json",
    "/v1/schemas/check-request.json",
    "/v1/schemas/import-map.json",
    "/problems",
    "/problems/{name}",
    "/examples/{route}/{name}",
    "/.well-known/jwks.json",
}
"""Routes that anybody may ask; a new one has to be thought of here."""


@pytest.fixture(scope="module")
def guarded(assessor: Assessor) -> FastAPI:
    return create_app(Settings(tokens_sha256=(digest_of(OLD), digest_of(NEW))), assessor)


def _ask(app: FastAPI, path: str, *, method: str = "GET", headers: list[tuple[str, str]] | None = None) -> Any:
    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://stackgauge") as client:
            return await client.request(method, path, headers=headers)

    return asyncio.run(ask())


def test_every_route_is_either_open_on_purpose_or_asks_for_a_token(guarded: FastAPI) -> None:
    """Whatever its method; the open ones are those listed above, and nothing else."""
    asked = set()
    for route in every_route(guarded):
        path = route.path.replace("/{name}", "/not-found").replace("{code}", "OVH-010")
        for method in route.methods:
            response = _ask(guarded, path, method=method)
            assert (response.status_code != 401) == (route.path in OPEN), (method, route.path)
        asked.add(route.path)
    assert asked > OPEN
    assert len(asked) > 15


@pytest.mark.parametrize(
    "path",
    [
        "/v1",
        "/v1/nothing",
        "/v1/rules/",
        "/v1/../v1/rules",
        "/%76%31/rules",
        "/V1/rules",
        "//v1/rules",
        "/v1//rules",
        "/metrics",
        "/version",
        "/problems/",
        "/problems/../v1/rules",
        "/static/..%2fv1/rules",
        "/healthz/",
        "/healthz/../v1/rules",
    ],
)
def test_no_spelling_of_a_path_leads_around_the_token(guarded: FastAPI, path: str) -> None:
    """401, or what lies there is nothing."""
    response = _ask(guarded, path)
    assert response.status_code in (401, 404)
    if path.startswith("/v1"):
        assert response.status_code == 401


@pytest.mark.parametrize("token", [OLD, NEW], ids=["old", "new"])
@pytest.mark.parametrize("scheme", ["Bearer ", "bearer ", "BEARER   "])
def test_each_token_of_the_list_is_taken(guarded: FastAPI, token: str, scheme: str) -> None:
    """Several at once, so that one can be changed without a gap; the scheme in any case (RFC 9110, section 11.1)."""
    assert _ask(guarded, "/v1/rules", headers=[("Authorization", scheme + token)]).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        [OTHER],
        [f"Bearer {OTHER}"],
        [f"Bearer {OLD[:-1]}"],
        [f"Bearer {OLD}x"],
        [f"Bearer {OLD} {NEW}"],
        [f"Bearer {OLD},{NEW}"],
        [f"Bearer {OLD}", f"Bearer {OLD}"],
        [f"Bearer {OTHER}", f"Bearer {OLD}"],
        [f"Basic {OLD}"],
        [f"Bearer{OLD}"],
        [f"Bearer {digest_of(OLD)}"],
        ["Bearer"],
        ["Bearer "],
        [""],
        [f"Bearer {'x' * 60_000}"],
        [f"Bearer {OLD}\xff"],
    ],
    ids=range(16),
)
def test_whatever_is_not_one_known_token_is_refused(guarded: FastAPI, headers: list[str]) -> None:
    """401 with the challenge and the code of RFC 6750, and not a word of what was sent."""
    sent = [("Authorization", value.encode("latin-1")) for value in headers]
    response = _ask(guarded, "/v1/rules", headers=sent)  # type: ignore[arg-type]
    assert response.status_code == 401
    assert response.headers["www-authenticate"] == 'Bearer realm="stackgauge", error="invalid_token"'
    assert response.headers["content-type"] == "application/problem+json"
    assert response.json()["code"] == "token-needed"
    for token in (OLD, NEW, OTHER, digest_of(OLD)):
        assert token not in response.text


def test_a_request_without_a_token_is_told_the_scheme_alone(guarded: FastAPI) -> None:
    """No error code where nothing was sent (RFC 6750, section 3.1)."""
    response = _ask(guarded, "/v1/rules")
    assert response.status_code == 401
    assert response.headers["www-authenticate"] == 'Bearer realm="stackgauge"'


def test_a_token_in_the_query_is_none(guarded: FastAPI) -> None:
    """It would end up in logs (RFC 9700, section 4.3.2)."""
    assert _ask(guarded, f"/v1/rules?access_token={OLD}").status_code == 401


def test_without_tokens_nothing_is_asked(client: Any) -> None:
    """As bound to this machine alone."""
    assert client.get("/v1/rules").status_code == 200


def test_a_token_is_compared_with_all_digests_whatever_the_first_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """In a time that does not tell which it was, and by the comparison that is made for it."""
    compared: list[tuple[str, str]] = []
    compare = hmac.compare_digest

    def watched(a: str, b: str) -> bool:
        compared.append((a, b))
        return compare(a, b)

    monkeypatch.setattr(hmac, "compare_digest", watched)
    digests = [digest_of(one) for one in (OLD, NEW, OTHER)]
    for token, known in ((OLD, True), (OTHER, True), ("x", False)):
        compared.clear()
        assert is_known(token, digests) is known
        assert compared == [(digest_of(token), digest) for digest in digests]


def test_neither_tokens_nor_digests_are_told(guarded: FastAPI, caplog: pytest.LogCaptureFixture) -> None:
    """Not in logs, and not where settings are shown."""
    with caplog.at_level(logging.DEBUG):
        for token in (OLD, OTHER):
            _ask(guarded, "/v1/rules", headers=[("Authorization", f"Bearer {token}")])
    shown = f"{caplog.text} {Settings(tokens_sha256=(digest_of(OLD),))!r}"
    for secret in (OLD, OTHER, digest_of(OLD)):
        assert secret not in shown


def test_the_command_makes_a_token_that_is_taken(capsys: pytest.CaptureFixture[str], assessor: Assessor) -> None:
    """Another each time, with its digest beside it."""
    made = []
    for _ in range(2):
        assert main(["token"]) == 0
        made.append(dict(line.split() for line in capsys.readouterr().out.splitlines()))
    assert made[0]["token:"] != made[1]["token:"]
    assert len(made[0]["token:"]) >= 43  # 32 bytes of chance
    app = create_app(Settings(tokens_sha256=(made[0]["sha256:"],)), assessor)
    for one, status in zip(made, (200, 401), strict=True):
        assert _ask(app, "/v1/rules", headers=[("Authorization", f"Bearer {one['token:']}")]).status_code == status


@pytest.mark.parametrize(
    ("path", "expected"),
    [("/", True), ("/docs", True), ("/static/page.css", True), ("", False), ("/statics", False), ("/docsx", False)],
)
def test_what_is_open_is_listed(path: str, expected: bool) -> None:
    """All else is not, even if it does not exist yet."""
    assert is_open(path) is expected
