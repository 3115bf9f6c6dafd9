"""One JSON log line per request, sufficient to find it, without client data."""

from __future__ import annotations

import asyncio
import json
import logging
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from opentelemetry.trace import get_current_span
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from service.http.app import create_app
from service.http.request_log import TraceContext, trace_context
from service.operations.logs import Sink, json_formatter
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.orders import order_of

CHECK = json.dumps(base_request("nut_collet")).encode()
TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
TRACEPARENT = f"00-{TRACE}-{PARENT}-01"

MARK = "Q7mark"


class _Log:
    def __init__(self, file: Path) -> None:
        self._file = file

    @property
    def text(self) -> str:
        return self._file.read_text("utf-8")

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.text.splitlines()]


def _attached(handler: logging.Handler) -> Iterator[None]:
    handler.setFormatter(json_formatter())
    logger = logging.getLogger("stackgauge")
    before = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield
    logger.removeHandler(handler)
    logger.setLevel(before)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[_Log]:
    """What the service logs in this process, as it would stand on standard error."""
    file = tmp_path / "log"
    with file.open("wb") as sink:
        yield from (_Log(file) for _ in _attached(Sink(sink.fileno())))


def _ask(app: FastAPI, headers: list[tuple[bytes, bytes]], path: str = "/healthz") -> dict[bytes, bytes]:
    """Ask with headers as no client would send them; the headers of the answer."""
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "scheme": "http",
        "http_version": "1.1",
        "server": ("stackgauge", 80),
        "headers": headers,
    }
    asyncio.run(app(scope, receive, send))
    answered: dict[bytes, bytes] = dict(sent[0]["headers"])
    return answered


def test_a_request_is_one_line(client: Any, log: _Log) -> None:
    """With time, level, method, route, status, duration, bytes and identity."""
    response = client.check(CHECK, X_Request_ID="order 17", traceparent=TRACEPARENT, Accept_Encoding="identity")
    (line,) = log.lines
    assert line.pop("time").endswith("Z")
    assert line.pop("duration_ms") > 0
    assert line == {
        "level": "info",
        "logger": "stackgauge.request",
        "pid": os.getpid(),
        "message": "request",
        "method": "POST",
        "route": "/v1/checks",
        "status": 200,
        "bytes": len(response.content),
        "complete": True,
        "request_id": "order 17",
        "trace_id": TRACE,
        "parent_id": PARENT,
    }
    assert response.headers["x-request-id"] == "order 17"


@pytest.mark.parametrize(
    ("method", "path", "told"),
    [
        ("GET", "/v1/rules/GRIP-010", ("GET", "/v1/rules/{code}", 200, None)),
        ("HEAD", "/v1/rules/GRIP-010", ("HEAD", "/v1/rules/{code}", 200, None)),
        ("GET", "/v1/rules/GRIP-000", ("GET", "/v1/rules/{code}", 404, "not-found")),
        ("GET", "/nowhere", ("GET", "none", 404, "not-found")),
        ("DELETE", "/v1/checks", ("DELETE", "/v1/checks", 405, "method-not-allowed")),
        ("BREW", "/v1/checks", ("other", "/v1/checks", 405, "method-not-allowed")),
        ("GET", "/openapi.json", ("GET", "/openapi.json", 200, None)),
    ],
)
def test_the_route_is_told_and_not_the_path(
    client: Any, log: _Log, method: str, path: str, told: tuple[str, str, int, str | None]
) -> None:
    """Also where no route answers, or none by this method; a problem is told by its kind."""
    client.request(method, path)
    (line,) = log.lines
    assert (line["method"], line["route"], line["status"], line.get("problem")) == told
    assert (line["bytes"] == 0) == (method == "HEAD")


@pytest.mark.parametrize(
    "ask",
    [
        lambda client: client.get(f"/{MARK}"),
        lambda client: client.get(f"/v1/rules/{MARK}"),
        lambda client: client.get(f"/version?token={MARK}"),
        lambda client: client.get("/version", Authorization=f"Bearer {MARK}", Cookie=MARK, Accept=MARK),
        lambda client: client.check(f'{{"{MARK}": 1}}'.encode()),
        lambda client: client.check(f'{{"stack": {MARK}'.encode()),
        lambda client: client.check(CHECK.replace(b'"stack": {', f'"stack": {{"id": "{MARK}", '.encode(), 1)),
        lambda client: client.request(
            "POST",
            "/v1/check-batches",
            content=f'{{"{MARK}": 1}}\n',
            headers={"content-type": "application/x-ndjson"},
        ),
    ],
)
def test_nothing_the_client_wrote_is_logged(client: Any, log: _Log, ask: Callable[[Any], Any]) -> None:
    """Neither path, query, header nor content."""
    ask(client)
    assert len(log.lines) == 1
    assert MARK not in log.text


@given(st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E), min_size=1, max_size=128))
def test_a_sane_request_id_is_kept(app: FastAPI, name: str) -> None:
    """Printable ASCII, up to 128 characters."""
    assert _ask(app, [(b"x-request-id", name.encode())])[b"x-request-id"] == name.encode()


