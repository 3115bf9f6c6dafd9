"""Commands of the HTTP service: ``serve`` with one or more workers, ``settings`` and ``token``."""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import os
import signal
import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import uvicorn
from fastapi import FastAPI
from uvicorn.config import STARTUP_FAILURE
from uvicorn.supervisors import Multiprocess
from uvicorn.supervisors.multiprocess import Process

from rules.answer.provenance import judgement_sha256
from rules.exchange.documents import CatalogueError
from rules.rulebook.source import RulebookError
from rules.version import VERSION
from service.cli.files import BAD_INPUT, FAULT, add_rulebooks, with_rulebooks
from service.http.access import digest_of, is_loopback, new_token
from service.http.app import create_app
from service.http.metrics import SHARED_FOLDER, SHARED_PLACE, SharedFiles
from service.operations.assessors import Snapshot, UnexpectedJudgementError, load_assessor, profile_of
from service.operations.connections import Connection, Limits, quiet_about_files, raised_file_limit
from service.operations.logs import configure_logs, log_config
from service.operations.process import RETIRE, end_with_parent, ended_by_signal, hang_up_survived, settle
from service.operations.settings import PREFIX, Settings, origin_of, settings_summary, today, unknown_variables
from service.operations.signing import GateKeys, KeyFileError, load_keys

__all__ = ["serve_arguments", "server_options", "settings_arguments", "token_arguments"]


_LOG = logging.getLogger("stackgauge")

_HUNG_S: Final = 30
"""Seconds without a heartbeat after which a worker is replaced; loading the rules takes some seconds."""


