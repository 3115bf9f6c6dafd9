"""``serve`` hands the application to the server with the address from arguments, environment or defaults."""

from __future__ import annotations

from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI

from service.__main__ import main
from service.commands import serve


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, dict[str, Any]]]:
    """What the server was asked to run, instead of running it."""
    calls: list[tuple[Any, dict[str, Any]]] = []
    monkeypatch.setattr(serve, "configure_logs", lambda _: None)
    monkeypatch.setattr(uvicorn, "run", lambda app, **options: calls.append((app, options)))
    return calls


@pytest.mark.parametrize(
    ("environment", "arguments", "address"),
    [
        ({}, [], ("127.0.0.1", 8713)),
        ({"STACKGAUGE_HOST": "::1", "STACKGAUGE_PORT": "9000"}, [], ("::1", 9000)),
        ({"STACKGAUGE_PORT": "9000"}, ["--port", "0"], ("127.0.0.1", 0)),
        ({}, ["--host", "0.0.0.0"], ("0.0.0.0", 8713)),  # noqa: S104 - only told, not listened on
    ],
)
def test_the_address_is_that_of_argument_environment_or_default(
    served: list[tuple[Any, dict[str, Any]]],
    monkeypatch: pytest.MonkeyPatch,
    environment: dict[str, str],
    arguments: list[str],
    address: tuple[str, int],
) -> None:
    """An argument wins over the environment, which wins over the default: this machine alone, port 8713."""
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert main(["serve", *arguments]) == 0
    ((app, options),) = served
    assert isinstance(app, FastAPI)
    assert (options["host"], options["port"]) == address
