"""Long computations do not delay other requests, and are stopped at their limit without a partial result."""

from __future__ import annotations

import asyncio
import json
import pickle
import socket
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack
from functools import partial
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.exchange.documents import Catalogue
from rules.gate.profile import STRICT
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing, charge
from rules.schema.parsing import parse
from rules.schema.report import Report
from rules.schema.search import SearchRequest
from rules.stack.chain import Mounted
from service.batch.pool import Errand, Pool
from service.examples import CALIBRATION_EXAMPLES
from service.http.app import create_app
from service.http.posted import Made, Task
from service.http.tasks import answering
from service.operations.assessors import Snapshot
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.operations.problems import ProblemError
from service.operations.settings import Settings
from tests.support.costly_stacks import costly_stack
from tests.support.inventories import shelf
from tests.support.live_service import PATIENCE_S, LiveService, until
from tests.support.served import NO_TLS
from tests.support.signing import ORDER, keys_of

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


class Elsewhere:
    """Stands for the other processes: answers at once as they do, or when it is told to."""

    def __init__(self, assessor: Assessor) -> None:
        self._answer = answering(Snapshot.of(assessor), assessor)
        self.asked: list[tuple[Task, int | None, bool]] = []
        self.waiting: list[Waiting] = []
        self.at_once = True

    def ask(self, what: Any, steps: int | None, *, urgent: bool = False) -> Waiting:
        self.asked.append((what, steps, urgent))
        one = Waiting(lambda: self._made(what, steps))
        self.waiting.append(one)
        if self.at_once:
            one.end()
        return one

    def _made(self, what: Task, steps: int | None) -> Made:
        with allowing(Allowance(steps)):
            return self._answer(what)


class Waiting:
    """A request that is elsewhere."""

    def __init__(self, answer: Callable[[], Made]) -> None:
        self.future: Future[Any] = Future()
        self.given_up = False
        self._answer = answer

    def end(self) -> None:
        try:
            self.future.set_result(self._answer())
        except Exception as error:
            self.future.set_exception(error)

    def give_up(self) -> None:
        self.given_up = True


@pytest.fixture
def elsewhere(assessor: Assessor) -> Elsewhere:
    return Elsewhere(assessor)


@pytest.fixture
def app_with(watched: Watched, elsewhere: Elsewhere) -> Callable[..., FastAPI]:
    """Makes an application with other settings, whose other processes are those of the test."""

    def make(**settings: Any) -> FastAPI:
        app = create_app(Settings(**settings), watched)  # type: ignore[arg-type]
        app.state.heavy_work = HeavyWork(Settings(**settings), elsewhere)
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
LIGHT_GATE: dict[str, Any] = {"order": "KB-1", "operations": [{"id": "op", "stack": PLAIN["stack"]}]}


def test_an_ordinary_check_is_judged_at_once(
    app_with: Callable[..., FastAPI], watched: Watched, elsewhere: Elsewhere
) -> None:
    """In the thread of the event loop, since handing over would cost more than it brings; a small gate, too."""
    assert _post(app_with(), "/v1/checks", PLAIN).status_code == 200
    assert _post(app_with(), "/v1/gates", LIGHT_GATE).status_code == 200
    assert set(watched.threads) == {threading.get_ident()}
    assert elsewhere.asked == []


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/exports", "/v1/drawings"])
def test_a_costly_check_goes_elsewhere_and_is_answered_all_the_same(
    app_with: Callable[..., FastAPI], elsewhere: Elsewhere, path: str
) -> None:
    """Whatever it costs, a single stack is judged, however little a request may ask."""
    response = _post(app_with(max_request_steps=LEAST_STEPS, max_steps_per_kib=LEAST_STEPS), path, COSTLY)
    assert response.status_code == 200
    ((task, steps, urgent),) = elsewhere.asked
    assert (task.path, steps, urgent) == (path, None, False)
    assert response.content == elsewhere.waiting[0].future.result().content