def server_options(settings: Settings) -> dict[str, Any]:
    """Options of the server, for one worker or several."""
    return {
        "host": settings.host,
        "port": settings.port,
        "workers": settings.workers,
        # Of h11: the faster parser accepts requests without a Host header or with two.
        "http": partial(Connection, limits=Limits.of(settings)),
        "h11_max_incomplete_event_size": settings.max_head_bytes,
        "ws": "none",
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

    Invalid rulebooks, catalogues, profiles and keys raise here, before a worker starts, as in
    :func:`~service.operations.assessors.load_assessor` and :func:`~service.operations.signing.load_keys`. A worker that
    dies is replaced by one with the same rules and keys.
    """
    snapshot, keys = Snapshot.read(settings), load_keys(settings)
    _LOG.info("rules read", extra=_in_short(snapshot))
    with _shared_files(settings, snapshot) as shared:
        app = partial(worker_app, settings, snapshot, keys)
        config = uvicorn.Config(app, factory=True, **server_options(settings))
        try:
            listening = config.bind_socket()
        except SystemExit:
            return False
        supervisor = Supervisor(config, [listening], settings, shared)
        supervisor.run()
        listening.close()
    return all(process.exitcode != STARTUP_FAILURE for process in supervisor.processes)


@contextmanager
def _shared_files(settings: Settings, snapshot: Snapshot) -> Iterator[SharedFiles | None]:
    """Files for the metrics of all workers, one place more than workers for a reload; None if there is no room."""
    with ExitStack() as stack:
        shared = None
        try:
            folder = stack.enter_context(TemporaryDirectory(prefix="stackgauge-metrics-"))
            # a reload may bring more rules
            rules = 2 * len(snapshot.book.rules) + _MORE_RULES
            shared = SharedFiles(Path(folder), settings.workers + 1, rules)
            os.environ[SHARED_FOLDER] = folder
        except OSError as error:
            os.environ.pop(SHARED_FOLDER, None)
            _LOG.error("each worker counts for itself, since its metrics have no file: %s", error.strerror)
        yield shared


_MORE_RULES: Final = 200


_LAST_S: Final = 5.0
"""Seconds for a worker to end after the time for its running requests."""


class Worker(Process):
    """A worker process that, like the single one, loses no request when it stops."""

    place: int | None = None
    """Its place among the files of the metrics."""

    def target(self, sockets: list[socket.socket] | None = None) -> None:
        """Serve in the new process until told to stop, or until the supervisor is gone.

        Otherwise workers would keep the port, and nobody would replace or reload them.
        """
        end_with_parent((self.config.timeout_graceful_shutdown or 0) + _LAST_S)
        super().target(sockets)

    @property
    def server(self) -> uvicorn.Server:
        """The server, made in the worker."""
        if self._server is None:
            self._server = _Server(self.config)
        return self._server


class Supervisor(Multiprocess):
    """Replaces dead workers, and on SIGHUP all of them by workers with the rules as they now are on disk."""

    def __init__(
        self, config: uvicorn.Config, sockets: list[socket.socket], settings: Settings, shared: SharedFiles | None
    ) -> None:
        super().__init__(config, sockets)
        self._settings = settings
        self._shared = shared

    def init_processes(self) -> None:
        """Start the workers."""
        self.processes = [self._started() for _ in range(self.processes_num)]

    def terminate_all(self) -> None:
        """Have the workers stop; the last of them to close the sockets answers all that has connected."""
        for one in self.sockets:
            one.close()
        super().terminate_all()

    def keep_subprocess_alive(self) -> None:
        """Replace workers that have exited or hang; stop if one could not start."""
        for place, worker in enumerate(self.processes):
            if self.should_exit.is_set():
                return
            if worker.is_alive(_HUNG_S):
                continue
            worker.kill()
            worker.join()
            if worker.exitcode == STARTUP_FAILURE:
                _LOG.error("worker %d could not start; the service stops", worker.pid)
                self.should_exit.set()
            else:
                _LOG.error("worker %d died; another one replaces it", worker.pid)
                self._has_ended(worker)
                self.processes[place] = self._started()

    def handle_hup(self) -> None:
        """Reload: all workers get the new rules, or none does."""
        _LOG.info("SIGHUP received: reading rulebooks, catalogue, gate profile and keys anew")
        read = _read_anew(self._settings)
        if read is None:
            _LOG.error("nothing was reloaded; the rules in force stay")
            return
        snapshot, keys = read
        before, self.config.app = self.config.app, partial(worker_app, self._settings, snapshot, keys)
        for place in range(len(self.processes)):
            if self._replaced(place):
                continue
            if not self._is_to_stop():
                _LOG.error("nothing was reloaded, since a new worker did not start; the rules in force stay")
                self.config.app = before
                for changed in range(place):
                    self._replaced(changed)
            return
        _LOG.info("reloaded", extra=_in_short(snapshot))

    def _started(self) -> Worker:
        worker = Worker(self.config, self.sockets)
        if self._shared is not None:
            worker.place = self._shared.take()
            os.environ[SHARED_PLACE] = str(worker.place)
        worker.start()
        return worker

    def _has_ended(self, worker: Process) -> None:
        if self._shared is not None and isinstance(worker, Worker) and worker.place is not None:
            self._shared.give_back(worker.place)

    def _replaced(self, place: int) -> bool:
        """Retire a worker once another one serves; return False if that one does not come to serve."""
        new, old = self._started(), self.processes[place]
        # Second by second, because signals wait in a queue meanwhile.
        ready = False
        for _ in range(_HUNG_S):
            ready = new.wait_until_ready(1)
            if ready or not new.process.is_alive() or self._is_to_stop():
                break
        if not ready:
            new.kill()
            new.join()
            self._has_ended(new)
            return False
        self.processes[place] = new
        if old.process.is_alive() and old.pid is not None:
            os.kill(old.pid, RETIRE or signal.SIGTERM)
        # It ends by itself within the time for running requests, unless it hangs.
        for _ in range(self._settings.shutdown_timeout_s + _HUNG_S):
            if not old.process.is_alive() or self._is_to_stop():
                break
            old.process.join(1)
        else:
            old.kill()
            old.join()
        if not old.process.is_alive():
            self._has_ended(old)
        return True

    def _is_to_stop(self) -> bool:
        return any(number in self.signal_queue for number in (signal.SIGINT, signal.SIGTERM))


def _in_short(snapshot: Snapshot) -> dict[str, Any]:
    book, profile = snapshot.book, snapshot.profile
    return {
        "profile_sha256": None if profile is None else profile.digest,
        "rulebook_sha256": book.digest,
        "judgement_sha256": judgement_sha256(book),
        "book_revisions": dict(book.revisions),
        "catalogue_sha256": snapshot.catalogue.digest,
        "quarantined": len(snapshot.catalogue.quarantined),
    }


def _read_anew(settings: Settings) -> tuple[Snapshot, GateKeys] | None:
    """The rules, profile and keys as they now are on disk; None after logging every reason against them."""
    if "as_of" not in settings.model_fields_set:
        settings = settings.model_copy(update={"as_of": today()})
    try:
        return Snapshot.read(settings), load_keys(settings)
    except (RulebookError, CatalogueError) as error:
        for problem in error.problems:
            _LOG.error(str(problem))
    except (UnexpectedJudgementError, KeyFileError) as error:
        _LOG.error(str(error))
    except Exception:
        # Whatever it is, the workers still judge by what was good.
        _LOG.exception("rulebooks, catalogue, gate profile or keys could not be read")
    return None


def worker_app(settings: Settings, snapshot: Snapshot, keys: GateKeys) -> FastAPI:
    """The application of one worker; exits the process if the program differs from the one at the start."""
    if hasattr(signal, "SIGHUP"):
        # A hang-up reaches the whole process group; the parent handles it.
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    assessor = snapshot.assessor()
    if assessor is None:
        _LOG.error("the program or its tables have changed since the service started; restart it")
        # Exit at once: during a normal exit the heartbeat stops and the supervisor would wait.
        os._exit(STARTUP_FAILURE)
    app = create_app(settings, assessor, snapshot.profile, keys)
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

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen; too many open files are not told again and again."""
        quiet_about_files(asyncio.get_running_loop())
        await super().startup(sockets)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Accept no more connections, send ``Connection: close`` with the next responses, then stop."""
        accepted = [one for listener in self.servers for one in _closed(listener)]
        for one in accepted:
            await asyncio.get_running_loop().connect_accepted_socket(self._protocol, one)
        state = self.server_state
        state.default_headers = [*state.default_headers, (b"connection", b"close")]
        answered = -1
        # each connection sends at most one more request, so this loop ends
        while state.connections and answered != state.total_requests:
            answered = state.total_requests
            await asyncio.sleep(_LOOK_AGAIN_S)
        await super().shutdown(sockets)

    def _protocol(self) -> asyncio.Protocol:
        """As the server makes it for each connection."""
        made: asyncio.Protocol = self.config.http_protocol_class(  # type: ignore[call-arg]
            config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )
        return made


def _closed(listener: asyncio.Server) -> list[socket.socket]:
    """Close a listener and return the connections that waited to be accepted, which the system would reset.

    Another worker may accept from the same queue; the last one to close empties it.
    """
    found: list[socket.socket] = []
    queues = [socket.socket(fileno=os.dup(one.fileno())) for one in listener.sockets]
    listener.close()
    for one in queues:
        one.setblocking(False)
        with suppress(OSError):  # none is left
            while True:
                found.append(one.accept()[0])
        one.close()  # at once, since whoever connects in between is reset
    for one in found:
        one.setblocking(False)
    return found


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


def serve_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Serve over HTTP until stopped. Settings are environment variables or a TOML file that"
        " STACKGAUGE_SETTINGS_FILE names. With two workers or more, SIGHUP reloads rulebooks, catalogue, gate profile"
        " and keys."
    )
    parser.epilog = "example: stackgauge serve --port 8713"
    parser.add_argument("--host", help="listen address (STACKGAUGE_HOST; default: 127.0.0.1)")
    parser.add_argument("--port", type=int, help="listen port (STACKGAUGE_PORT; default: 8713); 0 picks a free port")
    parser.add_argument("--workers", type=int, help="worker processes (STACKGAUGE_WORKERS; default: 1)")
    add_rulebooks(parser)
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
    given = {name: getattr(arguments, name) for name in ("host", "port", "workers", "aliases", "catalogue")}
    settings = with_rulebooks(
        Settings(**{name: value for name, value in given.items() if value is not None}), arguments.rulebooks
    )
    if refused := _refusal(settings):
        print(refused, file=sys.stderr)
        return BAD_INPUT
    fill_standard_streams()
    configure_logs(settings)
    _LOG.info("starting", extra={"version": VERSION, "settings": settings_summary(settings)})
    for name in unknown_variables():
        _LOG.warning("%s is not a setting", name)
    settings = settings.model_copy(update={"max_connections": raised_file_limit(settings.max_connections)})
    if settings.workers > 1:
        return 0 if run_workers(settings) else FAULT
    with hang_up_survived(_no_reload):
        assessor = load_assessor(settings)
        profile = profile_of(settings, assessor.book)
        _LOG.info("rules read", extra=_in_short(Snapshot.of(assessor, profile)))
        app = create_app(settings, assessor, profile)
        settle()
        return 0 if serve(app, settings) else FAULT


def _no_reload() -> None:
    _LOG.warning("SIGHUP received: nothing is reloaded, since that takes two workers or more (STACKGAUGE_WORKERS)")


def settings_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Show every setting: environment variable, origin (environment, file or default) and value. Secrets"
        " show only 'set' or 'not set'."
    )
    parser.epilog = "example: stackgauge settings --json"
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
            origin = origin_of(name, settings)
            told = value if isinstance(value, str) else json.dumps(value)
            print(f"{PREFIX + name.upper():{width}}  {origin:11}  {told}")
    for name in unknown_variables():
        print(f"{name} is not a setting", file=sys.stderr)
    return 0


_ABOUT_NEW_BEARER = """\
Create a random bearer token. Send the token to the client over a secure channel. Add its digest to
STACKGAUGE_TOKENS_SHA256, a JSON list of accepted digests. To rotate a token, add the new digest, switch the client to
the new token, then remove the old digest.
"""


def token_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = _ABOUT_NEW_BEARER
    parser.epilog = "example: stackgauge token"
    parser.set_defaults(run=_run_token)


def _run_token(_: argparse.Namespace) -> int:
    token = new_token()
    print(f"token:  {token}")
    print(f"sha256: {digest_of(token)}")
    return 0
