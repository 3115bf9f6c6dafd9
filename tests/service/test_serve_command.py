"""``serve`` starts the server with the address from arguments, environment or defaults."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import uvicorn
import yaml
from fastapi import FastAPI

from service.cli import serve
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from service.http.access import digest_of
from tests.service.conftest import Client

EVERYWHERE = "0.0.0.0"  # noqa: S104 - only told, not listened on


def _leave_logs_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A server configures the logs of its process, here that of all later tests."""
    monkeypatch.setattr(serve, "configure_logs", lambda _: None)
    monkeypatch.setattr(uvicorn.Config, "configure_logging", lambda _: None)


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[uvicorn.Config]:
    """What the server was asked to run, instead of running it."""
    configs: list[uvicorn.Config] = []
    _leave_logs_alone(monkeypatch)

    def run(server: uvicorn.Server) -> None:
        configs.append(server.config)
        server.started = True

    monkeypatch.setattr(uvicorn.Server, "run", run)
    return configs


@pytest.mark.parametrize(
    ("environment", "arguments", "address"),
    [
        ({}, [], ("127.0.0.1", 8713)),
        ({"STACKGAUGE_HOST": "::1", "STACKGAUGE_PORT": "9000"}, [], ("::1", 9000)),
        ({"STACKGAUGE_PORT": "9000"}, ["--port", "0"], ("127.0.0.1", 0)),
        ({"STACKGAUGE_OPEN_BEHIND_PROXY": "true"}, ["--host", EVERYWHERE], (EVERYWHERE, 8713)),
        ({"STACKGAUGE_TOKENS_SHA256": f'["{digest_of("a")}"]'}, ["--host", EVERYWHERE], (EVERYWHERE, 8713)),
    ],
)
def test_the_address_is_that_of_argument_environment_or_default(
    served: list[uvicorn.Config],
    monkeypatch: pytest.MonkeyPatch,
    environment: dict[str, str],
    arguments: list[str],
    address: tuple[str, int],
) -> None:
    """An argument wins over the environment, which wins over the default: this machine alone, port 8713."""
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert main(["serve", *arguments]) == 0
    (config,) = served
    assert isinstance(config.app, FastAPI)
    assert (config.host, config.port) == address


@pytest.mark.parametrize("host", [EVERYWHERE, "::", "192.0.2.7", "tools.example"])
def test_nobody_else_is_let_in_without_tokens(served: list[Any], host: str, capsys: pytest.CaptureFixture[str]) -> None:
    """An address that others reach needs tokens or a proxy; without, it does not start and says both ways out."""
    assert main(["serve", "--host", host]) == BAD_INPUT
    told = capsys.readouterr().err
    assert host in told
    assert "STACKGAUGE_TOKENS_SHA256" in told
    assert "STACKGAUGE_OPEN_BEHIND_PROXY" in told
    assert not served


@pytest.mark.parametrize(
    "value", ["a-token-in-the-clear", '["a-token-in-the-clear"]', '["ABCDEF"]', "1", '{"a-token-in-the-clear": 1}']
)
def test_a_wrong_list_of_digests_stops_the_start_and_is_not_repeated(
    served: list[Any], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], value: str
) -> None:
    """A token written where its digest belongs does not end up in a log."""
    monkeypatch.setenv("STACKGAUGE_TOKENS_SHA256", value)
    assert main(["serve"]) == BAD_INPUT
    told = capsys.readouterr()
    assert "tokens_sha256" in told.err.lower()
    assert "in-the-clear" not in told.err + told.out
    assert not served


def test_times_are_those_of_the_environment_or_the_defaults(
    served: list[uvicorn.Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A connection is kept longer than the minute that proxies keep theirs; half a minute is given to stop."""
    assert main(["serve"]) == 0
    monkeypatch.setenv("STACKGAUGE_KEEP_ALIVE_S", "9")
    monkeypatch.setenv("STACKGAUGE_SHUTDOWN_TIMEOUT_S", "3")
    assert main(["serve"]) == 0
    times = [(config.timeout_keep_alive, config.timeout_graceful_shutdown) for config in served]
    assert times == [(75, 30), (9, 3)]


def test_a_server_that_could_not_start_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Say, because another has the port; the reason is in the log."""
    _leave_logs_alone(monkeypatch)
    monkeypatch.setattr(uvicorn.Server, "run", lambda _: None)
    assert main(["serve"]) == FAULT


def test_rulebooks_of_the_command_line_are_in_force(served: list[uvicorn.Config]) -> None:
    """The rules of the folder are listed beside the built-in ones; a folder without rulebooks stops the start."""
    assert main(["serve", "--rulebooks", "demo_data/rulebooks"]) == 0
    (config,) = served
    assert isinstance(config.app, FastAPI)
    codes = {rule["code"] for rule in Client(config.app).get("/v1/rules").json()["items"]}
    own = {rule["code"] for rule in yaml.safe_load(Path("demo_data/rulebooks/toolroom.yaml").read_text())["rules"]}
    assert own
    assert own < codes
    assert main(["serve", "--rulebooks", "openapi"]) == BAD_INPUT
