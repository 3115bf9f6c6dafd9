"""A client that sends slowly or stops does not block others."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from service.http.app import create_app
from service.operations.settings import Settings

LINES = "application/x-ndjson"
BODY = json.dumps({"stack": {"components": [{"kind": "cutter", "id": "c"}]}}).encode()


class Sender:
    """A client whose body comes in pieces, each after a pause in seconds; None is a pause without end."""

    def __init__(self, pieces: list[tuple[float | None, bytes]], whole: bool = True) -> None:
        self._pieces = list(pieces)
        self._whole = whole
        self.messages: list[dict[str, Any]] = []

    async def receive(self) -> dict[str, Any]:
        if not self._pieces:
            await asyncio.Event().wait()
        pause, data = self._pieces.pop(0)
        if pause is None:
            await asyncio.Event().wait()
        if pause:
            await asyncio.sleep(pause)
        return {"type": "http.request", "body": data, "more_body": bool(self._pieces) or not self._whole}

    async def send(self, message: Any) -> None:
        self.messages.append(message)

    @property
    def status(self) -> int:
        return int(self.messages[0]["status"])

    @property
    def body(self) -> bytes:
        return b"".join(message.get("body", b"") for message in self.messages[1:])

    @property
    def ended(self) -> bool:
        return not self.messages[-1].get("more_body", False)


def _posted(app: FastAPI, path: str, sender: Sender, content_type: str = "application/json") -> Sender:
    scope = {
        "type": "http",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "method": "POST",
        "path": path,
        "query_string": b"",
        "root_path": "",
        "headers": [(b"content-type", content_type.encode())],
    }

    async def run() -> None:
        async with asyncio.timeout(60):
            await app(scope, sender.receive, sender.send)

    asyncio.run(run())
    return sender


@pytest.fixture
def app_within(assessor: Assessor) -> Callable[[float], FastAPI]:
    return lambda seconds: create_app(Settings(max_body_seconds=seconds), assessor)


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/gates", "/v1/imports", "/v1/check-batches"])
@pytest.mark.parametrize("begun", [b"", BODY[:10]])
def test_a_body_that_stops_coming_is_408(app_within: Callable[[float], FastAPI], path: str, begun: bytes) -> None:
    """The connection is not kept, since the rest of the body might still come."""
    content_type = "text/csv" if path == "/v1/imports" else "application/json"
    sender = _posted(app_within(0.02), path, Sender([(0, begun), (None, b"")]), content_type)
    assert sender.status == 408
    assert json.loads(sender.body)["code"] == "slow-body"
    assert (b"connection", b"close") in sender.messages[0]["headers"]


def test_drop_by_drop_is_no_way_around(app_within: Callable[[float], FastAPI]) -> None:
    """The whole body has that time, not each piece of it."""
    drops = [(0.02, bytes([one])) for one in BODY]
    assert _posted(app_within(0.3), "/v1/checks", Sender(drops)).status == 408


def test_a_body_in_time_is_answered(app_within: Callable[[float], FastAPI]) -> None:
    """In pieces or whole."""
    assert _posted(app_within(30), "/v1/checks", Sender([(0.01, BODY[:9]), (0.01, BODY[9:])])).status == 200


def test_lines_may_take_long_altogether(app_within: Callable[[float], FastAPI]) -> None:
    """Each piece has that time."""
    pieces: list[tuple[float | None, bytes]] = [(0.5, BODY + b"\n") for _ in range(4)]
    sender = _posted(app_within(1.5), "/v1/check-batches", Sender(pieces), LINES)
    assert sender.status == 200
    assert sender.ended
    assert b'"complete":true' in sender.body.splitlines()[-1]


def test_lines_that_never_begin_are_408(app_within: Callable[[float], FastAPI]) -> None:
    """Nothing was answered yet."""
    sender = _posted(app_within(0.02), "/v1/check-batches", Sender([(None, b"")]), LINES)
    assert sender.status == 408
    assert b"next chunk" in sender.body


def test_lines_that_stop_coming_are_cut_off(app_within: Callable[[float], FastAPI]) -> None:
    """What was answered stands; without the summary nobody takes it for the whole."""
    app = app_within(1.0)
    sender = _posted(app, "/v1/check-batches", Sender([(0, BODY + b"\n"), (None, b"")]), LINES)
    assert sender.status == 200
    assert b'"line":1,' in sender.body
    assert b'"type":"end"' not in sender.body.splitlines()[-1][:20]
    assert not sender.ended


def test_its_place_is_free_again(assessor: Assessor) -> None:
    """As many as there are places, all gone silent, and then another."""
    app = create_app(Settings(max_body_seconds=0.05, max_batches=1), assessor)
    for _ in range(3):
        assert _posted(app, "/v1/check-batches", Sender([(None, b"")]), LINES).status == 408
    assert _posted(app, "/v1/check-batches", Sender([(0, BODY)]), LINES).status == 200


def test_after_the_body_there_is_no_hurry(app_within: Callable[[float], FastAPI]) -> None:
    """A client that waits for its answer is silent and yet does nothing wrong."""
    sender = _posted(app_within(0.001), "/v1/check-batches", Sender([(0, (BODY + b"\n") * 40)]), LINES)
    assert sender.status == 200
    assert sender.ended