def test_a_large_body_is_read_elsewhere(
    app_with: Callable[..., FastAPI], watched: Watched, elsewhere: Elsewhere
) -> None:
    """Its reading alone takes long."""
    body = json.dumps(PLAIN).encode() + b" " * LIGHT_BYTES
    app = app_with()

    async def ask() -> httpx.Response:
        async with _client(app) as client:
            return await client.post("/v1/checks", content=body, headers=JSON)

    assert asyncio.run(ask()).status_code == 200
    assert watched.threads == []
    assert [task.body for task, _, _ in elsewhere.asked] == [body]


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        ("/v1/checks", b" " * LIGHT_BYTES + b"[", "malformed-json"),
        ("/v1/checks", b"{}" + b" " * LIGHT_BYTES, "invalid-request"),
        ("/v1/exports", b"{}" + b" " * LIGHT_BYTES, "invalid-request"),
        ("/v1/drawings", b"{}" + b" " * LIGHT_BYTES, "invalid-request"),
    ],
)
def test_a_fault_found_elsewhere_is_told_as_here(
    app_with: Callable[..., FastAPI], elsewhere: Elsewhere, path: str, body: bytes, code: str
) -> None:
    """The same problem with the same places, and one that can be sent between processes."""

    async def ask(content: bytes) -> httpx.Response:
        async with _client(app_with()) as client:
            return await client.post(path, content=content, headers=JSON | {"x-request-id": "one"})

    response = asyncio.run(ask(body))
    assert _is_problem(response, code)
    assert len(elsewhere.asked) == 1
    error = elsewhere.waiting[0].future.exception()
    assert isinstance(error, ProblemError)
    sent = pickle.loads(pickle.dumps(error))  # noqa: S301 - of this test
    assert sent.problem() == error.problem()
    assert sent.headers == error.headers
    here = asyncio.run(ask(body.strip()))
    assert [one | {"column": None} for one in response.json()["errors"]] == [
        one | {"column": None} for one in here.json()["errors"]
    ]


LEAST_PER_KIB = 50_000_000


@pytest.mark.parametrize(
    ("size", "steps"),
    [(0, 1), (1, 1), (1024, 1), (1025, 2), (2662, 3), (10 * 1024, 10), (10 * 1024 + 1, 10), (512 * 1024, 10)],
)
def test_work_is_allowed_in_proportion_to_the_request(size: int, steps: int) -> None:
    """Evenly for each KiB, begun or full, up to the limit of all."""
    assert HeavyWork(Settings()).steps(size) == steps * LEAST_PER_KIB


