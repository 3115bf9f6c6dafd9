"""Long computations do not delay other requests, and are stopped at their limit without a partial result."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.quantities.work_limit import TooMuchWorkError, charge
from rules.schema.report import Report
from service.http.app import create_app
from service.operations.heavy_work import LIGHT_BYTES
from service.operations.settings import Settings
from tests.support.costly_stacks import costly_stack

LEAST_STEPS = 1_000_000
JSON = {"content-type": "application/json"}


class Watched:
    """Judges as the assessor it is given, and notes in which thread; may be told to do something first."""

    def __init__(self, working: Assessor) -> None:
        self._working = working
        self.book, self.catalogue, self.engine = working.book, working.catalogue, working.engine
        self.threads: list[int] = []
        self.first: Callable[[], None] = lambda: None

    def assess(self, request: Any) -> Report:
        return self.assess_derived(request)[0]

    def __getattr__(self, name: str) -> Any:
        return getattr(self._working, name)

    def assess_derived(self, request: Any) -> Any:
        self.threads.append(threading.get_ident())
        self.first()
        return self._working.assess_derived(request)


@pytest.fixture
def watched(assessor: Assessor) -> Watched:
    return Watched(assessor)


@pytest.fixture
def app_with(watched: Watched) -> Callable[..., FastAPI]:
    """Makes an application with other settings."""

    def make(**settings: Any) -> FastAPI:
        app = create_app(Settings(**settings), watched)  # type: ignore[arg-type]
        watched.threads.clear()  # those of the examples
        return app

    return make


def _client(app: FastAPI) -> httpx.AsyncClient:
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://stackgauge")


def _post(app: FastAPI, path: str, request: object, **headers: str) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with _client(app) as client:
            return await client.post(path, content=json.dumps(request), headers=JSON | headers)

    return asyncio.run(ask())


def _is_problem(response: httpx.Response, name: str) -> bool:
    told: dict[str, Any] = response.json()
    return told["code"] == name and told["status"] == response.status_code


PLAIN: dict[str, Any] = {"stack": {"components": [{"kind": "cutter", "id": "c"}]}}
COSTLY: dict[str, Any] = {"stack": costly_stack()}


def test_an_ordinary_check_is_judged_at_once(app_with: Callable[..., FastAPI], watched: Watched) -> None:
    """In the thread of the event loop, since handing over would cost more than it brings."""
    assert _post(app_with(), "/v1/checks", PLAIN).status_code == 200
    assert watched.threads == [threading.get_ident()]


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/exports"])
def test_a_costly_check_moves_to_a_thread_and_is_answered_all_the_same(
    app_with: Callable[..., FastAPI], watched: Watched, path: str
) -> None:
    """Whatever it costs, a single stack is judged, however little a request may ask."""
    response = _post(app_with(max_request_steps=LEAST_STEPS), path, COSTLY)
    assert response.status_code == 200
    begun, done = watched.threads
    assert begun == threading.get_ident() != done


def test_a_large_body_is_read_in_a_thread(app_with: Callable[..., FastAPI], watched: Watched) -> None:
    """Its reading alone takes long."""
    body = json.dumps(PLAIN).encode() + b" " * LIGHT_BYTES
    app = app_with()

    async def ask() -> httpx.Response:
        async with _client(app) as client:
            return await client.post("/v1/checks", content=body, headers=JSON)

    assert asyncio.run(ask()).status_code == 200
    assert threading.get_ident() not in watched.threads


def _gate() -> dict[str, Any]:
    return {"order": "KB-1", "operations": [{"id": f"op{n}", "stack": costly_stack()} for n in range(3)]}


COMPOUND = {
    "/v1/comparisons": {"alternatives": [{"name": f"a{n}", "stack": costly_stack()} for n in range(3)]},
    "/v1/gates": _gate(),
    "/v1/budgets": {
        "stack": costly_stack(),
        "planes": [{"datum": "gauge_line", "distance_mm": n} for n in range(20)],
        "target_um": 10,
    },
}


@pytest.mark.parametrize("path", COMPOUND)
def test_a_request_that_asks_too_much_is_refused_always_alike(app_with: Callable[..., FastAPI], path: str) -> None:
    """422, the same bytes each time; and answered where more is allowed, if that is enough."""
    refused = [_post(app_with(max_request_steps=LEAST_STEPS), path, COMPOUND[path]) for _ in range(2)]
    assert _is_problem(refused[0], "too-much-work")
    assert refused[0].status_code == 422
    first, second = (one.json() | {"request_id": None} for one in refused)
    assert first == second


def test_what_is_allowed_is_answered(app_with: Callable[..., FastAPI]) -> None:
    """Three such stacks are within the default."""
    assert _post(app_with(), "/v1/gates", _gate()).status_code == 200


@pytest.mark.parametrize("path", ["/v1/budgets", "/v1/comparisons"])
def test_the_default_refuses_what_would_take_minutes(app_with: Callable[..., FastAPI], path: str) -> None:
    """The largest requests of the most costly stacks that the contract allows."""
    alternatives = [{"name": f"a{n}", "stack": costly_stack()} for n in range(50)]
    largest = {"/v1/budgets": COMPOUND["/v1/budgets"], "/v1/comparisons": {"alternatives": alternatives}}
    assert _is_problem(_post(app_with(), path, largest[path]), "too-much-work")


class Gate:
    """Work that waits, counting, until it is let go or given up."""

    def __init__(self) -> None:
        self.begun, self.open, self.ended = threading.Semaphore(0), threading.Event(), threading.Event()

    def __call__(self) -> None:
        self.begun.release()
        try:
            while not self.open.wait(0.001):
                charge(1)
        except TooMuchWorkError:
            self.ended.set()
            raise


@pytest.fixture
def gate() -> Iterator[Gate]:
    """Whatever the test does, its threads end."""
    made = Gate()
    yield made
    made.open.set()


async def _begun(gate: Gate) -> None:
    async with asyncio.timeout(30):
        while not gate.begun.acquire(blocking=False):
            await asyncio.sleep(0.001)


def test_so_many_at_once_and_no_more(app_with: Callable[..., FastAPI], watched: Watched, gate: Gate) -> None:
    """One more is told when to come again; others, and those that come when a place is free, are answered."""
    app = app_with(max_heavy_requests=2)
    order = {"order": "KB-1", "operations": [{"id": "op", "stack": PLAIN["stack"]}]}

    async def ask() -> None:
        async with _client(app) as client:

            async def post(path: str, request: object) -> httpx.Response:
                return await client.post(path, content=json.dumps(request), headers=JSON)

            watched.first = gate
            inside = [asyncio.create_task(post("/v1/gates", order)) for _ in range(2)]
            for _ in inside:
                await _begun(gate)
            refused = await post("/v1/gates", order)
            assert _is_problem(refused, "too-busy")
            assert refused.status_code == 503
            assert int(refused.headers["retry-after"]) > 0
            watched.first = lambda: None
            assert (await client.get("/healthz")).status_code == 200
            assert (await post("/v1/checks", PLAIN)).status_code == 200
            gate.open.set()
            assert {(await one).status_code for one in inside} == {200}
            assert (await post("/v1/gates", order)).status_code == 200

    asyncio.run(ask())


@pytest.mark.parametrize("path", ["/v1/gates", "/v1/check-batches"])
def test_an_answer_that_takes_too_long_is_given_up(
    app_with: Callable[..., FastAPI], watched: Watched, gate: Gate, path: str
) -> None:
    """503; the work ends at once where it counts, and its place is free again."""
    app = app_with(max_request_seconds=0.05, max_heavy_requests=1, max_batches=1)
    requests = {
        "/v1/gates": {"order": "KB-1", "operations": [{"id": "op", "stack": PLAIN["stack"]}]},
        "/v1/check-batches": {"stacks": [PLAIN, PLAIN]},
    }
    watched.first = gate
    response = _post(app, path, requests[path])
    assert _is_problem(response, "took-too-long")
    assert response.status_code == 503
    assert int(response.headers["retry-after"]) > 0
    assert gate.ended.wait(10)
    watched.first = lambda: None
    assert _post(app_with(max_heavy_requests=1), path, requests[path]).status_code == 200


def test_the_place_is_taken_until_the_work_has_ended(app_with: Callable[..., FastAPI], watched: Watched) -> None:
    """Who gives up does not make room for more than there is."""
    app = app_with(max_request_seconds=0.05, max_heavy_requests=1)
    order = {"order": "KB-1", "operations": [{"id": "op", "stack": PLAIN["stack"]}]}
    stubborn = threading.Event()
    watched.first = lambda: stubborn.wait(30) and None

    async def ask() -> list[httpx.Response]:
        async with _client(app) as client:

            async def post() -> httpx.Response:
                return await client.post("/v1/gates", content=json.dumps(order), headers=JSON)

            answers = [await post(), await post()]
            stubborn.set()
            while (last := await post()).status_code == 503:
                await asyncio.sleep(0.001)
            return [*answers, last]

    late, busy, good = asyncio.run(ask())
    assert _is_problem(late, "took-too-long")
    assert _is_problem(busy, "too-busy")
    assert good.status_code == 200


def test_a_costly_line_of_a_batch_moves_to_a_thread(app_with: Callable[..., FastAPI], watched: Watched) -> None:
    """Others are answered meanwhile, and the line as if it were alone."""
    app = app_with()
    response = _post(app, "/v1/check-batches", COSTLY, **{"content-type": "application/x-ndjson"})
    assert response.status_code == 200
    begun, done = watched.threads
    assert begun == threading.get_ident() != done
    line = response.content.splitlines()[0]
    report = _post(app, "/v1/checks", COSTLY)
    name = json.dumps(report.json()["stack_id"]).encode()
    assert line == b'{"type":"report","line":1,"id":%b,"report":%b}' % (name, report.content)
