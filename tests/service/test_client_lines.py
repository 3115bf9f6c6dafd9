"""Any number of stacks through a client: results in order, each as by a single check, one chunk at a time."""

from __future__ import annotations

import asyncio
import copy
import gzip
import itertools
import json
import threading
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.client import (
    AnsweredProblemError,
    BatchLine,
    Client,
    ClientError,
    Patience,
    UnreadableAnswerError,
    UnsendableError,
)
from service.contract import Problem, VerdictResult
from service.http.app import create_app
from service.operations.settings import Settings
from tests.support.client_faces import KINDS, Face, Kind, flowing, of_app
from tests.support.operations import operation_of

CHECK = base_request("nut_collet")
OTHER = base_request("press_in")
STACK = {"stack": CHECK["stack"]}
SHARED = {name: CHECK[name] for name in ("operations", "machine") if name in CHECK}
BAD = {"stack": {"components": [{"kind": "gearbox"}]}}


@pytest.fixture(params=KINDS)
def face(request: pytest.FixtureRequest, app: FastAPI) -> Face:
    """A client of the real application."""
    return Face(request.param, of_app(app))


@pytest.mark.parametrize("portion", [1, 2, 3, 7])
def test_each_is_answered_as_a_check_of_its_own(face: Face, portion: int) -> None:
    """However they are grouped, in order and numbered through; models and dictionaries, and stacks alone."""
    stack = parse(CheckRequest, CHECK).stack
    requests: list[Any] = [CHECK, parse(CheckRequest, OTHER), CHECK["stack"], BAD, stack, OTHER]
    answers = face.call("check_lines", requests, chunk_size=portion)
    assert [one.number for one in answers] == [1, 2, 3, 4, 5, 6]
    expected = [face.call("check", one) for one in (CHECK, OTHER, STACK, STACK, OTHER)]
    assert [answers[place].answer for place in (0, 1, 2, 4, 5)] == expected
    problem = answers[3].answer
    assert isinstance(problem, Problem)
    assert problem.status == 422


@pytest.mark.parametrize("portion", [1, 2, 5])
def test_what_is_shared_reaches_every_portion(face: Face, portion: int) -> None:
    """As if each request had said it, unless it says something else."""
    own = {**STACK, "operations": [operation_of({"spindle_speed_rpm": 1000})]}
    answers = face.call("check_lines", [STACK, own, STACK, STACK], shared=SHARED, chunk_size=portion)
    whole = {**STACK, **SHARED}
    assert [one.answer for one in answers] == [
        face.call("check", {**whole, **request}) for request in (STACK, own, STACK, STACK)
    ]


def test_the_verdicts_in_short(face: Face) -> None:
    """Where they were asked for."""
    (answer,) = face.call("check_lines", [CHECK], shared={"include": []})
    report = face.call("check", CHECK)
    assert isinstance(answer.answer, VerdictResult)
    assert (answer.answer.verdict, answer.answer.summary) == (report.verdict, report.summary)


def test_nothing_is_asked_for_nothing(face: Face) -> None:
    """No requests, no call."""
    assert face.call("check_lines", []) == []


def test_requests_may_flow(app: FastAPI) -> None:
    """An asynchronous iterable is taken as an ordinary one is."""

    async def main() -> list[BatchLine]:
        async with Face("async", of_app(app)).async_client() as client:
            return [one async for one in client.check_lines(flowing([CHECK, OTHER, CHECK]), chunk_size=2)]

    assert asyncio.run(main()) == Face("sync", of_app(app)).call("check_lines", [CHECK, OTHER, CHECK])


def _verdict(line: int) -> dict[str, Any]:
    counts = {"errors": 0, "warnings": 0, "advice": 0, "undecided": 0, "decided": 1, "assumed": 0}
    short = {"verdict": "pass", "summary": counts, "codes": [], "undecided": []}
    return {"type": "verdict", "line": line, "id": None, **short, "gauge_plane_p95_um": None}