@pytest.mark.parametrize(
    ("path", "request_of", "more"),
    [("/v1/searches", {"whole_catalogue": True}, 3), ("/v1/comparisons", {"alternatives": []}, 0)],
)
def test_parts_that_a_search_may_read_count_like_parts_sent(
    assessor: Assessor, path: str, request_of: dict[str, Any], more: int
) -> None:
    """The operator has mounted them, so a short request for all of them is no attack; no other route reads them all."""
    part = parse(SearchRequest, {"components": shelf("KB-EM8-4")}).components["KB-EM8-4"]  # type: ignore[index]
    own = Assessor(assessor.book, Catalogue(Mounted({f"K{n}": [part] for n in range(3)}, {}), "0" * 64))
    settings, elsewhere = Settings(max_request_steps=10**12), Elsewhere(own)
    app = create_app(settings, own)
    app.state.heavy_work = HeavyWork(settings, elsewhere)  # type: ignore[arg-type]
    _post(app, path, {**request_of, "padding": "." * LIGHT_BYTES})  # so that it is not tried here first
    ((_, steps, _),) = elsewhere.asked
    assert steps == (LIGHT_BYTES // 1024 + 1 + more) * LEAST_PER_KIB


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
def test_a_request_that_asks_too_much_is_refused_always_alike(
    app_with: Callable[..., FastAPI], elsewhere: Elsewhere, path: str
) -> None:
    """422, the same bytes each time; and answered where more is allowed, if that is enough."""
    refused = [_post(app_with(max_request_steps=LEAST_STEPS), path, COMPOUND[path]) for _ in range(2)]
    assert _is_problem(refused[0], "too-much-work")
    assert refused[0].status_code == 422
    first, second = (one.json() | {"request_id": None} for one in refused)
    assert first == second
    assert {(steps, urgent) for _, steps, urgent in elsewhere.asked} == {(LEAST_STEPS, path == "/v1/gates")}


def test_what_is_allowed_is_answered(app_with: Callable[..., FastAPI]) -> None:
    """Three such stacks are within the default."""
    assert _post(app_with(), "/v1/gates", _gate()).status_code == 200


def test_a_short_budget_gets_no_long_computation(app_with: Callable[..., FastAPI], elsewhere: Elsewhere) -> None:
    """The most costly one of a few KiB that the contract allows: refused after its share, not after that of all."""
    body = len(httpx.Request("POST", "http://x", content=json.dumps(COMPOUND["/v1/budgets"])).content)
    assert _is_problem(_post(app_with(), "/v1/budgets", COMPOUND["/v1/budgets"]), "too-much-work")
    ((_, steps, _),) = elsewhere.asked
    assert steps == -(-body // 1024) * LEAST_PER_KIB < Settings().max_request_steps


def test_the_default_refuses_what_would_take_minutes(app_with: Callable[..., FastAPI]) -> None:
    """The largest comparison of the most costly stacks that the contract allows."""
    alternatives = [{"name": f"a{n}", "stack": costly_stack()} for n in range(50)]
    assert _is_problem(_post(app_with(), "/v1/comparisons", {"alternatives": alternatives}), "too-much-work")


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


HEAVY: dict[str, dict[str, Any]] = {
    "/v1/budgets": {"stack": costly_stack(6), "target_um": 10},
    "/v1/gates": {"order": "KB-1", "operations": [{"id": "op", "stack": costly_stack(6)}]},
}


async def _asked(elsewhere: Elsewhere, count: int) -> None:
    async with asyncio.timeout(30):
        while len(elsewhere.asked) < count:
            await asyncio.sleep(0.001)


def test_so_many_at_once_and_no_more(app_with: Callable[..., FastAPI], elsewhere: Elsewhere) -> None:
    """One more is told when to come again; gates have places of their own, short requests and later ones need none."""
    app = app_with(max_heavy_requests=2, max_heavy_gates=1)
    elsewhere.at_once = False

    async def ask() -> None:
        async with _client(app) as client:

            async def post(path: str, request: object) -> httpx.Response:
                return await client.post(path, content=json.dumps(request), headers=JSON)

            inside = [asyncio.create_task(post("/v1/budgets", HEAVY["/v1/budgets"])) for _ in range(2)]
            await _asked(elsewhere, 2)
            refused = await post("/v1/budgets", HEAVY["/v1/budgets"])
            assert _is_problem(refused, "too-busy")
            assert refused.status_code == 503
            assert int(refused.headers["retry-after"]) > 0
            assert (await post("/v1/gates", LIGHT_GATE)).status_code == 200
            inside.append(asyncio.create_task(post("/v1/gates", HEAVY["/v1/gates"])))
            await _asked(elsewhere, 3)
            assert [urgent for _, _, urgent in elsewhere.asked] == [False, False, True]
            assert _is_problem(await post("/v1/gates", HEAVY["/v1/gates"]), "too-busy")
            assert (await post("/v1/gates", LIGHT_GATE)).status_code == 200
            assert (await client.get("/healthz")).status_code == 200
            assert (await post("/v1/checks", PLAIN)).status_code == 200
            for one in elsewhere.waiting:
                one.end()
            assert [(await one).status_code for one in inside] == [200] * 3
            elsewhere.at_once = True
            assert (await post("/v1/gates", HEAVY["/v1/gates"])).status_code == 200

    asyncio.run(ask())


def test_a_batch_that_takes_too_long_is_given_up(
    app_with: Callable[..., FastAPI], watched: Watched, gate: Gate
) -> None:
    """503; the work ends at once where it counts, and its place is free again."""
    app = app_with(max_request_seconds=0.05, max_batches=1)
    watched.first = gate
    response = _post(app, "/v1/check-batches", {"stacks": [PLAIN, PLAIN]})
    assert _is_problem(response, "took-too-long")
    assert response.status_code == 503
    assert int(response.headers["retry-after"]) > 0
    assert gate.ended.wait(10)
    watched.first = lambda: None
    assert _post(app_with(), "/v1/check-batches", {"stacks": [PLAIN, PLAIN]}).status_code == 200


@pytest.mark.parametrize("path", HEAVY)
def test_the_place_is_taken_until_the_work_has_ended(
    app_with: Callable[..., FastAPI], elsewhere: Elsewhere, path: str
) -> None:
    """Who is given up does not make room for more than there is."""
    app = app_with(max_request_seconds=0.05, max_heavy_requests=1, max_heavy_gates=1)
    elsewhere.at_once = False

    async def ask() -> list[httpx.Response]:
        async with _client(app) as client:

            async def post() -> httpx.Response:
                return await client.post(path, content=json.dumps(HEAVY[path]), headers=JSON)

            late = await post()
            assert elsewhere.waiting[0].given_up
            busy = await post()
            elsewhere.at_once = True
            elsewhere.waiting[0].end()
            while (last := await post()).status_code == 503:
                await asyncio.sleep(0.001)
            return [late, busy, last]

    late, busy, good = asyncio.run(ask())
    assert _is_problem(late, "took-too-long")
    assert late.status_code == 503
    assert _is_problem(busy, "too-busy")
    assert good.status_code == 200


async def _abandoned(app: FastAPI, path: str, body: bytes, media_type: str, begun: Callable[[], bool]) -> None:
    """Send a request whose client leaves once the work has begun."""
    answered: list[Any] = []
    messages = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> Any:
        if messages:
            return messages.pop()
        while not begun():
            await asyncio.sleep(0.001)
        return {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        answered.append(message)

    scope: dict[str, Any] = {"type": "http", "http_version": "1.1", "method": "POST", "scheme": "http", "root_path": ""}
    scope |= {"path": path, "raw_path": path.encode(), "query_string": b"", "server": ("a", 80), "client": ("a", 1)}
    scope["headers"] = [(b"host", b"a"), (b"content-type", media_type.encode())]
    async with asyncio.timeout(30):
        await app(scope, receive, send)
    assert answered == []


@pytest.mark.parametrize("path", HEAVY)
def test_work_is_given_up_when_its_client_leaves(
    app_with: Callable[..., FastAPI], elsewhere: Elsewhere, path: str
) -> None:
    """No answer is sent, and the place is free again once the work has ended."""
    app = app_with(max_heavy_requests=1, max_heavy_gates=1)
    elsewhere.at_once = False

    async def ask() -> list[int]:
        await _abandoned(app, path, json.dumps(HEAVY[path]).encode(), "application/json", lambda: bool(elsewhere.asked))
        assert elsewhere.waiting[0].given_up
        found = []
        async with _client(app) as client, asyncio.timeout(30):
            while found[-1:] != [200]:
                found.append((await client.post(path, content=json.dumps(HEAVY[path]), headers=JSON)).status_code)
                elsewhere.at_once = True
                if len(found) == 1:
                    elsewhere.waiting[0].end()
                await asyncio.sleep(0.001)
        return found

    first, *_, last = asyncio.run(ask())
    assert (first, last) == (503, 200)


def test_a_batch_is_given_up_when_its_client_leaves(
    app_with: Callable[..., FastAPI], watched: Watched, gate: Gate
) -> None:
    """It ends where it counts, though nobody opens the gate at which it waits, and makes room."""
    app = app_with(max_batches=1)
    watched.first = gate
    body = json.dumps({"stacks": [PLAIN, PLAIN]}).encode()
    begun = partial(gate.begun.acquire, blocking=False)
    asyncio.run(_abandoned(app, "/v1/check-batches", body, "application/json", begun))
    assert gate.ended.wait(10)
    watched.first = lambda: None
    assert _post(app, "/v1/check-batches", {"stacks": [PLAIN, PLAIN]}).status_code == 200


def test_a_costly_line_of_a_batch_goes_elsewhere(app_with: Callable[..., FastAPI], watched: Watched) -> None:
    """Others are answered meanwhile, and the line as if it were alone."""
    app = app_with()
    response = _post(app, "/v1/check-batches", COSTLY, **{"content-type": "application/x-ndjson"})
    assert response.status_code == 200
    assert watched.threads == [threading.get_ident()]
    line = response.content.splitlines()[0]
    report = _post(app, "/v1/checks", COSTLY)
    name = json.dumps(report.json()["stack_id"]).encode()
    assert line == b'{"type":"report","line":1,"id":%b,"report":%b}' % (name, report.content)


class Counted(Pool):
    """Real processes, and what they were asked."""

    asked: list[Task]

    def ask(self, what: Any, steps: int | None, *, urgent: bool = False) -> Errand:
        """As the pool."""
        self.asked.append(what)
        return super().ask(what, steps, urgent=urgent)


@pytest.fixture(scope="module")
def two_places(assessor: Assessor) -> Iterator[tuple[FastAPI, Counted]]:
    """An application with a key, and the pool that answers what is long."""
    keys = keys_of()
    with Counted(1, Snapshot.of(assessor, STRICT), answering=partial(answering, keys=keys)) as pool:
        pool.asked = []
        app = create_app(Settings(), assessor, keys=keys)
        app.state.heavy_work = HeavyWork(Settings(), pool)
        yield app, pool


_YAML = b"""\
stack:
  - generic:holder:HSK-A63:iso15488-32:100
  - iso15488:32:12
  - {part: "din6535:HA12:83", cutting_diameter_mm: 12, teeth: 4, projection_mm: 40}
operation: {spindle_speed_rpm: 6000, runout_limit_um: 20 um}
"""
_CALIBRATION = json.dumps(next(iter(CALIBRATION_EXAMPLES.values())).request).encode()
_MEDIA_TYPES = {b"{": "application/json", b"s": "application/yaml"}


@pytest.mark.parametrize(
    ("path", "accept", "body", "status", "holds"),
    [
        pytest.param("/v1/gates", None, json.dumps(ORDER).encode(), 200, b'"signature":"ey', id="signed gate"),
        pytest.param("/v1/checks?unit=inch", "text/plain", _YAML, 200, b"1.5748 in", id="text in inches"),
        pytest.param("/v1/checks?unit=inch", "text/html", _YAML, 200, b"0.0000394 in", id="page in inches"),
        pytest.param("/v1/checks?page=sheet&unit=inch", "text/html", _YAML, 200, b"5.5118 in", id="sheet in inches"),
        pytest.param(
            "/v1/calibrations", "text/plain", _CALIBRATION, 200, b"Runout of each class", id="calibration as text"
        ),
        pytest.param("/v1/checks", None, _YAML, 200, b'"verdict"', id="check in YAML"),
        pytest.param("/v1/budgets", None, _YAML, 200, b'"planes"', id="budget in YAML"),
        pytest.param("/v1/drawings?unit=inch", None, _YAML, 200, b" in<", id="drawing in inches"),
        pytest.param("/v1/exports", None, _YAML, 200, b"CuttingTool", id="export in YAML"),
        pytest.param("/v1/requests", None, _YAML, 200, b'"components":[', id="full form of YAML"),
        pytest.param("/v1/requests?form=draft", "application/yaml", _YAML, 200, b"components:\n", id="draft"),
        pytest.param("/v1/checks", None, _YAML.replace(b"teeth: 4", b"teeth: 0"), 422, b'"line":4', id="fault"),
        pytest.param("/v1/exports", None, _YAML.replace(b"teeth: 4", b"teth: 4"), 422, b'"line":4', id="misspelt"),
        pytest.param("/v1/drawings", None, _YAML + b"stack: []", 400, b'"line":6', id="no plain YAML"),
    ],
)
def test_the_answer_is_the_same_wherever_it_is_made(
    two_places: tuple[FastAPI, Counted], path: str, accept: str | None, body: bytes, status: int, holds: bytes
) -> None:
    """Byte for byte, with signature, units, and line and column of a fault; what is padded goes to a process."""
    app, pool = two_places
    headers = {"content-type": _MEDIA_TYPES[body[:1]], "x-request-id": "one"}
    padding = b" " * LIGHT_BYTES if body.startswith(b"{") else b"\n# " + b"-" * LIGHT_BYTES

    async def ask(content: bytes) -> httpx.Response:
        async with _client(app) as client:
            return await client.post(path, content=content, headers=headers | ({"accept": accept} if accept else {}))

    pool.asked.clear()
    here = asyncio.run(ask(body))
    assert pool.asked == []
    there = asyncio.run(ask(body + padding))
    assert len(pool.asked) == 1
    assert (here.status_code, there.status_code) == (status, status)
    assert there.headers == here.headers
    assert there.content == here.content
    assert holds in here.content


def test_clients_that_leave_make_room_in_the_running_service() -> None:
    """Every place was taken by work that never ends; the next client is answered, the others never are."""
    hogs = Settings().max_heavy_requests
    body = json.dumps(COMPOUND["/v1/budgets"]).encode()
    head = b"POST /v1/budgets HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n"
    endless = dict.fromkeys(("max_request_steps", "max_steps_per_kib"), str(10**12))
    with LiveService(max_request_seconds="3600", **endless) as service:
        url = httpx.URL(service.url)

        def budget() -> int:
            return httpx.post(
                f"{url}/v1/budgets", json=HEAVY["/v1/budgets"], timeout=PATIENCE_S, verify=NO_TLS
            ).status_code

        with ExitStack() as inside:
            for _ in range(hogs):
                one = inside.enter_context(socket.create_connection((url.host, url.port or 0), PATIENCE_S))
                one.sendall(head % len(body) + body)
            until(lambda: budget() == 503)
        until(lambda: budget() == 200)
        told = until(lambda: found if len(found := _told(service, 0)) == hogs else None)
        assert not any(line["complete"] for line in told)
        assert len(until(lambda: _told(service, 200))) == 1
        service.terminate()
        assert service.ended() == 0


def _told(service: LiveService, status: int) -> list[dict[str, Any]]:
    return [line for line in service.log if line.get("route") == "/v1/budgets" and line["status"] == status]
