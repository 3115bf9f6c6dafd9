"""``serve``: answer over HTTP."""

from __future__ import annotations

import argparse
import logging
import sys

from rules.version import VERSION
from service.commands.exit_codes import BAD_INPUT, FAULT
from service.http.access import is_loopback
from service.http.app import create_app
from service.operations.logs import configure_logs
from service.operations.process import settle
from service.operations.settings import Settings, settings_summary, unknown_variables
from service.serving import fill_standard_streams, serve
from service.workers import run_workers

__all__ = ["add_parser"]

_LOG = logging.getLogger("stackgauge")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("serve", help="answer over HTTP", description="Answer over HTTP until stopped.")
    parser.add_argument("--host", help="address to listen on (STACKGAUGE_HOST, 127.0.0.1)")
    parser.add_argument("--port", type=int, help="port to listen on (STACKGAUGE_PORT, 8713); 0 takes a free one")
    parser.add_argument("--workers", type=int, help="processes that answer side by side (STACKGAUGE_WORKERS, 1)")
    parser.set_defaults(run=_run)


def _refusal(settings: Settings) -> str | None:
    """Why it must not start: whoever reaches the address could ask without being asked who they are."""
    if is_loopback(settings.host) or settings.tokens_sha256 or settings.open_behind_proxy:
        return None
    return (
        f"stackgauge does not listen on {settings.host} without tokens, since others than this machine can reach it."
        " Make one with 'python -m service token' and set STACKGAUGE_TOKENS_SHA256, or, where a proxy in front decides"
        " who may ask, set STACKGAUGE_OPEN_BEHIND_PROXY=true."
    )


def _run(arguments: argparse.Namespace) -> int:
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