def _summary(lines: int, **other: Any) -> dict[str, Any]:
    counts = {"stacks": lines, "problems": 0, "verdicts": {"pass": lines, "review": 0, "fail": 0}}
    counts |= {"stacks_not_judged": 0, "invalid_parts": []}
    rest = {"codes": {}, "undecided": {}, "lines": lines, "definitions": 0, "blank": 0, "complete": True}
    return {"type": "end", "summary": {**counts, **rest, **other}}


def _told(*lines: dict[str, Any]) -> httpx.Response:
    content = b"".join(json.dumps(line).encode() + b"\n" for line in lines)
    return httpx.Response(200, content=content, headers={"content-type": "application/x-ndjson"})


def _sent(request: httpx.Request) -> bytes:
    """The lines of a request, as written before gzip."""
    packed = request.headers.get("content-encoding") == "gzip"
    return gzip.decompress(request.content) if packed else request.content


def _obliging(request: httpx.Request) -> httpx.Response:
    """Passes whatever is sent."""
    count = _sent(request).count(b"\n")
    return _told(*map(_verdict, range(1, count + 1)), _summary(count))


@pytest.mark.parametrize("kind", KINDS)
def test_requests_are_taken_a_portion_at_a_time(kind: Kind) -> None:
    """Of an endless batch no more is taken than the portions that answers were asked of."""
    taken = 0

    def endless() -> Iterator[dict[str, Any]]:
        nonlocal taken
        while True:
            taken += 1
            yield STACK

    face = Face(kind, _obliging)
    if kind == "sync":
        with face.client() as client:
            answers = client.check_lines(endless(), chunk_size=10)
            assert taken == 0
            for number, answer in enumerate(itertools.islice(answers, 95), 1):
                assert answer.number == number
                assert taken == -(-number // 10) * 10
        return

    async def main() -> None:
        async with face.async_client() as client:
            number = 0
            async for answer in client.check_lines(endless(), chunk_size=10):
                number += 1
                assert answer.number == number
                assert taken == -(-number // 10) * 10
                if number == 95:
                    break

    asyncio.run(main())


def test_long_requests_make_small_portions() -> None:
    """A portion is closed by its weight, too."""
    sizes: list[int] = []

    def answer(request: httpx.Request) -> httpx.Response:
        sizes.append(len(_sent(request)))
        return _obliging(request)

    heavy = {"stack": {"components": [], "note": "x" * 1_000_000}}
    assert len(Face("sync", answer).call("check_lines", [heavy] * 9)) == 9
    assert [size // 1_000_000 for size in sizes] == [5, 4]


@pytest.mark.parametrize("kind", KINDS)
def test_a_portion_that_fails_is_sent_again(kind: Kind) -> None:
    """Whole, and only that; nothing is answered twice."""
    sent: list[bytes] = []
    outcomes = iter(["ok", "broken", "cut off", "ok", "busy", "ok"])

    def answer(request: httpx.Request) -> httpx.Response:
        sent.append(request.content)
        outcome = next(outcomes)
        if outcome == "broken":
            raise httpx.RemoteProtocolError("closed")
        if outcome == "busy":
            return httpx.Response(503, headers={"retry-after": "1"})
        return _told(_verdict(1)) if outcome == "cut off" else _obliging(request)

    requests = [{"stack": {"id": f"KB-{n}", "components": []}} for n in range(6)]
    answers = Face(kind, answer).call("check_lines", requests, chunk_size=2)
    assert [one.number for one in answers] == [1, 2, 3, 4, 5, 6]
    ids = [[json.loads(line)["stack"]["id"] for line in content.splitlines()] for content in sent]
    first, second, third = ["KB-0", "KB-1"], ["KB-2", "KB-3"], ["KB-4", "KB-5"]
    assert ids == [first, second, second, second, third, third]


PROBLEM = {"type": "urn:x", "code": "x", "title": "X", "status": 413, "detail": "No more."}
WRONG_ANSWERS: dict[str, tuple[httpx.Response, type[ClientError]]] = {
    "nothing": (_told(), UnreadableAnswerError),
    "no summary": (_told(_verdict(1), _verdict(2)), UnreadableAnswerError),
    "half a summary": (_told(_verdict(1), _verdict(2), {"summary": {"stacks": 2}}), UnreadableAnswerError),
    "no JSON": (
        httpx.Response(200, content=b"<html>\n", headers={"content-type": "application/x-ndjson"}),
        UnreadableAnswerError,
    ),
    "one answer too few": (_told(_verdict(1), _summary(2)), UnreadableAnswerError),
    "one answer too many": (_told(*map(_verdict, (1, 2, 3)), _summary(3)), UnreadableAnswerError),
    "answers in another order": (_told(_verdict(2), _verdict(1), _summary(2)), UnreadableAnswerError),
    "an answer without a number": (_told(_verdict(1), {"verdict": "pass"}, _summary(2)), UnreadableAnswerError),
    "an answer that says nothing": (_told(_verdict(1), {"line": 2}, _summary(2)), UnreadableAnswerError),
    "a problem that says nothing": (
        _told(_verdict(1), {"type": "problem", "line": 2, "problem": 7}, _summary(2)),
        UnreadableAnswerError,
    ),
    "lines left unread": (
        _told(_verdict(1), {"type": "problem", "line": 2, "id": None, "problem": PROBLEM}, _summary(2, complete=False)),
        AnsweredProblemError,
    ),
    "a document": (httpx.Response(200, json={"results": []}), UnreadableAnswerError),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", WRONG_ANSWERS)
def test_a_wrong_answer_is_never_taken_for_one(kind: Kind, name: str) -> None:
    """Every line is answered, by its number, with the summary behind; or there is an error."""
    response, error = WRONG_ANSWERS[name]
    content, headers = response.content, response.headers

    def answer(_: httpx.Request) -> httpx.Response:
        return httpx.Response(200, content=content, headers=headers)

    with pytest.raises(error):
        Face(kind, answer).call("check_lines", [STACK, STACK])


def test_what_is_shared_is_refused_as_a_whole(face: Face) -> None:
    """Its problem is that of the batch, not of the first stack."""
    with pytest.raises(AnsweredProblemError) as raised:
        face.call("check_lines", [STACK, STACK], shared={"machine": {"kind": "stated", "max_speed_rpm": -1}})
    assert raised.value.status == 422


@pytest.mark.parametrize("request_", [{"components": {}}, {"machine": {"kind": "stated"}}, {}, [], None, "stack", 7])
def test_what_is_no_request_is_named_by_its_number(face: Face, request_: object) -> None:
    """Definitions among the lines, too: they are not answered, so they belong under shared."""
    with pytest.raises(UnsendableError, match="Line 2"):
        face.call("check_lines", [STACK, request_])


def test_a_portion_holds_something() -> None:
    """Zero would never end."""
    with pytest.raises(ValueError, match="at least 1"):
        Face("sync", _obliging).call("check_lines", [STACK], chunk_size=0)


@pytest.fixture(scope="module")
def address(assessor: Assessor) -> Iterator[str]:
    # of its own, because the end of the server ends the application's workers
    app = create_app(Settings(batch_workers=2), assessor)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="critical"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)


def test_a_batch_over_a_real_socket(address: str) -> None:
    """More than fits a portion, and more than the process of the service judges by itself."""
    requests = [copy.deepcopy(CHECK) for _ in range(80)]
    for number, request in enumerate(requests):
        request["stack"]["id"] = f"KB-{number}"
    with Client(address, patience=Patience(timeout_s=120, deadline_s=300)) as client:
        answers = list(client.check_lines(iter(requests), chunk_size=50))
        assert [one.answer for one in answers[::20]] == [client.check(one) for one in requests[::20]]
    assert [one.number for one in answers] == list(range(1, 81))
    assert all(isinstance(one.answer, Report) for one in answers)
