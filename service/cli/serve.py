"""Commands of the HTTP service: ``serve`` with one or more workers, ``settings`` and ``token``."""

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
"""Seconds without a heartbeat after which a worker is replaced; loading the rules takes some seconds."""


def server_options(settings: Settings) -> dict[str, Any]:
    """Options of the server, for one worker or several."""
    return {
        "host": settings.host,
        "port": settings.port,
        "workers": settings.workers,
        # The faster parser accepts requests without a Host header or with two.
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
    """Serve with several workers until stopped; return False if a worker could not start.

    Invalid rulebooks or catalogues raise here, before a worker starts, as in
    :func:`~service.operations.process.load_assessor`. A worker that dies is replaced.
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
    # Exit at once: during a normal exit the heartbeat stops and the supervisor would wait.
    os._exit(STARTUP_FAILURE)


def worker_app(settings: Settings, rules: str) -> FastAPI:
    """The application of one worker; exits the process if its rules differ from those at the start."""
    try:
        assessor = load_assessor(settings)
    except (RulebookError, CatalogueError) as error:
        _leave(f"rulebooks or catalogue are no longer valid: {error}")
    if rules_in_force(assessor) != rules:
        _leave("rulebooks or catalogue have changed since the service started; restart it")
    app = create_app(settings, assessor)
    settle()
    return app


_LOOK_AGAIN_S: Final = 0.1


def serve(app: FastAPI, settings: Settings) -> bool:
    """Serve until SIGTERM or SIGINT; return whether the server could start.

    Call it from the main thread, the only one that receives signals.
    """
    server = _Server(uvicorn.Config(app, **server_options(settings)))
    with ended_by_signal(), suppress(KeyboardInterrupt, SystemExit):
        # the server exits if it cannot listen and logs the reason
        server.run()
    return server.started


class _Server(uvicorn.Server):
    """Closes keep-alive connections only after a response with ``Connection: close``.

    Closing at once would reset a connection on which a request is arriving; its client could not know whether the
    request was processed.
    """

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Accept no more connections, send ``Connection: close`` with the next responses, then stop."""
        for listener in self.servers:
            listener.close()
        state = self.server_state
        state.default_headers = [*state.default_headers, (b"connection", b"close")]
        answered = -1
        # each connection sends at most one more request, so this loop ends
        while state.connections and answered != state.total_requests:
            answered = state.total_requests
            await asyncio.sleep(_LOOK_AGAIN_S)
        await super().shutdown(sockets)


def fill_standard_streams() -> None:
    """Replace closed standard streams with the null device.

    Otherwise logging fails, and a socket gets the descriptor that faults are written to.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # the system assigns the lowest free descriptor, this one
            os.set_inheritable(os.open(os.devnull, os.O_RDWR), True)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115, PTH123 - open for the life of the process


_LOG = logging.getLogger("stackgauge")


def add_serve_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "serve",
        help="start the HTTP service",
        description="Serve over HTTP until stopped. The settings are environment variables.",
        epilog="example: stackgauge serve --port 8713",
    )
    parser.add_argument("--host", help="listen address (STACKGAUGE_HOST; default: 127.0.0.1)")
    parser.add_argument("--port", type=int, help="listen port (STACKGAUGE_PORT; default: 8713); 0 picks a free port")
    parser.add_argument("--workers", type=int, help="worker processes (STACKGAUGE_WORKERS; default: 1)")
    parser.set_defaults(run=_run_serve)


def _refusal(settings: Settings) -> str | None:
    """Why the service must not start: the address is reachable from other machines without tokens."""
    if is_loopback(settings.host) or settings.tokens_sha256 or settings.open_behind_proxy:
        return None
    return (
        f"stackgauge does not listen on {settings.host} without tokens: other machines can reach this address."
        " Create a token with 'python -m service token' and set STACKGAUGE_TOKENS_SHA256. If a proxy in front controls"
        " access, set STACKGAUGE_OPEN_BEHIND_PROXY=true instead."
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
        _LOG.warning("%s is not a setting", name)
    if settings.workers > 1:
        return 0 if run_workers(settings) else FAULT
    app = create_app(settings)
    settle()
    return 0 if serve(app, settings) else FAULT


def add_settings_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "settings",
        help="show the settings in force",
        description="Show every setting: environment variable, origin and value. Secrets show only 'set' or 'not set'.",
        epilog="example: stackgauge settings --json",
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
        print(f"{name} is not a setting", file=sys.stderr)
    return 0


_ABOUT_NEW_BEARER = """\
Create a random bearer token. Send the token to the client over a secure channel. Add its digest to
STACKGAUGE_TOKENS_SHA256, a JSON list of accepted digests. To rotate a token, add the new digest, switch the client to
the new token, then remove the old digest.
"""


def add_token_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "token", help="create a bearer token", description=_ABOUT_NEW_BEARER, epilog="example: stackgauge token"
    )
    parser.set_defaults(run=_run_token)


def _run_token(_: argparse.Namespace) -> int:
    token = new_token()
    print(f"token:  {token}")
    print(f"sha256: {digest_of(token)}")
    return 0
