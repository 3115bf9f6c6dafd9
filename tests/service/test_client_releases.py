"""The client releases an order only on a complete, verified answer to this order."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st

from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import parse
from service.client import AsyncClient, Client, Patience, Release
from service.client.release import judged
from tests.support.client_faces import ADDRESS, KINDS, Face, Kind, of_app
from tests.support.orders import CHANGES, decided, operation_of, order_of

ORDER = order_of("good", "advice", revision="A", context={"job": "J-88", "lot": [1, None]})
RELEASED = decided(ORDER)
TOLD: dict[str, Any] = RELEASED.model_dump(mode="json")


@pytest.fixture(params=KINDS)
def face(request: pytest.FixtureRequest, app: FastAPI) -> Face:
    """A client of the real application."""
    return Face(request.param, of_app(app))


def _answering(content: object) -> Callable[[httpx.Request], httpx.Response]:
    return lambda _: httpx.Response(200, json=content)


def test_a_good_order_is_released(face: Face) -> None:
    """As a dictionary and as a model; with the report whose digest is to be stored."""
    for order in (ORDER, parse(GateRequest, ORDER)):
        release = face.call("releases", order)
        assert bool(release) is True
        assert release == Release(True, (), RELEASED)


@pytest.mark.parametrize("kind", KINDS)
def test_the_answer_as_it_stands_is_a_release(kind: Kind) -> None:
    """The table below changes one thing each; unchanged, it is released."""
    assert Face(kind, _answering(TOLD)).call("releases", ORDER)


@pytest.mark.parametrize("name", [name for name in CHANGES if name not in ("good", "advice", "cutting speed", "drill")])
def test_what_the_gate_holds_is_not_released(face: Face, name: str) -> None:
    """Whatever is the reason, it is told with its operation."""
    order = order_of("good", name)
    release = face.call("releases", order)
    assert not release
    assert release.report == decided(order)
    assert release.why[0] == f"The decision is {release.report.decision}."
    assert any(text.startswith("Operation 20: ") for text in release.why)
    assert not any(text.startswith("Operation 10: ") for text in release.why)


BROKEN_REQUESTS: dict[str, Any] = {
    "no order": {},
    "no operations": {"order": "KB-1", "operations": []},
    "unknown field": {**ORDER, "prority": 1},
    "not a number": {**ORDER, "context": {"x": float("nan")}},
    "no object": None,
    "text": "KB-WO-1",
    "a list": [ORDER],
}


@pytest.mark.parametrize("name", BROKEN_REQUESTS)
def test_what_is_no_order_is_not_released(face: Face, name: str) -> None:
    """And raises nothing."""
    release = face.call("releases", BROKEN_REQUESTS[name])
    assert (bool(release), release.report) == (False, None)
    assert release.why


def _raising(error: Exception) -> Callable[[httpx.Request], httpx.Response]:
    def answer(_: httpx.Request) -> httpx.Response:
        raise error

    return answer


def _as(status: int, text: str, media_type: str = "application/json") -> Callable[[httpx.Request], httpx.Response]:
    return lambda _: httpx.Response(status, text=text, headers={"content-type": media_type})


FAULTS: dict[str, Callable[[httpx.Request], httpx.Response]] = {
    "refused": _raising(httpx.ConnectError("refused")),
    "no name": _raising(httpx.ConnectError("name not known")),
    "silence": _raising(httpx.ReadTimeout("silence")),
    "broken": _raising(httpx.ReadError("broken")),
    "protocol": _raising(httpx.RemoteProtocolError("closed")),
    "out of memory": _raising(MemoryError()),
    "a defect": _raising(ZeroDivisionError()),
    "too deep": _raising(RecursionError()),
    "problem 422": _as(
        422, '{"type":"urn:x","code":"x","title":"","status":422,"detail":""}', "application/problem+json"
    ),
    "problem 503": _as(
        503, '{"type":"urn:x","code":"x","title":"","status":503,"detail":""}', "application/problem+json"
    ),
    "problem with 200": _as(200, '{"type":"urn:x","code":"x","title":"","status":422,"detail":""}'),
    "server error": _as(500, "oops", "text/plain"),
    "release with another status": _as(203, json.dumps(TOLD)),
    "release as created": _as(201, json.dumps(TOLD)),
    "release as a problem": _as(500, json.dumps(TOLD)),
    "release of another media type": _as(200, json.dumps(TOLD), "text/html"),
    "nothing": _as(200, ""),
    "empty object": _as(200, "{}"),
    "the decision alone": _as(200, '{"decision":"release","evaluation":1,"evaluation_name":"OK"}'),
    "true": _as(200, "true"),
    "null": _as(200, "null"),
    "a list": _as(200, json.dumps([TOLD])),
    "cut off": _as(200, json.dumps(TOLD)[:-1]),
    "twice": _as(200, json.dumps(TOLD) * 2),
    "login page": _as(200, "<html>please log in</html>", "text/html"),
    "redirect": lambda _: httpx.Response(302, headers={"location": "http://elsewhere/"}),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_no_release(kind: Kind, name: str) -> None:
    """Whatever it is: not released, nothing raised, and a reason told."""
    release = Face(kind, FAULTS[name]).call("releases", ORDER)
    assert release.released is False
    assert not release
    assert release.why


@pytest.mark.parametrize("kind", KINDS)
def test_no_answer_in_time_is_no_release(kind: Kind) -> None:
    """Though it comes and would release."""
    face = Face(kind, lambda _: httpx.Response(200, json=TOLD))
    ticks = iter([0.0, 0.0, 0.0])
    face._options["clock"] = lambda: next(ticks, 99.0)
    release = face.call("releases", ORDER)
    assert not release
    assert release.why[0].startswith("OverdueError")


def _set(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    def change(told: dict[str, Any]) -> None:
        *way, last = [int(step) if step.isdigit() else step for step in path.split("/")]
        place: Any = told
        for step in way:
            place = place[step]
        assert place[last] != value
        place[last] = value

    return change


REASON = {
    "code": "GRIP-010", "severity": "error", "effect": "stop", "title": "", "message": "", "at": [], "remedy": "",
    "source": "",
}  # fmt: skip
GAP = {"code": "GRIP-010", "severity": "error", "title": "", "at": [], "lacks": [], "effect": "hold"}

FORGED: dict[str, Callable[[dict[str, Any]], object]] = {
    "held": _set("decision", "hold"),
    "stopped": _set("decision", "stop"),
    "evaluation of hold": _set("evaluation", 3),
    "evaluation undefined": _set("evaluation", 0),
    "evaluation's name": _set("evaluation_name", "NotOK"),
    "an operation held": _set("operations/1/decision", "hold"),
    "an operation that fails": _set("operations/0/verdict", "fail"),
    "a reason": _set("operations/0/reasons", [REASON]),
    "a gap": _set("operations/0/undecided", [GAP]),
    "an advice hidden": _set("operations/1/advice", []),
    "an operation missing": lambda told: told["operations"].pop(),
    "an operation twice": lambda told: told["operations"].append(told["operations"][0]),
    "operations in another order": lambda told: told["operations"].reverse(),
    "another operation": _set("operations/1/id", "30"),
    "another order": _set("order", "KB-WO-0010"),
    "another revision": _set("revision", "B"),
    "no revision": _set("revision", None),
    "less required": lambda told: told["required"].pop(),
    "counts of held ones": _set("counts/release", 1),
    "counts of more": _set("counts/operations", 3),
    "another digest": _set("digest", "0" * 64),
    "no digest": _set("digest", ""),
    "another input": _set("input_sha256", "0" * 64),
    "another context": _set("context", {"job": "J-89"}),
    "no context": _set("context", None),
    "another context digest": _set("context_sha256", "0" * 64),
    "another version": _set("provenance/version", "0.2.0"),
    "another service": _set("provenance/service", "othergauge"),
    "other rules": _set("provenance/judgement_sha256", "0" * 64),
    "another catalogue": _set("provenance/catalogue_sha256", "0" * 64),
    "other aliases": _set("provenance/aliases_sha256", "0" * 64),
    "decision of a later version": _set("decision", "release_with_notes"),
    **{f"without {name}": (lambda told, name=name: told.pop(name)) for name in GateReport.model_fields},
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", FORGED)
def test_an_answer_changed_in_one_place_is_no_release(kind: Kind, name: str) -> None:
    """Each field that matters is held against the order or against the digest."""
    told = json.loads(json.dumps(TOLD))
    FORGED[name](told)
    release = Face(kind, _answering(told)).call("releases", ORDER)
    assert not release
    assert release.why


def test_the_version_is_named() -> None:
    """So that the caller knows what to bring up to date."""
    told = {**TOLD, "provenance": {**TOLD["provenance"], "version": "9.0.0"}}
    release = Face("sync", _answering(told)).call("releases", ORDER)
    assert any("stackgauge 9.0.0" in text for text in release.why)


def _other_orders() -> dict[str, Any]:
    return {
        "a faster spindle": order_of("good", "cutting speed", revision="A", context=ORDER["context"]),
        "one operation": order_of("good", revision="A", context=ORDER["context"]),
        "required less": {**ORDER, "required": ["machine"]},
        "another machine": {**ORDER, "machine": {"kind": "stated", "max_speed_rpm": 12000}},
        "another policy": {**ORDER, "policy": {"on_warning": "fail"}},
        "another context": {**ORDER, "context": {"job": "J-89"}},
        "no context": {name: value for name, value in ORDER.items() if name != "context"},
        "another operation": {**ORDER, "operations": [operation_of("good", 10), operation_of("advice", 30)]},
    }


@pytest.mark.parametrize("name", _other_orders())
def test_a_true_answer_to_another_order_is_no_release(name: str) -> None:
    """Mixed up by a cache or a proxy, whole and genuine as it is."""
    order = _other_orders()[name]
    release = Face("sync", _answering(TOLD)).call("releases", order)
    assert not release
    assert any("order" in text or "context" in text for text in release.why)


_PLACES = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.sampled_from(["release", "hold", "pass", "", "OK"]),
    lambda inner: st.lists(inner, max_size=2),
    max_leaves=3,
)
_OTHER_TESTS = ("cautions", "not_required", "operations", "provenance", "signature")
"""A client without a key takes any signature; test_gate_signatures.py has those with one."""

_DECIDING = [name for name in GateReport.model_fields if name not in _OTHER_TESTS]


@given(st.sampled_from(_DECIDING), _PLACES)
def test_no_value_in_place_of_another_releases(name: str, value: object) -> None:
    """Unless it is the very value that was there."""
    if value == TOLD[name] and type(value) is type(TOLD[name]):
        return
    try:
        report = GateReport.model_validate_json(json.dumps({**TOLD, name: value}))
    except ValueError:
        return
    if report == RELEASED:
        return  # read as the same
    assert not judged(parse(GateRequest, ORDER), report)


def test_cancelling_is_not_swallowed() -> None:
    """Only faults become a hold; who stops the program stops it."""

    def stop(_: httpx.Request) -> httpx.Response:
        raise KeyboardInterrupt

    with Client(ADDRESS, transport=httpx.MockTransport(stop)) as client, pytest.raises(KeyboardInterrupt):
        client.releases(ORDER)

    async def main() -> None:
        async def never(_: httpx.Request) -> httpx.Response:
            await asyncio.Event().wait()
            raise AssertionError

        async with AsyncClient(ADDRESS, transport=httpx.MockTransport(never), patience=Patience()) as client:
            asked = asyncio.create_task(client.releases(ORDER))
            await asyncio.sleep(0)
            asked.cancel()
            with pytest.raises(asyncio.CancelledError):
                await asked

    asyncio.run(main())
