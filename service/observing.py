"""An assessor that is watched: what it decides and how long that takes is counted."""

from __future__ import annotations

from time import perf_counter

from rules.analysis import Derived
from rules.assessor import Assessor
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.metrics import Metrics
from service.operations.process import TimedEngine

__all__ = ["ObservingAssessor"]


class ObservingAssessor(Assessor):
    """Has the assessor it is given judge, and tells the metrics.

    Silent until ``counting``: while the routes are made, their examples are judged and nobody has asked.
    """

    def __init__(self, assessor: Assessor, metrics: Metrics) -> None:
        self.counting = False
        self.book = assessor.book
        self.catalogue = assessor.catalogue
        self._assessor = assessor
        self._metrics = metrics
        self._timed: TimedEngine | None = None
        if (engine := getattr(assessor, "engine", None)) is not None:
            self.engine = engine
            self._timed = engine if isinstance(engine, TimedEngine) else None

    def assess(self, request: CheckRequest) -> Report:
        """As :meth:`rules.assessor.Assessor.assess`."""
        start = perf_counter()
        return self._told(self._assessor.assess(request), start)

    def assess_derived(self, request: CheckRequest) -> tuple[Report, Derived]:
        """As :meth:`rules.assessor.Assessor.assess_derived`."""
        start = perf_counter()
        report, derived = self._assessor.assess_derived(request)
        return self._told(report, start), derived

    def _told(self, report: Report, start: float) -> Report:
        if self.counting:
            engine_s = None if self._timed is None else self._timed.last_s()
            self._metrics.judged(report, perf_counter() - start, engine_s)
        return report
