"""How many batches are answered at the same time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from service.problems import ProblemError

__all__ = ["Admission"]


class Admission:
    """Lets in so many at once; each may hold a temporary file and fill the queue of the pool."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._inside = 0

    @contextmanager
    def one(self) -> Iterator[None]:
        """Count one in and, at the end, out again; raises :class:`ProblemError` 503 when all places are taken."""
        if self._inside >= self._limit:
            raise ProblemError(
                "too-busy", f"{self._limit} batches are being answered at the moment.", headers={"Retry-After": "5"}
            )
        self._inside += 1
        try:
            yield
        finally:
            self._inside -= 1
