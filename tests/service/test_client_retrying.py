"""Retries of the client: which, when and for how long; no test waits."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from typing import Any

import httpx
import pytest

from service.client import (
    AnsweredProblemError,
    AsyncClient,
    Client,
    ClientError,
    OverdueError,
    Patience,
    UnreachableError,
    UnreadableAnswerError,
)
from service.client.calls import retry_after_s
from service.contract import State
from tests.support.client_faces import ADDRESS, KINDS, Face, FakeTime, Kind

OK = httpx.Response(200, json={"status": "ok"})

Outcome = httpx.Response | Exception


class Script:
    """Answers with one outcome after the other, the last of them for ever."""

    def __init__(self, *outcomes: Outcome, moves: Callable[[], None] = lambda: None) -> None:
        self.asked = 0
        self._outcomes = outcomes
        self._moves = moves

    def __call__(self, _: httpx.Request) -> httpx.Response:
        outcome = self._outcomes[min(self.asked, len(self._outcomes) - 1)]
        self.asked += 1
        self._moves()
        if isinstance(outcome, Exception):
            raise outcome
        # a response is read once only
        return httpx.Response(outcome.status_code, headers=outcome.headers, content=outcome.content)


def _problem(status: int, **headers: str) -> httpx.Response:
    body = {
        "type": "https://stackgauge.invalid/problems/too-busy",
        "code": "too-busy",
        "title": "Busy",
        "status": status,
        "detail": "Too many.",
    }
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return httpx.Response(status, json=body, headers={**named, "content-type": "application/problem+json"})


REPEATED: dict[str, Outcome] = {
    "connection refused": httpx.ConnectError("refused"),
    "no connection in time": httpx.ConnectTimeout("no connection"),
    "connection broken while reading": httpx.ReadError("broken"),
    "connection broken while writing": httpx.WriteError("broken"),
    "connection closed without an answer": httpx.RemoteProtocolError("closed"),
    "429": _problem(429),
    "503": _problem(503),
    "502 of a gateway": httpx.Response(502, text="Bad gateway"),
    "504 of a gateway": httpx.Response(504, text="Too slow"),
}
FINAL: dict[str, Outcome] = {
    "no sign of life": httpx.ReadTimeout("silence"),
    "no connection free": httpx.PoolTimeout("all in use"),
    "wrong protocol": httpx.UnsupportedProtocol("gopher"),
    "broken coding": httpx.DecodingError("no gzip"),
    "400": _problem(400),
    "404 of another program": httpx.Response(404, text="?"),
    "422": _problem(422),
    "500": _problem(500),
    "redirect": httpx.Response(307, headers={"location": "http://elsewhere/"}),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("cause", REPEATED)
def test_what_may_pass_is_asked_again(kind: Kind, cause: str) -> None:
    """Twice in vain, then answered."""
    script = Script(REPEATED[cause], REPEATED[cause], OK)
    face = Face(kind, script)
    assert face.call("health") == State(status="ok")
    assert (script.asked, len(face.time.slept)) == (3, 2)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("cause", FINAL)
def test_what_stays_is_told_at_once(kind: Kind, cause: str) -> None:
    """Asking again would bring the same, or would load a service that is slow."""
    script = Script(FINAL[cause], OK)
    face = Face(kind, script)
    with pytest.raises(ClientError) as raised:
        face.call("health")
    assert (script.asked, face.time.slept, raised.value.repeatable) == (1, [], False)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("cause", REPEATED)
def test_attempts_are_counted(kind: Kind, cause: str) -> None:
    """The last error is raised when they are used up."""
    script = Script(REPEATED[cause])
    face = Face(kind, script, patience=Patience(attempts=3))
    with pytest.raises(ClientError) as raised:
        face.call("health")
    assert script.asked == 3
    assert raised.value.repeatable
    outcome = REPEATED[cause]
    if isinstance(outcome, Exception):
        assert isinstance(raised.value, UnreachableError)
        assert raised.value.__cause__ is outcome
    else:
        assert isinstance(raised.value, AnsweredProblemError | UnreadableAnswerError)
        assert raised.value.status == outcome.status_code


@pytest.mark.parametrize("kind", KINDS)
def test_pauses_grow_and_are_random(kind: Kind) -> None:
    """Each lies below twice the bound of the one before, up to the longest; they are not all the same."""
    patience = Patience(attempts=9, first_pause_s=0.2, longest_pause_s=5, deadline_s=1000)
    runs = []
    for _ in range(30):
        face = Face(kind, Script(_problem(503)), patience=patience)
        with pytest.raises(AnsweredProblemError):
            face.call("health")
        runs.append(face.time.slept)
    bounds = [min(5.0, 0.2 * 2**n) for n in range(8)]
    for slept in runs:
        assert len(slept) == 8
        assert all(0 <= pause <= bound for pause, bound in zip(slept, bounds, strict=True))
    for n, bound in enumerate(bounds):
        assert max(slept[n] for slept in runs) > bound / 2 > min(slept[n] for slept in runs)


@pytest.mark.parametrize("kind", KINDS)
def test_the_service_may_ask_for_more(kind: Kind) -> None:
    """No attempt comes before Retry-After says so."""
    face = Face(kind, Script(_problem(503, retry_after="7"), _problem(429, retry_after="11"), OK))
    assert face.call("health") == State(status="ok")
    assert face.time.slept == [7, 11]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("asked", ["31", "9" * 400])
def test_a_pause_beyond_the_deadline_is_not_begun(kind: Kind, asked: str) -> None:
    """The problem is raised at once, with what was asked for."""
    face = Face(kind, Script(_problem(503, retry_after=asked), OK), patience=Patience(deadline_s=30))
    with pytest.raises(AnsweredProblemError) as raised:
        face.call("health")
    assert raised.value.retry_after_s == float(asked)
    assert face.time.slept == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_deadline_counts_attempts_and_pauses_together(kind: Kind) -> None:
    """Attempts of 4 s and pauses of 5 s: the third begins after 18 s and is not awaited beyond 20 s."""
    fake = FakeTime()
    script = Script(_problem(503, retry_after="5"), moves=lambda: setattr(fake, "now", fake.now + 4))
    face = Face(kind, script, time=fake, patience=Patience(deadline_s=20, attempts=100))
    with pytest.raises(OverdueError, match="within 20 s"):
        face.call("health")
    assert (script.asked, face.time.slept) == (3, [5, 5])


@pytest.mark.parametrize("kind", KINDS)
def test_an_answer_behind_the_deadline_is_none(kind: Kind) -> None:
    """However good it is."""
    fake = FakeTime()
    script = Script(OK, moves=lambda: setattr(fake, "now", fake.now + 31))
    face = Face(kind, script, time=fake, patience=Patience(deadline_s=30))
    with pytest.raises(OverdueError, match="within 30 s"):
        face.call("health")


@pytest.mark.parametrize("kind", KINDS)
def test_an_attempt_waits_no_longer_than_the_deadline(kind: Kind) -> None:
    """What httpx is told shrinks with the time that is left."""
    fake = FakeTime()
    told: list[float] = []

    def refuse(request: httpx.Request) -> httpx.Response:
        timeouts = set(request.extensions["timeout"].values())
        assert len(timeouts) == 1
        told.extend(timeouts)
        fake.now += 6
        return _problem(503, retry_after="3")

    patience = Patience(deadline_s=30, timeout_s=10, attempts=4)
    with pytest.raises(OverdueError):
        Face(kind, refuse, time=fake, patience=patience).call("health")
    assert told == [10, 10, 10, 3]


class _Trickle(httpx.SyncByteStream):
    """A body that comes a byte at a time, each after a second."""

    def __init__(self, fake: FakeTime) -> None:
        self._fake = fake

    def __iter__(self) -> Iterator[bytes]:
        for byte in OK.content * 10:
            self._fake.now += 1
            yield bytes([byte])


def test_a_trickle_is_cut_off() -> None:
    """Each byte is a sign of life, the deadline ends it all the same."""
    fake = FakeTime()

    def answer(_: httpx.Request) -> httpx.Response:
        return httpx.Response(200, headers={"content-type": "application/json"}, stream=_Trickle(fake))

    start = fake.now
    with pytest.raises(OverdueError):
        Face("sync", answer, time=fake, patience=Patience(deadline_s=5)).call("health")
    assert fake.now - start <= 6


def test_silence_is_cut_off_where_it_can_be() -> None:
    """The asynchronous client needs no sign of life to keep its deadline."""

    async def never(_: httpx.Request) -> httpx.Response:
        await asyncio.Event().wait()
        raise AssertionError

    async def main() -> None:
        patience = Patience(deadline_s=0.05)
        async with AsyncClient(ADDRESS, transport=httpx.MockTransport(never), patience=patience) as client:
            with pytest.raises(OverdueError):
                await client.health()

    # generous: it only keeps a test that fails from hanging
    asyncio.run(asyncio.wait_for(main(), 60))


class _Stalled(httpx.AsyncByteStream):
    """A body that stops in the middle, and notes that it was closed."""

    def __init__(self) -> None:
        self.closed = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        yield b'{"status"'
        await asyncio.Event().wait()

    async def aclose(self) -> None:
        self.closed = True


def test_half_an_answer_is_none_and_is_let_go() -> None:
    """The deadline ends a body that stalls, and its connection is closed."""
    body = _Stalled()

    async def half(_: httpx.Request) -> httpx.Response:
        return httpx.Response(200, headers={"content-type": "application/json"}, stream=body)

    async def main() -> None:
        patience = Patience(deadline_s=0.05)
        async with AsyncClient(ADDRESS, transport=httpx.MockTransport(half), patience=patience) as client:
            with pytest.raises(OverdueError):
                await client.health()

    asyncio.run(asyncio.wait_for(main(), 60))
    assert body.closed


NOW = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        ("0", 0),
        ("120", 120),
        (format_datetime(NOW + timedelta(seconds=90), usegmt=True), 90),
        (format_datetime(NOW - timedelta(seconds=90), usegmt=True), 0),
        ("Monday, 01-Mar-27 08:00:30 GMT", 30),
        ("Mon, 01 Mar 2027 08:00:30 -0000", 30),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("", None),
        ("Mon, 99 Mar 2027 08:00:30 GMT", None),
        ("Mon, 01 Mar 2027 08:00:30 +99999999999999", None),
    ],
)
def test_both_forms_of_retry_after_are_read(value: str | None, expected: float | None) -> None:
    """Seconds and dates (RFC 9110, sections 10.2.3 and 5.6.7); what is neither says nothing."""
    assert retry_after_s(value, NOW) == expected


@pytest.mark.parametrize("name", ["deadline_s", "timeout_s", "attempts", "first_pause_s", "longest_pause_s"])
@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
def test_patience_is_a_number_above_zero(name: str, value: float) -> None:
    """No call without an end."""
    with pytest.raises(ValueError, match=name):
        Patience(**{name: value})  # type: ignore[arg-type]


def test_the_pauses_are_those_of_the_clock_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    """The client sleeps between attempts by itself."""
    slept: list[Any] = []
    script = Script(_problem(503, retry_after="2"), OK)
    monkeypatch.setattr(time, "sleep", slept.append)
    with Client(ADDRESS, transport=httpx.MockTransport(script), sleep=time.sleep) as client:
        assert client.health() == State(status="ok")
    assert slept == [2]
