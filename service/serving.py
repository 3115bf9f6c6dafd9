"""The server of one process: it starts whatever its logs are worth, and stops without dropping a request."""

from __future__ import annotations

import asyncio
import os
import socket
import sys
from contextlib import suppress
from typing import Final

import uvicorn
from fastapi import FastAPI

from service.operations.process import ended_by_signal
from service.operations.settings import Settings
from service.workers import server_options

__all__ = ["fill_standard_streams", "serve"]

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
