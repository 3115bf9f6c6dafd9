"""Work that may take long: in threads, so many at once, each within a bound of work and of time.

How many requests of one kind are answered at the same time.
"""

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
    """Lets in so many at once; each may hold a thread, a temporary file or the queue of the pool."""

    def __init__(self, limit: int, what: str = "batches", retry_after_s: int = 5) -> None:
        self._limit = limit
        self._what = what
        self._retry_after_s = retry_after_s
        self._inside = 0

    def enter(self) -> None:
        """Count one in; raises :class:`ProblemError` 503 when all places are taken."""
        if self._inside >= self._limit:
            detail = f"{self._limit} {self._what} are being answered at the moment."
            raise ProblemError("too-busy", detail, headers={"Retry-After": str(self._retry_after_s)})
        self._inside += 1

    def leave(self) -> None:
        """Count one out again."""
        self._inside -= 1

    @contextmanager
    def one(self) -> Iterator[None]:
        """Count one in and, at the end, out again; errors as `enter`."""
        self.enter()
        try:
            yield
        finally:
            self.leave()


LIGHT_STEPS: Final = 1_000_000
"""Work that is done on the event loop, some ten milliseconds; an ordinary check takes a tenth of it."""

LIGHT_BYTES: Final = 32 * 1024
"""A body of that size is read and judged on the event loop; ordinary stacks take a tenth of it."""

T = TypeVar("T")


class HeavyWork:
    """Keeps what takes long from holding up everybody else.

    Two bounds of different kind. The work is counted inside of the rules, so that a request that asks too much is
    refused on every machine alike (422); only requests that hold many stacks or laws are bounded so, a single stack
    is always judged. The clock runs out here, outside of the rules (503): then the answer is given up and the work
    stops where it next counts, and its place is free when it has really ended.
    """

    def __init__(self, settings: Settings) -> None:
        self._places = Admission(settings.max_heavy_requests, "requests that take long", retry_after_s=1)
        self._max_steps = settings.max_request_steps
        self._max_seconds = settings.max_request_seconds

    @classmethod
    def of(cls, request: Request) -> HeavyWork:
        """That of the application which is asked; one with the settings' defaults where it was given none."""
        state = request.app.state
        if not hasattr(state, "heavy_work"):
            state.heavy_work = cls(Settings())
        found: HeavyWork = state.heavy_work
        return found

    async def light_first(self, work: Callable[[], T]) -> T:
        """Do at once what is done in milliseconds, and in a thread what turns out not to be.

        What was begun is thrown away then: it was little.
        """
        try:
            with allowing(Allowance(LIGHT_STEPS)):
                return work()
        except TooMuchWorkError:
            return await self.threaded(work)

    async def threaded(self, work: Callable[[], T], *, limited: bool = False) -> T:
        """Do it in a thread; ``limited`` counts the work.

        Raises :class:`ProblemError`: 503 when all places are taken or the time is over, 422 for too much work.
        """
        self._places.enter()
        try:
            return await self.in_time(work, self._max_steps if limited else None, self._places.leave)
        except TooMuchWorkError:
            raise ProblemError(
                "too-much-work",
                f"The request asks for more than {self._max_steps} steps of computation; it was given up, and nothing"
                " of it is answered.",
            ) from None

    async def in_time(self, work: Callable[[], T], steps: int | None, ended: Callable[[], None]) -> T:
        """Do it in a thread within the time, and call ``ended`` when it has really ended."""
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
                f"No answer was found within {self._max_seconds:g} s; it was given up, and nothing of it is answered.",
                headers={"Retry-After": "5"},
            )
        return thread.result()


def _ended(thread: asyncio.Future[T], ended: Callable[[], None]) -> None:
    ended()
    if not thread.cancelled():
        thread.exception()  # looked at, so that nobody complains that nobody did
