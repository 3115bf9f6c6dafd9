"""``serve``: answer over HTTP.

Several processes that answer on one port, and one that watches over them.

The server of one process: it starts whatever its logs are worth, and stops without dropping a request.

``settings``: show the settings in force.

``token``: make a bearer token.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import os
import socket
import sys
from contextlib import suppress
from functools import partial
from tempfile import TemporaryDirectory
from typing import Any, Final, NoReturn

import uvicorn
from fastapi import FastAPI
from uvicorn.config import STARTUP_FAILURE
from uvicorn.supervisors import Multiprocess

from rules.exchange.documents import CatalogueError
from rules.rulebook.source import RulebookError
from rules.version import VERSION
from service.batch.pool import rules_in_force
from service.cli.files import BAD_INPUT, FAULT
from service.http.access import digest_of, is_loopback, new_token
from service.http.app import create_app
from service.http.metrics import SHARED_FOLDER
from service.operations.logs import configure_logs, log_config
from service.operations.process import ended_by_signal, load_assessor, settle
from service.operations.settings import PREFIX, Settings, settings_summary, unknown_variables

__all__ = ["add_serve_parser", "add_settings_parser", "add_token_parser", "server_options"]


_WORKERS_LOG = logging.getLogger("stackgauge")

_HUNG_S: Final = 30
"""A worker that gives no sign for so long is killed and replaced; loading the rules on a busy machine takes seconds."""


def server_options(settings: Settings) -> dict[str, Any]:
    """How the server listens, tells and ends, with one worker or with several."""
    return {
        "host": settings.host,
        "port": settings.port,
        "workers": settings.workers,
        # The quicker parser, taken by itself where it is installed, lets requests pass without a host or with two.
        "http": "h11",
        "log_config": log_config(settings),
        "log_level": settings.log_level,
        "access_log": False,
        "server_header": False,
        "timeout_keep_alive": settings.keep_alive_s,
        "timeout_graceful_shutdown": settings.shutdown_timeout_s,
        "timeout_worker_healthcheck": _HUNG_S,
    }


def run_workers(settings: Settings) -> bool:
    """Answer until stopped; return whether that was in order, and not because a worker could not start.

    Rulebooks and catalogue are read here before there is any worker: a wrong one raises what
    :func:`~service.operations.process.load_assessor` raises. A worker that dies is replaced.
    """
    rules = rules_in_force(load_assessor(settings))
    with TemporaryDirectory(prefix="stackgauge-metrics-") as folder:
        os.environ[SHARED_FOLDER] = folder
        config = uvicorn.Config(partial(worker_app, settings, rules), factory=True, **server_options(settings))
        try:
            listening = config.bind_socket()
        except SystemExit:
            return False
        supervisor = Multiprocess(config, [listening])
        supervisor.run()
        listening.close()
    return all(process.exitcode != STARTUP_FAILURE for process in supervisor.processes)


def _leave(reason: str) -> NoReturn:
    _WORKERS_LOG.error(reason)
    # At once: while an interpreter winds up, it gives no sign, and the supervisor would wait for one.
    os._exit(STARTUP_FAILURE)


def worker_app(settings: Settings, rules: str) -> FastAPI:
    """The application of one worker; ends the process where its rules are not those of the others."""
    try:
        assessor = load_assessor(settings)
    except (RulebookError, CatalogueError) as error:
        _leave(f"rulebooks or catalogue have become unusable: {error}")
    if rules_in_force(assessor) != rules:
        _leave("rulebooks or catalogue have changed since the service started; restart it")
    app = create_app(settings, assessor)
    settle()
    return app


_LOOK_AGAIN_S: Final = 0.1


def serve(app: FastAPI, settings: Settings) -> bool:
    """Answer over HTTP until SIGTERM or SIGINT; return whether it could start.

    Call from the main thread, since signals come to no other.
    """
    server = _Server(uvicorn.Config(app, **server_options(settings)))
    with ended_by_signal(), suppress(KeyboardInterrupt, SystemExit):
        # it exits where it can't listen; the reason is logged
        server.run()
    return server.started


class _Server(uvicorn.Server):
    """Lets clients that keep their connections go before it closes those.

    Closed at once, a connection on which the next request is already under way would be reset, and its client could
    not tell whether the request was answered.
    """

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Accept no more connections, tell every client with its next answer to close, then stop."""
        for listener in self.servers:
            listener.close()
        state = self.server_state
        state.default_headers = [*state.default_headers, (b"connection", b"close")]
        answered = -1
        # a connection asks at most once more, so this ends
        while state.connections and answered != state.total_requests:
            answered = state.total_requests
            await asyncio.sleep(_LOOK_AGAIN_S)
        await super().shutdown(sockets)


