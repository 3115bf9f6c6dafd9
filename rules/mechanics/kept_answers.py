"""Answers kept for questions that come again: a bounded memory of a pure function."""

from __future__ import annotations

from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

__all__ = ["KeptAnswers"]

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class KeptAnswers(Generic[Key, Value]):
    """Remembers the last `limit` answers; safe to use from several threads.

    Only for values that nobody changes, and that follow from the key to the last digit: an answer must not tell
    whether it was kept.

    >>> kept = KeptAnswers[str, int](2)
    >>> for key, value in (("a", 1), ("b", 2), ("c", 3)):
    ...     kept.keep(key, value)
    >>> kept.find("a"), kept.find("c")
    (None, 3)
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._lock = Lock()
        self._answers: dict[Key, Value] = {}

    def find(self, key: Key) -> Value | None:
        """Return the answer to a question, None where it is not known (any more)."""
        return self._answers.get(key)

    def keep(self, key: Key, answer: Value) -> None:
        """Remember an answer; the one kept longest gives way."""
        with self._lock:
            if len(self._answers) >= self._limit:
                del self._answers[next(iter(self._answers))]
            self._answers[key] = answer

    def forget(self) -> None:
        """Remember nothing."""
        with self._lock:
            self._answers.clear()
