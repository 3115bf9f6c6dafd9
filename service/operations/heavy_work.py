"""Limits on concurrent requests, and long computations in other processes with a limit on work and time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from functools import partial
from typing import Any, Final, Protocol, TypeVar

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.types import Receive

from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing
from service.operations.problems import ProblemError
from service.operations.settings import Settings

__all__ = ["LIGHT_BYTES", "LIGHT_STEPS", "Admission", "HeavyWork", "Pending", "Processes", "ProcessesClosedError"]


class Admission:
    """A counter of concurrent requests with an upper limit."""

    def __init__(self, limit: int, what: str = "batches", retry_after_s: int = 5) -> None:
        self._limit = limit
        self._what = what
        self._retry_after_s = retry_after_s
        self._inside = 0

    def enter(self) -> None:
        """Add a request; raises :class:`ProblemError` 503 at the limit."""
        if self._inside >= self._limit:
            detail = f"{self._limit} {self._what} are in progress, the maximum."
            raise ProblemError("too-busy", detail, headers={"Retry-After": str(self._retry_after_s)})
        self._inside += 1

    def leave(self) -> None:
        """Remove a request."""
        self._inside -= 1

    @contextmanager
    def one(self) -> Iterator[None]:
        """Count a request for the duration of the block; raises as `enter`."""
        self.enter()
        try:
            yield
        finally:
            self.leave()


LIGHT_STEPS: Final = 1_000_000
"""Steps of work allowed on the event loop, about 10 ms; an ordinary check takes a tenth of that."""

LIGHT_BYTES: Final = 32 * 1024
"""Bytes of a body that is parsed and judged on the event loop; an ordinary stack has a tenth of that."""

T = TypeVar("T")


class Pending(Protocol):
    """A request on its way through other processes."""

    future: Future[Any]

    def give_up(self) -> None:
        """Stop the work; the future ends in any case."""


class ProcessesClosedError(RuntimeError):
    """The other processes take no requests, because the service has not started or is stopping."""


class Processes(Protocol):
    """Other processes that answer requests."""

    def ask(self, what: object, steps: int | None, *, urgent: bool = False) -> Pending:
        """Submit a request with the most steps of its work; its future raises :class:`ProblemError`.

        Raises :class:`ProcessesClosedError` where none is taken.
        """


class HeavyWork:
    """Answers short requests here and hands the others to processes, so that nobody waits for long computations.

    What is short is found by trying: past ``LIGHT_STEPS`` the request is given to another process, which begins anew.
    Threads would share the interpreter's lock with the event loop.

    Three limits apply. The work limit counts steps, so every machine rejects the same requests (422); it grows with the
    request and applies to requests with many stacks, never to a single stack. The time limit is wall-clock time (503);
    the work stops at its next count of steps. It stops there, too, when its client leaves, since nobody would read the
    answer. Places are counted until the work has ended; urgent requests have their own.
    """

    def __init__(
        self, settings: Settings, processes: Processes | None = None, told: Callable[[Any], None] = lambda _: None
    ) -> None:
        """Set the limits and the processes; without them, everything is answered here, without a limit.

        ``told`` is called with each answer.
        """
        self._processes = processes
        self._told = told
        self._places = Admission(settings.max_heavy_requests, "long-running requests", retry_after_s=1)
        self._urgent_places = Admission(settings.max_heavy_gates, "long-running gates", retry_after_s=1)
        self._thread = CapacityLimiter(1)
        self._max_steps = settings.max_request_steps
        self._steps_per_kib = settings.max_steps_per_kib
        self._max_seconds = settings.max_request_seconds

    @classmethod
    def of(cls, request: Request) -> HeavyWork:
        """The instance of the request's application; one with default settings if it has none."""
        state = request.app.state
        if not hasattr(state, "heavy_work"):
            state.heavy_work = cls(Settings())
        found: HeavyWork = state.heavy_work
        return found

    def steps(self, size: int, mounted: int = 0) -> int:
        """Most steps of a request with this many bytes of content and of mounted parts that it may read."""
        return min(self._max_steps, self._steps_per_kib * (max(1, -(-size // 1024)) + mounted))

    async def answer(
        self,
        request: Request,
        what: object,
        here: Callable[[], T],
        size: int,
        *,
        mounted: int = 0,
        limited: bool = False,
        urgent: bool = False,
        uncounted: bool = False,
    ) -> T:
        """The answer to a request of ``size`` bytes: of ``here``, or of another process for ``what``.

        The body of ``request`` has been read. ``limited`` applies the work limit, for the size and for the number of
        parts ``mounted`` that the request may read besides; ``urgent`` requests go first and have
        places of their own. What is ``uncounted`` takes long beside its steps, as drawings and YAML do: it is made in a
        thread, one at a time.

        Raises
        ------
        ProblemError
            503 if too many are running or the time limit is reached, 422 beyond the work limit.
        ClientDisconnect
            If the client leaves while another process is at it.
        """
        steps = self.steps(size, mounted) if limited else None
        found = await self._found(request, what, here, size, steps, urgent=urgent, uncounted=uncounted)
        self._told(found)
        return found

    async def _found(
        self,
        request: Request,
        what: object,
        here: Callable[[], T],
        size: int,
        steps: int | None,
        *,
        urgent: bool,
        uncounted: bool,
    ) -> T:
        if self._processes is None:
            return here()
        if size <= LIGHT_BYTES:
            with suppress(TooMuchWorkError):
                if not uncounted:
                    return _light(here)
                with self._places.one():
                    return await run_sync(_light, here, limiter=self._thread)
        places = self._urgent_places if urgent else self._places
        places.enter()
        try:
            pending = self._processes.ask(what, steps, urgent=urgent)
        except ProcessesClosedError:
            places.leave()
            # before the start and while the service stops
            return await run_sync(partial(_within, here, steps), limiter=self._thread)
        except BaseException:
            places.leave()
            raise
        try:
            found: T = await _in_time(
                asyncio.wrap_future(pending.future), request.receive, self._max_seconds, pending.give_up, places.leave
            )
        except TooMuchWorkError:
            raise ProblemError(
                "too-much-work",
                f"The request needs more than {steps} steps of computation, the limit for its length."
                " There is no partial result.",
            ) from None
        return found

    async def in_thread(self, request: Request, work: Callable[[], T], ended: Callable[[], None]) -> T:
        """Run work that waits for other processes in a thread, within the time limit; then ``ended`` is called.

        It stops when the client of ``request`` leaves, which raises :class:`ClientDisconnect`.
        """
        allowance = Allowance()

        def bounded() -> T:
            with allowing(allowance):
                return work()

        running = asyncio.ensure_future(run_in_threadpool(bounded))
        return await _in_time(running, request.receive, self._max_seconds, allowance.stop, ended)


async def _in_time(
    work: asyncio.Future[T], receive: Receive, seconds: float, give_up: Callable[[], None], ended: Callable[[], None]
) -> T:
    """The result of work while its client waits and has time, else ``give_up`` is called; ``ended`` after the work."""
    work.add_done_callback(lambda done: _ended(done, ended))
    left = asyncio.ensure_future(_has_left(receive))
    either: set[asyncio.Future[Any]] = {work, left}
    try:
        await asyncio.wait(either, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
    except asyncio.CancelledError:
        give_up()
        raise
    finally:
        left.cancel()
    if work.done():
        return work.result()
    give_up()
    if left.done():
        left.result()
        raise ClientDisconnect
    raise ProblemError(
        "took-too-long",
        f"The computation took longer than {seconds:g} s. There is no partial result.",
        headers={"Retry-After": "5"},
    )


async def _has_left(receive: Receive) -> None:
    """Wait for the end of a connection whose request has been read."""
    while (await receive())["type"] != "http.disconnect":
        pass


def _within(work: Callable[[], T], steps: int | None) -> T:
    with allowing(Allowance(steps)):
        return work()


def _light(work: Callable[[], T]) -> T:
    with allowing(Allowance(LIGHT_STEPS)):
        return work()


def _ended(work: asyncio.Future[T], ended: Callable[[], None]) -> None:
    ended()
    if not work.cancelled():
        work.exception()  # retrieved, so that asyncio does not log it as never retrieved
