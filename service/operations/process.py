"""The rules engine with a stop watch, so that its share of a judgement can be told.

What the service and the commands judge with: rulebooks and catalogue as the settings name them.

A request of a check to a CuttingTool document, the same for HTTP and command line.

The end of the process in order: first not ready any more, then no new work, then what is under way ends.

How the collector of cyclic garbage behaves in a process that serves.
"""

from __future__ import annotations

import asyncio
import gc
import logging
import signal
import threading
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from time import perf_counter
from types import FrameType
from typing import Final, TypeAlias

from fastapi import FastAPI

from rules.assessor import Assessor
from rules.exchange.tool_asset_export import EPOCH, export_cutting_tool
from rules.rulebook.book import Judgement, Overrides
from rules.rulebook.engine import Engine
from rules.rulebook.fact import Fact
from rules.schema.imports import Standard
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve
from service.operations.settings import Settings

__all__ = ["Exporter", "Shutdown", "TimedEngine", "ended_by_signal", "in_order", "load_assessor", "settle"]


class TimedEngine(Engine):
    """The same compiled rules; remembers how long the last judgement took."""

    def __init__(self, engine: Engine) -> None:
        vars(self).update(vars(engine))  # nothing is compiled anew
        self._watch = threading.local()

    def judge(self, facts: Sequence[Fact], overrides: Overrides | None = None) -> Judgement:
        """As :meth:`rules.rulebook.engine.Engine.judge`."""
        start = perf_counter()
        judgement = super().judge(facts, overrides)
        self._watch.seconds = perf_counter() - start
        return judgement

    def last_s(self) -> float | None:
        """Seconds of the last judgement of this thread; None before the first."""
        seconds: float | None = getattr(self._watch, "seconds", None)
        return seconds


def load_assessor(settings: Settings | None = None) -> Assessor:
    """Load rulebooks and catalogue; raises what :meth:`rules.assessor.Assessor.load` raises."""
    settings = settings or Settings()
    assessor = Assessor.load(settings.extra_rulebooks, settings.catalogue)
    assessor.engine = TimedEngine(assessor.engine)
    return assessor


class Exporter:
    """Checks stacks and writes them."""

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def export(self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
        """The document of a request's stack; errors as those of a check."""
        return self.export_with_report(request, timestamp=timestamp, standard=standard)[0]

    def export_with_report(
        self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4"
    ) -> tuple[bytes, Report]:
        """The document, and the report it was written from."""
        report = self._assessor.assess(request)
        resolved = resolve(request, self._assessor.catalogue.definitions)
        # A reference that leads nowhere stays in place: what it is is then not known.
        stack = request.stack if resolved.broken else resolved.request.stack
        return export_cutting_tool(stack, report, timestamp=timestamp, standard=standard), report


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


_YOUNG: Final = 20_000
"""Objects made before the youngest are looked through; a check makes some thousands and leaves no cycles."""


def settle() -> None:
    """Leave what was loaded out of further collections, and look through what is new less often.

    Called once the rulebooks are compiled: rules, schemas and tables live as long as the process, and going
    through them time and again costs a tenth of a check.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, 20, 20)
