"""How long and how often a call is tried."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from tenacity import RetryCallState, retry_if_exception, wait_random_exponential

from service.client.sending import ClientError, OverdueError

__all__ = ["Deadline", "Patience", "policy"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """Seconds and attempts of one call; a batch of lines spends it on each portion anew."""

    deadline_s: float = 30.0
    """All attempts and the pauses between them together."""
    timeout_s: float = 10.0
    """To connect, or between two signs of life of the service."""
    attempts: int = 5
    first_pause_s: float = 0.2
    """The first pause is random below it, each further one below twice as much."""
    longest_pause_s: float = 5.0
    """Pauses grow no longer, unless the service asks for more by Retry-After."""

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{one.name} must be a number above 0, not {value!r}")


class Deadline:
    """The moment a call must be over."""

    def __init__(self, patience: Patience, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._timeout_s = patience.timeout_s
        self._deadline_s = patience.deadline_s
        self._end = clock() + patience.deadline_s

    def timeout_s(self) -> float:
        """How long the next step may wait; raises :class:`OverdueError` when the time is up."""
        self.check()
        return min(self._timeout_s, self.left_s())

    def left_s(self) -> float:
        """Seconds left, negative when overdue."""
        return self._end - self._clock()

    def check(self) -> None:
        """Raise :class:`OverdueError` when the time is up."""
        if self.left_s() <= 0:
            raise self.overdue()

    def overdue(self) -> OverdueError:
        """The error for a call whose time is up."""
        return OverdueError(f"There was no answer within {self._deadline_s:g} s.")


def policy(patience: Patience, deadline: Deadline) -> dict[str, Any]:
    """The options of tenacity for one call: what is repeated, when, and how often.

    A pause that would outlast the deadline is not begun; the last error is raised then.
    """
    random_pause = wait_random_exponential(multiplier=patience.first_pause_s, max=patience.longest_pause_s)

    def pause(state: RetryCallState) -> float:
        error = state.outcome.exception() if state.outcome is not None else None
        asked = error.retry_after_s if isinstance(error, ClientError) else None
        return max(random_pause(state), asked or 0.0)

    def enough(state: RetryCallState) -> bool:
        return state.attempt_number >= patience.attempts or state.upcoming_sleep >= deadline.left_s()

    return {"retry": retry_if_exception(_repeatable), "wait": pause, "stop": enough, "reraise": True}


def _repeatable(error: BaseException) -> bool:
    return isinstance(error, ClientError) and error.repeatable
