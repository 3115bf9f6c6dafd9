"""Many concurrent connections: no errors, and each answer equal to that of a single request."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping

import anyio
import httpx
import pytest

from tests.support.served import PATIENCE_S, Served

CHECKS = "/v1/checks"
JSON = {"content-type": "application/json"}


async def _load(
    url: str, bodies: Mapping[str, bytes], answers: Mapping[str, bytes], connections: int, requests: int
) -> list[float]:
    """Ask over so many connections, each so often and each in another order; return the times in ms, sorted."""
    names = list(bodies)
    times: list[float] = []
    limits = httpx.Limits(max_connections=connections, max_keepalive_connections=connections)

    async def ask(client: httpx.AsyncClient, number: int) -> None:
        for turn in range(requests):
            name = names[(number + turn * (1 + number % 5)) % len(names)]
            begin = time.perf_counter()
            response = await client.post(CHECKS, content=bodies[name], headers=JSON)
            times.append((time.perf_counter() - begin) * 1e3)
            assert response.status_code == 200
            assert response.content == answers[name]

    async with (
        httpx.AsyncClient(base_url=url, limits=limits, timeout=PATIENCE_S) as client,
        anyio.create_task_group() as group,
    ):
        for number in range(connections):
            group.start_soon(ask, client, number)
    return sorted(times)


def _run(
    server: Served, bodies: Mapping[str, bytes], answers: Mapping[str, bytes], connections: int, requests: int
) -> None:
    times = anyio.run(_load, server.url, bodies, answers, connections, requests)
    assert len(times) == connections * requests
    half, most = (times[math.ceil(len(times) * share) - 1] for share in (0.5, 0.99))
    print(f"{connections} connections, {len(times)} checks: half within {half:.0f} ms, 99 % within {most:.0f} ms")


def test_thirty_connections_get_each_their_own_answer(
    server: Served, bodies: Mapping[str, bytes], answers: Mapping[str, bytes]
) -> None:
    """Three hundred and sixty checks of unlike stacks, mixed; not one differs from the answer given in peace."""
    assert len(set(answers.values())) == len(bodies)
    _run(server, bodies, answers, connections=30, requests=12)


@pytest.mark.long
def test_three_hundred_connections_get_each_their_own_answer(
    server: Served, bodies: Mapping[str, bytes], answers: Mapping[str, bytes]
) -> None:
    """Twelve thousand checks; the client is slow, so that connections rest for seconds between two of them."""
    _run(server, bodies, answers, connections=300, requests=40)
