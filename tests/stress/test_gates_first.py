"""Gates are answered while budgets hog the service, and many gates at once are not refused."""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.examples import GATE_EXAMPLES
from tests.support.costly_stacks import costly_stack
from tests.support.served import NO_TLS, PATIENCE_S, Served, served

JSON = {"content-type": "application/json"}
HOGS = 8
"""As many as there are places for long-running requests."""

ORDER: dict[str, Any] = next(iter(GATE_EXAMPLES.values())).request
GATE = json.dumps(ORDER).encode()
LARGE_GATE = json.dumps(
    {**ORDER, "operations": [{**ORDER["operations"][0], "id": str(10 * n)} for n in range(1, 13)]}
).encode()
BUDGET = json.dumps({"stack": costly_stack(10), "target_um": 10}).encode()


def _together(count: int, work: Callable[[httpx.Client], None], url: str) -> list[threading.Thread]:
    def run() -> None:
        with httpx.Client(base_url=url, timeout=4 * PATIENCE_S, verify=NO_TLS) as client:
            work(client)

    threads = [threading.Thread(target=run) for _ in range(count)]
    for thread in threads:
        thread.start()
    return threads


def _hogged(server: Served, gates: int) -> None:
    """Ask for gates while every place is taken by a budget of the most costly kind."""
    budgets: list[int] = []

    def hog(client: httpx.Client) -> None:
        budgets.append(client.post("/v1/budgets", content=BUDGET, headers=JSON).status_code)

    hogs = _together(HOGS, hog, server.url)
    with httpx.Client(base_url=server.url, timeout=PATIENCE_S, verify=NO_TLS) as client:
        decided: Counter[int] = Counter()
        for _ in range(gates):
            decided[client.post("/v1/gates", content=GATE, headers=JSON).status_code] += 1
        large = client.post("/v1/gates", content=LARGE_GATE, headers=JSON)
        meanwhile = HOGS - len(budgets)
    for one in hogs:
        one.join()
    assert decided == {200: gates}
    assert large.status_code == 200
    assert len(large.json()["operations"]) == 12
    assert meanwhile > 0, "no budget was in progress any more"
    # refused for their work, not for want of places or time
    assert set(budgets) == {422}
    print(f"{gates} gates and a large one were decided while {meanwhile} of {HOGS} budgets were in progress")


def test_gates_are_answered_while_budgets_hog_the_service() -> None:
    """Small ones on the loop of requests, large ones in a process of their own; none waits for a budget."""
    # some tenths of a second for each budget, which is long enough
    settings = {"STACKGAUGE_MAX_STEPS_PER_KIB": "10000000", "STACKGAUGE_MAX_REQUEST_SECONDS": "300"}
    with served(environment=settings) as server:
        _hogged(server, 10)


@pytest.mark.parametrize(
    ("clients", "each"), [(64, 1), pytest.param(64, 60, marks=pytest.mark.long)], ids=["short", "long"]
)
def test_many_gates_at_once_see_no_refusal(clients: int, each: int) -> None:
    """Of two workers, whichever takes a connection."""
    answers: Counter[int] = Counter()
    lock = threading.Lock()

    def ask(client: httpx.Client) -> None:
        own = Counter(client.post("/v1/gates", content=GATE, headers=JSON).status_code for _ in range(each))
        with lock:
            answers.update(own)

    with served(environment={"STACKGAUGE_WORKERS": "2"}) as server:
        for one in _together(clients, ask, server.url):
            one.join()
        assert server.stop() == 0
    assert answers == {200: clients * each}