@pytest.mark.parametrize(
    "headers",
    [
        [],
        [b""],
        [b"  "],
        [b"x" * 129],
        [b"a\tb"],
        [b"a\nb"],
        [b'a\r\n{"level": "error"}'],
        [b"\x7f"],
        ["é".encode()],
        [b"\xff"],
        [b"a", b"b"],
    ],
)
def test_any_other_request_id_is_made_anew(app: FastAPI, log: _Log, headers: list[bytes]) -> None:
    """A new one each time, and the same in answer and log."""
    given_back = [_ask(app, [(b"x-request-id", one) for one in headers])[b"x-request-id"].decode() for _ in range(2)]
    assert len(set(given_back)) == 2
    assert all(len(one) == 32 and int(one, 16) for one in given_back)
    assert [line["request_id"] for line in log.lines] == given_back


def test_the_identity_is_in_no_report(client: Any) -> None:
    """The same request gives the same bytes, whoever asks and however often."""
    one, other = client.check(CHECK, X_Request_ID="one"), client.check(CHECK, traceparent=TRACEPARENT)
    assert one.content == other.content
    assert "traceparent" not in other.headers


def test_a_problem_repeats_the_identity_alone(client: Any) -> None:
    """The same request with the same identifier gives the same bytes; without the identifier it is the same too."""
    one, again = (client.check(b"{}", X_Request_ID="one") for _ in range(2))
    other = client.check(b"{}", traceparent=TRACEPARENT)
    assert one.content == again.content
    assert one.json() == other.json() | {"request_id": "one"}
    assert other.json()["request_id"] == other.headers["x-request-id"]


def _by_library(header: str) -> TraceContext | None:
    """What OpenTelemetry's own reader makes of the header."""
    span = get_current_span(TraceContextTextMapPropagator().extract({"traceparent": header})).get_span_context()
    return TraceContext(f"{span.trace_id:032x}", f"{span.span_id:016x}") if span.is_valid else None


_HEX = "0123456789abcdef"
_FIELDS = st.tuples(
    st.sampled_from(["00", "01", "cc", "ff", "0", "000", "0G"]),
    st.one_of(st.text(_HEX, min_size=32, max_size=32), st.sampled_from(["0" * 32, TRACE.upper(), TRACE[1:]])),
    st.one_of(st.text(_HEX, min_size=16, max_size=16), st.sampled_from(["0" * 16, PARENT.upper(), PARENT + "0"])),
    st.sampled_from(["00", "01", "ff", "1", "zz"]),
    st.sampled_from(["", "-", "-what", "x", " "]),
)


@given(_FIELDS)
def test_a_traceparent_is_read_as_by_a_known_library(fields: tuple[str, str, str, str, str]) -> None:
    """W3C Trace Context, section 3.2, against opentelemetry-api."""
    header = "-".join(fields[:4]) + fields[4]
    assert trace_context(header.encode()) == _by_library(header)


@pytest.mark.parametrize(
    ("header", "told"),
    [
        # Examples of valid headers in section 3.2.2 of the Recommendation.
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", (TRACE, PARENT)),
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-00", (TRACE, PARENT)),
        # Section 3.2.2.1: version ff is invalid; section 4.3: a later version may be longer.
        ("ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", None),
        ("cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-what-the-future-brings", (TRACE, PARENT)),
        ("cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01.what", None),
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-what", None),
        # Sections 3.2.2.3 and 3.2.2.4: all zeros are invalid.
        ("00-00000000000000000000000000000000-00f067aa0ba902b7-01", None),
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-0000000000000000-01", None),
        ("00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01", None),
        ("", None),
    ],
)
def test_a_traceparent_is_valid_or_nothing(app: FastAPI, log: _Log, header: str, told: tuple[str, str] | None) -> None:
    """What the Recommendation calls invalid is treated as if it had not been sent."""
    _ask(app, [(b"traceparent", header.encode())])
    (line,) = log.lines
    assert ((line["trace_id"], line["parent_id"]) if "trace_id" in line else None) == told


def test_two_traceparents_are_none(app: FastAPI, log: _Log) -> None:
    """Nobody can say which is right."""
    _ask(app, [(b"traceparent", TRACEPARENT.encode())] * 2)
    assert "trace_id" not in log.lines[0]


def test_an_identity_ends_with_its_request(app: FastAPI, log: _Log) -> None:
    """The next request of the same task has its own, and no trace that was not sent with it."""

    async def both() -> None:
        for headers in ({"traceparent": TRACEPARENT, "X-Request-ID": "a"}, {"X-Request-ID": "b"}):
            transport = httpx.ASGITransport(app)
            async with httpx.AsyncClient(transport=transport, base_url="http://stackgauge") as client:
                await client.get("/healthz", headers=headers)
        logging.getLogger("stackgauge").info("by itself")

    asyncio.run(both())
    first, second, alone = log.lines
    assert (first["request_id"], first["trace_id"]) == ("a", TRACE)
    assert second["request_id"] == "b"
    assert "trace_id" not in second
    assert "request_id" not in alone


