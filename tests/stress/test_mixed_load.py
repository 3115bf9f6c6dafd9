"""Checks, gates and batches at once, on one worker and on two: no errors, and each answer as when nobody else asks."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

import anyio
import httpx
import pytest

from service.examples import GATE_EXAMPLES
from tests.support.served import NO_TLS, PATIENCE_S, SERVICE, Served, served

JSON = {"content-type": "application/json"}
LINES = {"content-type": "application/x-ndjson"}
BATCHES = "/v1/check-batches"
"""Eight at once have a place; who comes too many is told when to come again."""

GATE = json.dumps(next(iter(GATE_EXAMPLES.values())).request).encode()

Question = tuple[str, bytes, Mapping[str, str]]
"""Path, body and headers."""


def _questions(bodies: Mapping[str, bytes]) -> list[Question]:
    """Eight checks for each gate and each batch of as many lines."""
    checks = [("/v1/checks", body, JSON) for body in list(bodies.values())[:8]]
    batch = b"".join(json.dumps(json.loads(body)).encode() + b"\n" for _, body, _ in checks)
    return [*checks, ("/v1/gates", GATE, JSON), (BATCHES, batch, LINES)]


@contextmanager
def _with_workers(one: Served, workers: int) -> Iterator[Served]:
    if workers == 1:
        yield one
        return
    with served((*SERVICE, "--workers", str(workers))) as several:
        yield several
        assert several.process.poll() is None


async def _ask(url: str, questions: Sequence[Question], told: Sequence[bytes], connections: int, turns: int) -> int:
    """Ask over so many connections, each in another order; return how many answers came."""
    answered: Counter[int] = Counter()

    async def ask(number: int) -> None:
        # a client for each, so that connections spread over the workers
        async with httpx.AsyncClient(base_url=url, timeout=PATIENCE_S, verify=NO_TLS) as client:
            for turn in range(turns):
                place = (3 * number + turn) % len(questions)
                path, body, headers = questions[place]
                response = await client.post(path, content=body, headers=headers)
                while path == BATCHES and response.status_code == 503:
                    await anyio.sleep(float(response.headers["retry-after"]))
                    response = await client.post(path, content=body, headers=headers)
                assert (path, response.status_code) == (path, 200)
                assert response.content == told[place]
                answered[place] += 1

    async with anyio.create_task_group() as group:
        for number in range(connections):
            group.start_soon(ask, number)
    assert answered.keys() == set(range(len(questions)))
    return answered.total()


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize(
    ("connections", "turns"), [(10, 10), pytest.param(60, 200, marks=pytest.mark.long)], ids=["short", "long"]
)
def test_checks_gates_and_batches_do_not_disturb_each_other(
    server: Served, bodies: Mapping[str, bytes], workers: int, connections: int, turns: int
) -> None:
    """Each is answered with the bytes of the quiet answer of one worker; checks and gates at once, batches in turn."""
    questions = _questions(bodies)
    with httpx.Client(base_url=server.url, timeout=PATIENCE_S, verify=NO_TLS) as client:
        told = [client.post(path, content=body, headers=headers).content for path, body, headers in questions]
    with _with_workers(server, workers) as one:
        assert anyio.run(_ask, one.url, questions, told, connections, turns) == connections * turns
