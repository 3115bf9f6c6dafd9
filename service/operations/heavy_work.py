"""Limits on concurrent requests, and worker threads for long computations with a limit on work and time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final, TypeVar

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing
from service.operations.problems import ProblemError
from service.operations.settings import Settings

__all__ = ["LIGHT_BYTES", "LIGHT_STEPS", "Admission", "HeavyWork"]


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


class HeavyWork:
    """Runs long computations in threads so that short requests are not delayed.

    Two limits apply. The work limit counts steps, so every machine rejects the same requests (422); it applies to
    requests with many stacks, never to a single stack. The time limit is wall-clock time (503): the response is sent
    at once, and the thread stops at its next count of steps.
    """

    def __init__(self, settings: Settings) -> None:
        self._places = Admission(settings.max_heavy_requests, "long-running requests", retry_after_s=1)
        self._max_steps = settings.max_request_steps
        self._max_seconds = settings.max_request_seconds

    @classmethod
    def of(cls, request: Request) -> HeavyWork:
        """The instance of the request's application; one with default settings if it has none."""
        state = request.app.state
        if not hasattr(state, "heavy_work"):
            state.heavy_work = cls(Settings())
        found: HeavyWork = state.heavy_work
        return found

    async def light_first(self, work: Callable[[], T]) -> T:
        """Run short work on the event loop; past ``LIGHT_STEPS``, start it again in a thread."""
        try:
            with allowing(Allowance(LIGHT_STEPS)):
                return work()
        except TooMuchWorkError:
            return await self.threaded(work)

    async def threaded(self, work: Callable[[], T], *, limited: bool = False) -> T:
        """Run work in a thread; ``limited`` applies the work limit.

        Raises
        ------
        ProblemError
            503 if too many are running or the time limit is reached, 422 beyond the work limit.
        """
        self._places.enter()
        try:
            return await self.in_time(work, self._max_steps if limited else None, self._places.leave)
        except TooMuchWorkError:
            raise ProblemError(
                "too-much-work",
                f"The request needs more than {self._max_steps} steps of computation. There is no partial result.",
            ) from None

    async def in_time(self, work: Callable[[], T], steps: int | None, ended: Callable[[], None]) -> T:
        """Run work in a thread within the time limit; call ``ended`` when the thread has finished."""
        allowance = Allowance(steps)

        def bounded() -> T:
            with allowing(allowance):
                return work()

        thread = asyncio.ensure_future(run_in_threadpool(bounded))
        thread.add_done_callback(lambda done: _ended(done, ended))
        try:
            await asyncio.wait({thread}, timeout=self._max_seconds)
        except asyncio.CancelledError:
            allowance.stop()
            raise
        if not thread.done():
            allowance.stop()
            raise ProblemError(
                "took-too-long",
                f"The computation took longer than {self._max_seconds:g} s. There is no partial result.",
                headers={"Retry-After": "5"},
            )
        return thread.result()


def _ended(thread: asyncio.Future[T], ended: Callable[[], None]) -> None:
    ended()
    if not thread.cancelled():
        thread.exception()  # retrieved, so that asyncio does not log it as never retrieved
