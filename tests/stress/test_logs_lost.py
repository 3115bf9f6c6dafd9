"""A full disk or a closed log stream does not affect answers."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.support.served import PATIENCE_S, Served, served

FULL = Path("/dev/full")
JSON = {"content-type": "application/json"}


def _long(closed: str) -> object:
    return pytest.param(closed, marks=pytest.mark.long)


@pytest.fixture(params=["full disk", _long("stderr closed"), _long("stdout and stderr closed"), "all closed"])
def deaf(request: pytest.FixtureRequest) -> Iterator[Served]:
    """A server that can tell nobody what it does."""
    if request.param == "full disk":
        if not FULL.exists():
            pytest.skip("the system has no device that is always full")
        with FULL.open("wb") as log, served(log=log) as server:
            yield server
        return
    closed = {"stderr closed": (2,), "stdout and stderr closed": (1, 2), "all closed": (0, 1, 2)}[request.param]
    with served(closed=closed, log=subprocess.DEVNULL) as server:
        yield server


def test_answers_go_on_and_the_end_is_orderly(deaf: Served, bodies: dict[str, bytes]) -> None:
    """Requests right and wrong, each of which is logged, and a stop that is."""
    with httpx.Client(base_url=deaf.url, timeout=PATIENCE_S) as client:
        for body in bodies.values():
            assert client.post("/v1/checks", content=body, headers=JSON).status_code == 200
        assert client.post("/v1/checks", content=b"{", headers=JSON).status_code == 400
        assert client.get("/nowhere").status_code == 404
        assert client.post("/v1/checks", content=b"\xff" * 600_000, headers=JSON).status_code == 413
    with httpx.Client(base_url=deaf.url, timeout=PATIENCE_S) as client:
        lines = b"\n".join(b" ".join(body.split()) for body in bodies.values()) * 5
        batch = client.post("/v1/check-batches", content=lines, headers={"content-type": "application/x-ndjson"})
        assert batch.status_code == 200
        assert b'"complete":true' in batch.content
    assert deaf.stop() == 0
