"""Limits on the work of a computation, counted in steps.

Steps, unlike time, give the same outcome on every machine. The work for most requests hardly depends on their numbers,
but a few extreme ones cost a thousand times as much. Code
that may be expensive calls `charge` before it works. An `Allowance` limits the work; without one there is no limit. The
limit never changes a result.
"""

from __future__ import annotations

from contextvars import ContextVar, Token
from typing import Final

__all__ = ["Allowance", "TooMuchWorkError", "allowing", "charge"]


class TooMuchWorkError(Exception):
    """Work beyond the allowance; there is no result."""


class Allowance:
    """A number of steps, each about one evaluation of a law at one point; unlimited by default."""

    __slots__ = ("spent", "steps")

    def __init__(self, steps: int | None = None) -> None:
        self.steps = steps
        self.spent = 0

    def stop(self) -> None:
        """Allow no further work; it stops at its next charge, in any thread."""
        self.steps = -1

    def take(self, steps: int) -> None:
        """Count steps; raises :class:`TooMuchWorkError` beyond the allowance."""
        self.spent += steps
        if self.steps is not None and self.spent > self.steps:
            raise TooMuchWorkError


_OUTER: Final[ContextVar[tuple[Allowance, ...]]] = ContextVar("allowances", default=())


class allowing:  # noqa: N801 - reads as a verb; a class, since a generator costs three times as much here
    """Limit the work inside the block, in addition to limits already in force.

    >>> with allowing(Allowance(10)):
    ...     charge(11)
    Traceback (most recent call last):
    rules.quantities.work_limit.TooMuchWorkError
    """

    __slots__ = ("_allowance", "_token")
    _token: Token[tuple[Allowance, ...]]

    def __init__(self, allowance: Allowance) -> None:
        self._allowance = allowance

    def __enter__(self) -> None:
        self._token = _OUTER.set((*_OUTER.get(), self._allowance))

    def __exit__(self, *_: object) -> None:
        _OUTER.reset(self._token)


def charge(steps: int) -> None:
    """Count steps before doing them; raises :class:`TooMuchWorkError` if they exceed an allowance."""
    for allowance in _OUTER.get():
        allowance.take(steps)
