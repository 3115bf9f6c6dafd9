"""The contract states where a token is required, and the possible error responses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from service.http.access import is_open
from tests.support.contract import whole


@pytest.fixture(scope="module")
def document(client: Any) -> dict[str, Any]:
    return whole(client.get("/openapi.json").json())


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def test_a_token_may_be_asked_for_wherever_it_is(document: dict[str, Any]) -> None:
    """Optional, since an operator need not ask for one; and 401 with its challenge stands there, and only there."""
    assert document["components"]["securitySchemes"]["bearer"]["scheme"] == "bearer"
    guarded = 0
    for path, _, operation in _operations(document):
        if is_open(path):
            assert operation["security"] == []
            assert "401" not in operation["responses"]
        else:
            guarded += 1
            assert operation.get("security", document["security"]) == [{}, {"bearer": []}]
            assert "WWW-Authenticate" in operation["responses"]["401"]["headers"]
    assert guarded >= 10


@pytest.mark.parametrize(
    ("status", "kinds"), [("408", {"slow-body"}), ("503", {"too-busy", "took-too-long"})], ids=["408", "503"]
)
def test_every_post_says_that_it_may_be_given_up(document: dict[str, Any], status: str, kinds: set[str]) -> None:
    """Each kind of problem of that status with an example."""
    for path, method, operation in _operations(document):
        if method == "post":
            (content,) = operation["responses"][status]["content"].values()
            assert set(content["examples"]) == kinds, path


def test_only_requests_of_many_stacks_or_laws_are_refused_for_their_work(document: dict[str, Any]) -> None:
    """A single stack is always judged, as the contract promises."""
    refusing = set()
    for path, _, operation in _operations(document):
        for content in operation["responses"].get("422", {}).get("content", {}).values():
            if "too-much-work" in content["examples"]:
                refusing.add(path)
    assert {"/v1/comparisons", "/v1/budgets", "/v1/gates"} <= refusing
    assert not refusing & {"/v1/checks", "/v1/check-batches", "/v1/exports", "/v1/readings", "/v1/imports"}
