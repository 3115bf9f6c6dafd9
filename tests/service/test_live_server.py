"""The same answers over a real socket as in this process."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI


@pytest.fixture(scope="module")
def address(app: FastAPI) -> Iterator[str]:
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="critical"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


def test_a_check_is_answered(address: str, client: Any, request_data: dict[str, Any]) -> None:
    """The bytes are those of the application in this process."""
    body = json.dumps(request_data).encode()
    response = httpx.post(f"{address}/v1/checks", content=body, headers={"content-type": "application/json"})
    assert response.status_code == 200
    assert response.content == client.check(body).content


@pytest.mark.parametrize("chunked", [False, True], ids=["declared", "chunked"])
def test_a_large_body_is_refused_and_the_connection_lives_on(address: str, max_body_bytes: int, chunked: bool) -> None:
    """413 while the body is still coming, then the next request on the same connection."""
    pieces = [b" " * 1024] * (4 * max_body_bytes // 1024)
    with httpx.Client(base_url=address) as connection:
        response = connection.post(
            "/v1/checks",
            content=iter(pieces) if chunked else b"".join(pieces),
            headers={"content-type": "application/json"},
        )
        assert response.status_code == 413
        assert response.json()["code"] == "body-too-large"
        assert connection.get("/healthz").status_code == 200


def test_head_has_a_length_and_no_content(address: str) -> None:
    """The connection is not left waiting for content that never comes."""
    with httpx.Client(base_url=address) as connection:
        response = connection.head("/v1/rules")
        assert (response.status_code, response.content) == (200, b"")
        assert int(response.headers["content-length"]) > 0
        assert connection.get("/healthz").status_code == 200
