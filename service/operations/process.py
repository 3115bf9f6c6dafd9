"""Process-wide parts of service and command line: exporter, shutdown, garbage collection."""

from __future__ import annotations

import asyncio
import gc
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from types import FrameType
from typing import TYPE_CHECKING, Final, TypeAlias

from rules.assessor import Assessor
from rules.exchange.tool_asset_export import EPOCH, export_cutting_tool
from rules.schema.imports import Standard
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve

if TYPE_CHECKING:
    # an audit does without it, and so do its workers
    from fastapi import FastAPI

__all__ = [
    "RETIRE",
    "Exporter",
    "Shutdown",
    "end_with_parent",
    "ended_by_signal",
    "hang_up_survived",
    "in_order",
    "settle",
]

_LOG = logging.getLogger("stackgauge")


class Exporter:
    """Checks stacks and writes them as CuttingTool documents."""

    def __init__(self, assessor: Assessor) -> None:
        self.assessor = assessor

    def export(self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
        """The document of the request's stack; raises as a check."""
        return self.export_with_report(request, timestamp=timestamp, standard=standard)[0]

    def export_with_report(
        self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4"
    ) -> tuple[bytes, Report]:
        """The document and the report it is based on."""
        report = self.assessor.assess(request)
        resolved = resolve(request, self.assessor.catalogue.definitions)
        # Keep an unresolved reference in place; its component is not known.
        stack = request.stack if resolved.broken else resolved.request.stack
        return export_cutting_tool(stack, report, timestamp=timestamp, standard=standard), report


Lifespan: TypeAlias = "Callable[[FastAPI], AbstractAsyncContextManager[None]]"


class Shutdown:
    """The progress of a graceful shutdown."""

    def __init__(self, grace_s: float) -> None:
        self.grace_s = grace_s
        """Seconds in which requests are still accepted and readiness fails, for the load balancer to notice."""
        self.begun = False
        """Set by SIGTERM: readiness fails from then on."""
        self._over = False
        self._waiting: set[asyncio.Event] = set()

    def end(self) -> None:
        """Signal the end of the grace period; call it in the event loop of the requests."""
        self._over = True
        for event in self._waiting:
            event.set()

    @contextmanager
    def ending(self) -> Iterator[asyncio.Event]:
        """An event set at the end of the grace period; endless streams stop on it."""
        event = asyncio.Event()
        if self._over:
            event.set()
        self._waiting.add(event)
        try:
            yield event
        finally:
            self._waiting.discard(event)


RETIRE: Final = getattr(signal, "SIGUSR1", None)
"""Signal to a worker that another one replaces: it stops without a grace period, since the service goes on."""


def in_order(shutdown: Shutdown, lifespan: Lifespan) -> Lifespan:
    """The lifespan, with SIGTERM delayed by the grace period.

    A second SIGTERM and a keyboard interrupt reach the server at once.
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
        _LOG.info("SIGTERM received: readiness fails from now on", extra={"grace_s": shutdown.grace_s})
        loop.call_later(shutdown.grace_s, stop)

    def asked(_: int, __: FrameType | None) -> None:
        again, shutdown.begun = shutdown.begun, True
        # A signal may interrupt any code, so the loop does the rest.
        loop.call_soon_threadsafe(stop if again else begin)

    def retired(_: int, __: FrameType | None) -> None:
        loop.call_soon_threadsafe(stop)

    handlers = {signal.SIGTERM: asked} if RETIRE is None else {signal.SIGTERM: asked, RETIRE: retired}
    before = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        yield
    finally:
        shutdown.begun = True
        shutdown.end()
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def hang_up_survived(warn: Callable[[], None]) -> Iterator[None]:
    """Outlive SIGHUP, whose default is to end the process; ``warn`` is called for each."""
    number = getattr(signal, "SIGHUP", None)
    if number is None:
        yield
        return
    # A signal may interrupt a line of the log, so another thread writes.
    before = signal.signal(number, lambda *_: threading.Thread(target=warn, daemon=True).start())
    try:
        yield
    finally:
        signal.signal(number, before)


@contextmanager
def ended_by_signal() -> Iterator[None]:
    """Ignore the SIGTERM that the server raises again after a graceful shutdown."""
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def end_with_parent(stop_s: float = 0.0) -> None:
    """End this process once the one that started it has ended, even if that was killed and could tell nobody.

    A pipe shows it, which the system closes with the parent. With ``stop_s``, the process is first asked to stop, as by
    :data:`RETIRE`, and ended after that many seconds. Does nothing in a process that multiprocessing has not started.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        if stop_s:
            _LOG.error("the process that started this one has ended; this one stops")
            os.kill(os.getpid(), RETIRE or signal.SIGTERM)
            time.sleep(stop_s)
        os._exit(_ORPHANED)

    threading.Thread(target=watch, name="parent watch", daemon=True).start()


_ORPHANED: Final = 1

_YOUNG: Final = 20_000
"""Allocations between collections of the youngest generation; a check makes some thousands and leaves no cycles."""


def settle() -> None:
    """Exclude loaded objects from garbage collection and collect new ones less often.

    Call it once the rulebooks are compiled. Collecting the permanent rules, schemas and tables costs a tenth of a
    check.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, 20, 20)