def test_a_fault_bears_the_identity_of_its_request(
    assessor: Assessor, client_with: Callable[[Any], Any], log: _Log, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its traceback is one line of the log, without the values of variables."""
    client = client_with(assessor)

    def fail(_: Any) -> None:
        hidden = MARK
        raise ZeroDivisionError(f"a\nb{len(hidden)}")

    monkeypatch.setattr(assessor, "assess", fail)
    assert client.check(CHECK, X_Request_ID="r1").status_code == 500
    fault, request = log.lines
    assert (fault["level"], fault["request_id"]) == ("error", "r1")
    assert "ZeroDivisionError: a\nb6" in fault["exception"]
    assert (request["status"], request["problem"], request["request_id"]) == (500, "internal-fault", "r1")
    assert MARK not in log.text


@given(st.text(), st.dictionaries(st.sampled_from(["a", "b"]), st.text() | st.binary()))
def test_any_message_is_one_line(text: str, extra: dict[str, str | bytes]) -> None:
    """Whatever it holds: line breaks of every kind, control characters, halves of surrogate pairs."""
    record = logging.makeLogRecord({"name": "x", "levelname": "INFO", "msg": "%s", "args": (text,), **extra})
    line = json_formatter().format(record)
    assert line.isascii()
    assert line.isprintable()
    assert json.loads(line)["message"] == text


def _writing_to(descriptor: int) -> tuple[Sink, Iterator[None]]:
    sink = Sink(descriptor)
    return sink, _attached(sink)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_breaks_no_answer(client: Any) -> None:
    """The line is lost and counted."""
    with Path("/dev/full").open("wb") as full:
        sink, attached = _writing_to(full.fileno())
        for _ in attached:
            assert client.check(CHECK).status_code == 200
        assert sink.lost == 1


def test_a_closed_pipe_breaks_no_answer(client: Any) -> None:
    """Whoever read the log has gone."""
    reading, writing = os.pipe()
    os.close(reading)
    sink, attached = _writing_to(writing)
    for _ in attached:
        for _ in range(2):
            assert client.check(CHECK).status_code == 200
    os.close(writing)
    assert sink.lost == 2


def test_a_pipe_that_nobody_reads_breaks_no_answer(client: Any) -> None:
    """Lines are lost while it is full; when it is read again, a line says how many, and each line is whole."""
    reading, writing = os.pipe()
    sink, attached = _writing_to(writing)
    for _ in attached:
        while not sink.lost:
            assert client.get("/healthz").status_code == 200
        assert client.check(CHECK).status_code == 200
        lost = sink.lost
        assert lost >= 2
        text = os.read(reading, 1 << 20)
        assert client.check(CHECK).status_code == 200
        text += os.read(reading, 1 << 20)
    os.close(writing)
    os.close(reading)
    *_, notice, last = [json.loads(line) for line in text.splitlines() if line]
    assert (notice["level"], notice["message"], notice["lines"]) == ("warning", "log lines were lost", lost)
    assert last["route"] == "/v1/checks"
    assert sink.lost == 0


def test_a_line_torn_by_a_full_pipe_spoils_no_other() -> None:
    """A long line that went out in part is ended before the next begins."""
    reading, writing = os.pipe()
    sink = Sink(writing)
    sink.setFormatter(json_formatter())
    sink.handle(logging.makeLogRecord({"levelname": "INFO", "msg": "x" * (1 << 20)}))
    assert sink.lost == 1
    text = os.read(reading, 1 << 21)
    sink.handle(logging.makeLogRecord({"levelname": "INFO", "msg": "whole"}))
    text += os.read(reading, 1 << 21)
    os.close(writing)
    os.close(reading)
    torn, notice, whole = text.splitlines()
    assert torn.endswith(b"xxx")
    assert json.loads(notice)["lines"] == 1
    assert json.loads(whole)["message"] == "whole"


def test_a_gate_leaves_a_trail(assessor: Assessor, log: _Log) -> None:
    """Order, decision, digests and deviations are in the log line, and no more of what was sent."""
    app = create_app(Settings(batch_workers=1), assessor)
    order = order_of("good", policy={"slip_fit": "mean"}, expect={"digest": "a" * 64})
    order["context"] = {"job": MARK}
    order["operations"][0]["stack"]["description"] = MARK
    told = Client(app).request("POST", "/v1/gates", json=order).json()
    (line,) = [one for one in log.lines if one.get("route") == "/v1/gates"]
    assert (line["order"], line["decision"], line["may_start"]) == (order["order"], "release", False)
    assert line["digest"] == told["digest"]
    assert line["judgement_sha256"] == told["provenance"]["judgement_sha256"]
    assert (line["deviations"], line["unmet"]) == (["/policy/slip_fit"], ["digest"])
    assert MARK not in log.text
