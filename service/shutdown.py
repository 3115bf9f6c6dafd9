"""The end of the process in order: first not ready any more, then no new work, then what is under way ends."""

from __future__ import annotations

import asyncio
import logging
import signal
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from types import FrameType
from typing import TypeAlias

from fastapi import FastAPI

__all__ = ["Lifespan", "Shutdown", "ended_by_signal", "in_order"]

_LOG = logging.getLogger("stackgauge")

Lifespan: TypeAlias = Callable[[FastAPI], AbstractAsyncContextManager[None]]


class Shutdown:
    """How far the end of this process has come."""

    def __init__(self, grace_s: float) -> None:
        self.grace_s = grace_s
        """Time in which requests are answered still and readiness is denied, so that a balancer can look elsewhere."""
        self.begun = False
        """Set when the end is asked for: not ready any more."""
        self._over = False
        self._waiting: set[asyncio.Event] = set()

    def end(self) -> None:
        """Say that the grace is over; called in the loop that the requests run in."""
        self.begun = self._over = True
        for event in self._waiting:
            event.set()

    @contextmanager
    def ending(self) -> Iterator[asyncio.Event]:
        """An event of the running loop that is set when the grace is over: what is without end, ends then."""
        event = asyncio.Event()
        if self._over:
            event.set()
        self._waiting.add(event)
        try:
            yield event
        finally:
            self._waiting.discard(event)


def in_order(shutdown: Shutdown, lifespan: Lifespan) -> Lifespan:
    """This lifespan, and SIGTERM led past the grace before it reaches the server that runs the application.

    A second SIGTERM reaches it at once, as does an interrupt from the keyboard.
    """

    @asynccontextmanager
    async def led(app: FastAPI) -> AsyncIterator[None]:
        with _grace(shutdown):
            async with lifespan(app):
                yield

    return led


@contextmanager
def _grace(shutdown: Shutdown) -> Iterator[None]:
    servers = signal.getsignal(signal.SIGTERM)
    if threading.current_thread() is not threading.main_thread() or not callable(servers):
        yield
        return
    loop = asyncio.get_running_loop()

    def stop() -> None:
        shutdown.end()
        servers(signal.SIGTERM, None)

    def begin() -> None:
        _LOG.info("asked to stop: not ready from now on", extra={"grace_s": shutdown.grace_s})
        loop.call_later(shutdown.grace_s, stop)

    def asked(_: int, __: FrameType | None) -> None:
        again, shutdown.begun = shutdown.begun, True
        # A signal comes in the middle of anything, so all else waits for the loop.
        loop.call_soon_threadsafe(stop if again else begin)

    signal.signal(signal.SIGTERM, asked)
    try:
        yield
    finally:
        shutdown.end()
        signal.signal(signal.SIGTERM, servers)


@contextmanager
def ended_by_signal() -> Iterator[None]:
    """Around a server that ends in order at SIGTERM and then raises it anew: it shall not end this process."""
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