def fill_standard_streams() -> None:
    """Open nothing in place of a stream that is closed.

    The logging would fall over it, and a socket would take its number, to which faults are written.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # the lowest free number is taken, which is this one
            os.set_inheritable(os.open(os.devnull, os.O_RDWR), True)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115, PTH123 - as long as the process lives


_LOG = logging.getLogger("stackgauge")


def add_serve_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("serve", help="answer over HTTP", description="Answer over HTTP until stopped.")
    parser.add_argument("--host", help="address to listen on (STACKGAUGE_HOST, 127.0.0.1)")
    parser.add_argument("--port", type=int, help="port to listen on (STACKGAUGE_PORT, 8713); 0 takes a free one")
    parser.add_argument("--workers", type=int, help="processes that answer side by side (STACKGAUGE_WORKERS, 1)")
    parser.set_defaults(run=_run_serve)


def _refusal(settings: Settings) -> str | None:
    """Why it must not start: whoever reaches the address could ask without being asked who they are."""
    if is_loopback(settings.host) or settings.tokens_sha256 or settings.open_behind_proxy:
        return None
    return (
        f"stackgauge does not listen on {settings.host} without tokens, since others than this machine can reach it."
        " Make one with 'python -m service token' and set STACKGAUGE_TOKENS_SHA256, or, where a proxy in front decides"
        " who may ask, set STACKGAUGE_OPEN_BEHIND_PROXY=true."
    )


def _run_serve(arguments: argparse.Namespace) -> int:
    given = {name: getattr(arguments, name) for name in ("host", "port", "workers")}
    settings = Settings(**{name: value for name, value in given.items() if value is not None})
    if refused := _refusal(settings):
        print(refused, file=sys.stderr)
        return BAD_INPUT
    fill_standard_streams()
    configure_logs(settings)
    _LOG.info("starting", extra={"version": VERSION, "settings": settings_summary(settings)})
    for name in unknown_variables():
        _LOG.warning("%s is no setting", name)
    if settings.workers > 1:
        return 0 if run_workers(settings) else FAULT
    app = create_app(settings)
    settle()
    return 0 if serve(app, settings) else FAULT


def add_settings_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "settings",
        help="show the settings in force",
        description="Show every setting as its environment variable, the value in force and whether it is the default."
        " Secrets are not shown, only whether they are set.",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=_run_settings)


def _run_settings(arguments: argparse.Namespace) -> int:
    settings = Settings()
    summary = settings_summary(settings)
    if arguments.json:
        print(json.dumps(summary, indent=2))
    else:
        width = max(map(len, summary)) + len(PREFIX)
        for name, value in summary.items():
            origin = "set here" if name in settings.model_fields_set else "default"
            told = value if isinstance(value, str) else json.dumps(value)
            print(f"{PREFIX + name.upper():{width}}  {origin:8}  {told}")
    for name in unknown_variables():
        print(f"{name} is no setting", file=sys.stderr)
    return 0


_ABOUT_NEW_BEARER = """\
Make a new random bearer token. Give the token to the client, over a channel that nobody else reads, and its digest to
the service: STACKGAUGE_TOKENS_SHA256 is a JSON list of digests, all of which are taken. To change a token without a
gap add the new digest, have the client use the new token, then take out the old digest.
"""


def add_token_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("token", help="make a bearer token", description=_ABOUT_NEW_BEARER)
    parser.set_defaults(run=_run_token)


def _run_token(_: argparse.Namespace) -> int:
    token = new_token()
    print(f"token:  {token}")
    print(f"sha256: {digest_of(token)}")
    return 0
