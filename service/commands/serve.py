"""``serve``: answer over HTTP."""

from __future__ import annotations

import argparse

import uvicorn

from service.app import create_app
from service.memory import settle
from service.settings import Settings

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("serve", help="answer over HTTP", description="Answer over HTTP until stopped.")
    parser.add_argument("--host", help="address to listen on (STACKGAUGE_HOST, 127.0.0.1)")
    parser.add_argument("--port", type=int, help="port to listen on (STACKGAUGE_PORT, 8713); 0 takes a free one")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    given = {name: getattr(arguments, name) for name in ("host", "port")}
    settings = Settings(**{name: value for name, value in given.items() if value is not None})
    app = create_app(settings)
    settle()
    uvicorn.run(
        app,
        host=settings.host,
        port=settings.port,
        log_level=settings.log_level,
        server_header=False,
    )
    return 0
