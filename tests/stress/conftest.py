"""A real server in a separate process, and the requests sent to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import httpx
import pytest

from tests.support.served import PATIENCE_S, ROOT, Served, served

CHECKS = "/v1/checks"
JSON = {"content-type": "application/json"}


@pytest.fixture(scope="session")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where that server writes its log."""
    return tmp_path_factory.mktemp("server") / "log"


@pytest.fixture(scope="session")
def server(log: Path) -> Iterator[Served]:
    """The service as an operator starts it, one for all tests; it must still live at the end."""
    with log.open("wb") as file, served(log=file) as one:
        yield one
        assert one.process.poll() is None


@pytest.fixture(scope="session")
def bodies() -> Mapping[str, bytes]:
    """Every stack of the invented shop, by name."""
    return {file.stem: file.read_bytes() for file in sorted((ROOT / "demo_data" / "stacks").glob("*.json"))}


@pytest.fixture(scope="session")
def answers(server: Served, bodies: Mapping[str, bytes]) -> Mapping[str, bytes]:
    """What the server says to each when nobody else asks."""
    with httpx.Client(base_url=server.url, timeout=PATIENCE_S) as client:
        told = {name: client.post(CHECKS, content=body, headers=JSON) for name, body in bodies.items()}
    assert {one.status_code for one in told.values()} == {200}
    return {name: one.content for name, one in told.items()}
