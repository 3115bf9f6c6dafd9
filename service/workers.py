"""Several processes that answer on one port, and one that watches over them."""

from __future__ import annotations

import logging
import os
from functools import partial
from tempfile import TemporaryDirectory
from typing import Any, Final, NoReturn

import uvicorn
from fastapi import FastAPI
from uvicorn.config import STARTUP_FAILURE
from uvicorn.supervisors import Multiprocess

from rules.exchange.documents import CatalogueError
from rules.rulebook.source import RulebookError
from service.batch.pool import rules_in_force
from service.http.app import create_app
from service.http.metrics import SHARED_FOLDER
from service.operations.logs import log_config
from service.operations.process import load_assessor, settle
from service.operations.settings import Settings

__all__ = ["run_workers", "server_options", "worker_app"]

_LOG = logging.getLogger("stackgauge")

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
    _LOG.error(reason)
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
