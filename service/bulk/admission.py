"""How many requests of one kind are answered at the same time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from service.problems import ProblemError

__all__ = ["Admission"]


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
