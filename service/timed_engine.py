"""The rules engine with a stop watch, so that its share of a judgement can be told."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from time import perf_counter

from rules.rulebook.book import Judgement, Overrides
from rules.rulebook.engine import Engine
from rules.rulebook.fact import Fact

__all__ = ["TimedEngine"]


class TimedEngine(Engine):
    """The same compiled rules; remembers how long the last judgement took."""

    def __init__(self, engine: Engine) -> None:
        vars(self).update(vars(engine))  # nothing is compiled anew
        self._watch = threading.local()

    def judge(self, facts: Sequence[Fact], overrides: Overrides | None = None) -> Judgement:
        """As :meth:`rules.rulebook.engine.Engine.judge`."""
        start = perf_counter()
        judgement = super().judge(facts, overrides)
        self._watch.seconds = perf_counter() - start
        return judgement

    def last_s(self) -> float | None:
        """Seconds of the last judgement of this thread; None before the first."""
        seconds: float | None = getattr(self._watch, "seconds", None)
        return seconds
