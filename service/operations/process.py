"""Process-wide parts of service and command line: timed engine, assessor, exporter, shutdown, garbage collection."""

from __future__ import annotations

import asyncio
import copyreg
import gc
import logging
import signal
import threading
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from pathlib import Path
from time import perf_counter
from types import FrameType, MappingProxyType
from typing import Any, Final, NamedTuple, TypeAlias

from fastapi import FastAPI

from rules.answer.provenance import judgement_sha256
from rules.assessor import Assessor
from rules.exchange.documents import Catalogue
from rules.exchange.tool_asset_export import EPOCH, export_cutting_tool
from rules.gate.profile import STRICT, Profile, load_profile
from rules.rulebook.book import Judgement, Overrides, Rulebook
from rules.rulebook.engine import Engine
from rules.rulebook.expression import View
from rules.rulebook.fact import Fact
from rules.rulebook.source import Problem, RulebookError
from rules.schema.imports import Standard
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve
from service.operations.settings import PREFIX, Settings

__all__ = [
    "RETIRE",
    "Exporter",
    "Shutdown",
    "Snapshot",
    "TimedEngine",
    "UnexpectedJudgementError",
    "ended_by_signal",
    "hang_up_survived",
    "in_order",
    "load_assessor",
    "rules_in_force",
    "settle",
]

_LOG = logging.getLogger("stackgauge")


class TimedEngine(Engine):
    """A rules engine that records the time of its last judgement."""

    def __init__(self, engine: Engine) -> None:
        vars(self).update(vars(engine))  # shares the compiled rules
        self._watch = threading.local()

    def judge(
        self,
        facts: Sequence[Fact],
        overrides: Overrides | None = None,
        view_of: Callable[[Fact], View] | None = None,
    ) -> Judgement:
        """As :meth:`rules.rulebook.engine.Engine.judge`."""
        start = perf_counter()
        judgement = super().judge(facts, overrides, view_of)
        self._watch.seconds = perf_counter() - start
        return judgement

    def last_s(self) -> float | None:
        """Duration of this thread's last judgement in s; None before the first."""
        seconds: float | None = getattr(self._watch, "seconds", None)
        return seconds


class UnexpectedJudgementError(ValueError):
    """What judges has another digest than the operator expects."""


def load_assessor(settings: Settings | None = None) -> Assessor:
    """The assessor with the rulebooks and catalogue of the settings.

    A warning is logged for each adjustment that has ended. Raises :class:`UnexpectedJudgementError` if the settings
    expect another digest, and as :meth:`rules.assessor.Assessor.load`.
    """
    settings = settings or Settings()
    accepted = settings.weakened_safety_rules
    if unusable := [one for folder in settings.extra_rulebooks for one in _unusable(folder)]:
        raise RulebookError(unusable)
    assessor = Assessor.load(settings.extra_rulebooks, settings.catalogue, today=settings.as_of, accepted=accepted)
    if unknown := sorted(accepted - {rule.code for rule in assessor.book.rules}):
        raise RulebookError(
            Problem(f"{PREFIX}WEAKENED_SAFETY_RULES", 0, one, "there is no such rule") for one in unknown
        )
    profile_of(settings, assessor.book)
    found = judgement_sha256(assessor.book)
    if settings.expect_judgement_sha256 not in (None, found):
        raise UnexpectedJudgementError(
            f"{PREFIX}EXPECT_JUDGEMENT_SHA256: expected {settings.expect_judgement_sha256}, found {found}"
        )
    for one in assessor.book.expired:
        _LOG.warning("%s:%d: adjustment of %s ended on %s", one.file, one.line, one.entry.code, one.entry.until)
    assessor.engine = TimedEngine(assessor.engine)
    return assessor


def profile_of(settings: Settings, book: Rulebook) -> Profile:
    """The operator's profile of gates, the strict one without a file; errors as :func:`load_profile`."""
    return STRICT if settings.gate_profile is None else load_profile(settings.gate_profile, book, settings.as_of)


def _unusable(folder: Path) -> Iterator[Problem]:
    """Why a folder gives no rules; an operator who names one never means none."""
    try:
        if not any(file.name.endswith(".yaml") for file in folder.iterdir()):
            yield Problem(str(folder), 0, "", "no rulebook in this folder; a rulebook's name ends in .yaml")
    except OSError as error:
        yield Problem(str(folder), 0, "", f"this folder of rulebooks cannot be read: {error.strerror}")


def rules_in_force(assessor: Assessor) -> str:
    """The digests of what judges and of the catalogue, equal in processes that judge alike."""
    return f"{judgement_sha256(assessor.book)} {assessor.catalogue.digest}"


class Snapshot(NamedTuple):
    """The rulebooks and catalogue as this process has read them.

    Worker processes start from it, so a file saved meanwhile changes nothing.
    """

    book: Rulebook
    catalogue: Catalogue
    in_force: str
    """See :func:`rules_in_force`."""

    @classmethod
    def of(cls, assessor: Assessor) -> Snapshot:
        """The snapshot of an assessor."""
        return cls(assessor.book, assessor.catalogue, rules_in_force(assessor))

    def assessor(self) -> Assessor | None:
        """An assessor in a worker; None if the installed program or its tables have changed."""
        assessor = Assessor(self.book, self.catalogue)
        if rules_in_force(assessor) != self.in_force:
            return None
        assessor.engine = TimedEngine(assessor.engine)
        return assessor


def _proxy(content: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(content)


# A snapshot holds read-only mappings, which cannot be sent to a process as they are.
copyreg.pickle(MappingProxyType, lambda one: (_proxy, (dict(one),)))


class Exporter:
    """Checks stacks and writes them as CuttingTool documents."""

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def export(self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4") -> bytes:
        """The document of the request's stack; raises as a check."""
        return self.export_with_report(request, timestamp=timestamp, standard=standard)[0]

    def export_with_report(
        self, request: CheckRequest, *, timestamp: str = EPOCH, standard: Standard = "1.4"
    ) -> tuple[bytes, Report]:
        """The document and the report it is based on."""
        report = self._assessor.assess(request)
        resolved = resolve(request, self._assessor.catalogue.definitions)
        # Keep an unresolved reference in place; its component is not known.
        stack = request.stack if resolved.broken else resolved.request.stack
        return export_cutting_tool(stack, report, timestamp=timestamp, standard=standard), report


Lifespan: TypeAlias = Callable[[FastAPI], AbstractAsyncContextManager[None]]


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
