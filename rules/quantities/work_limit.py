"""How much a computation may work, counted and not timed: one question ends in one way on every machine.

Most questions cost the same, whatever the numbers; a few laws of hostile numbers cost a thousand times as much. Where
that happens the work is told to `charge` before it is done. Whoever has to bound it gives an `Allowance`; without one
nothing is bounded, and a result never depends on what was allowed.
"""

from __future__ import annotations

from contextvars import ContextVar, Token
from typing import Final

__all__ = ["Allowance", "TooMuchWorkError", "allowing", "charge"]


class TooMuchWorkError(Exception):
    """The work would be more than was allowed; nothing of it is answered."""


class Allowance:
    """So many steps, one being about one evaluated point of a law; without a number as many as it takes."""

    __slots__ = ("spent", "steps")

    def __init__(self, steps: int | None = None) -> None:
        self.steps = steps
        self.spent = 0

    def stop(self) -> None:
        """Allow nothing more; the work ends where it next spends, whichever thread it is in."""
        self.steps = -1

    def take(self, steps: int) -> None:
        """Count steps; raises :class:`TooMuchWorkError` beyond what is allowed."""
        self.spent += steps
        if self.steps is not None and self.spent > self.steps:
            raise TooMuchWorkError


_OUTER: Final[ContextVar[tuple[Allowance, ...]]] = ContextVar("allowances", default=())


class allowing:  # noqa: N801 - reads as a verb; a class, since a generator costs three times as much here
    """Bound all that is spent inside, beside what bounds it already.

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
    """Count steps that are about to be worked; raises :class:`TooMuchWorkError` where they are not allowed."""
    for allowance in _OUTER.get():
        allowance.take(steps)
