"""``/healthz``, ``/readyz`` and ``/version``: for those who run the service.

Counts and times for Prometheus, of this process or, where it is one of several workers, of all of them together.

``GET /metrics``: counts and times, for Prometheus.

An assessor that is watched: what it decides and how long that takes is counted.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable
from pathlib import Path
from time import perf_counter
from typing import Final, Generic, TypeVar, cast

from fastapi import APIRouter, Request, Response
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    disable_created_metrics,
    generate_latest,
)
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead

from rules.analysis import StackAnalysis
from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.version import VERSION
from service.batch.lines import LineAnswer
from service.contract import State, Version
from service.examples import EXAMPLES, EXTENDED
from service.http.answers import json_answer, require_acceptable, shown
from service.http.problem_answers import responses
from service.operations.problems import ProblemError
from service.operations.process import Shutdown, TimedEngine

__all__ = ["SHARED_FOLDER", "Metrics", "ObservingAssessor", "health_router", "metrics_router"]


_LOG = logging.getLogger("stackgauge")


def health_router(assessor: Assessor, shutdown: Shutdown) -> APIRouter:
    """The routes, watching this assessor and the end of the process."""
    router = APIRouter(tags=["service"])
    alive = State(status="ok")
    probe = parse_request(EXAMPLES[EXTENDED].request)
    version = Version(
        service="stackgauge",
        version=VERSION,
        rulebooks=assessor.book.book_names(),
        rulebook_sha256=assessor.book.digest,
    )

    @router.get(
        "/healthz",
        operation_id="health",
        summary="Is the process alive?",
        response_model=State,
        responses={200: shown("alive", alive), **responses("not-acceptable", "internal-fault")},
    )
    async def health(request: Request) -> Response:
        """Answers as long as the process serves requests; says nothing about the rules."""
        require_acceptable(request)
        return json_answer(alive)

    @router.get(
        "/readyz",
        operation_id="readiness",
        summary="Can it judge?",
        response_model=State,
        responses={
            200: shown("ready", alive),
            **responses("not-acceptable", "internal-fault", "not-ready"),
        },
    )
    async def readiness(request: Request) -> Response:
        """Judges a known stack from end to end before it says yes; says no once the service was asked to stop."""
        require_acceptable(request)
        if shutdown.begun:
            raise ProblemError("not-ready", "The service is stopping.")
        try:
            assessor.assess(probe)
        except Exception:
            _LOG.exception("the known stack could not be judged")
            raise ProblemError("not-ready", "The service can't judge at the moment.") from None
        return json_answer(alive)

    @router.get(
        "/version",
        operation_id="version",
        summary="What runs here?",
        response_model=Version,
        responses={200: shown("version", version), **responses("not-acceptable", "internal-fault")},
    )
    async def show_version(request: Request) -> Response:
        """Version of the service and digest of the rules in force."""
        require_acceptable(request)
        return json_answer(version)

    return router


METRICS_MEDIA_TYPE: Final = CONTENT_TYPE_LATEST

SHARED_FOLDER: Final = "PROMETHEUS_MULTIPROC_DIR"
"""Environment variable with the folder where workers keep their counts; the library looks for it when imported."""

_REQUEST_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60)
_JUDGEMENT_S: Final = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1)

# When each series began would double what is told, and nothing here needs it.
disable_created_metrics()

Kept = TypeVar("Kept", bound=Counter | Histogram)


class _Labelled(dict[tuple[str, ...], Kept], Generic[Kept]):
    """The series of a metric by its labels; to find one here costs a tenth of what it costs there."""

    def __init__(self, metric: Kept) -> None:
        super().__init__()
        self._metric: Kept = metric

    def __missing__(self, labels: tuple[str, ...]) -> Kept:
        found = self[labels] = cast(Kept, self._metric.labels(*labels))
        return found


class Metrics:
    """What one application counts.

    No label takes its values from a client: routes are templates, methods and statuses the known ones, codes those of
    the rules in force.
    """

    def __init__(self) -> None:
        self._folder = os.environ.get(SHARED_FOLDER)
        if self._folder:
            _forget_the_dead(Path(self._folder))
        own = self._own = CollectorRegistry()
        name = "stackgauge_{}".format
        self.in_flight = Gauge(
            name("requests_in_flight"), "Requests being answered.", registry=own, multiprocess_mode="livesum"
        )
        self._requests = _Labelled(
            Counter(name("requests"), "Requests by what became of them.", ("route", "method", "status"), registry=own)
        )
        self._request_s = _Labelled(
            Histogram(
                name("request_duration_seconds"),
                "Time from the head of a request to the end of its answer.",
                ("route",),
                registry=own,
                buckets=_REQUEST_S,
            )
        )
        self._problems = _Labelled(
            Counter(name("problems"), "Requests answered with a problem, by its kind.", ("kind",), registry=own)
        )
        self._verdicts = _Labelled(
            Counter(name("verdicts"), "Stacks judged, in batches too.", ("verdict",), registry=own)
        )
        self._findings = _Labelled(
            Counter(name("findings"), "Stacks with a finding of this rule.", ("code",), registry=own)
        )
        self._undecided = _Labelled(
            Counter(name("undecided"), "Stacks on which this rule could not be decided.", ("code",), registry=own)
        )
        self._judgement_s = Histogram(
            name("judgement_seconds"),
            "Time to judge one stack, from request to report; without those of batches.",
            registry=own,
            buckets=_JUDGEMENT_S,
        )
        self._engine_s = Histogram(
            name("engine_seconds"),
            "Time of it that the rules engine took.",
            registry=own,
            buckets=_JUDGEMENT_S,
        )
        self._lines = _Labelled(
            Counter(name("batch_lines"), "Stacks of batches, by how they were answered.", ("answer",), registry=own)
        )
        self._build = Gauge(
            name("build_info"),
            "What runs here, always 1.",
            ("version", "rulebook_sha256"),
            registry=own,
            multiprocess_mode="livemax",
        )

    def running(self, rulebook_sha256: str) -> None:
        """Say what runs."""
        self._build.labels(VERSION, rulebook_sha256).set(1)

    def answered(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count a request; status 0 where its client went away before an answer began."""
        self._requests[route, method, str(status)].inc()
        self._request_s[(route,)].observe(seconds)

    def problem(self, kind: str) -> None:
        """Count an answer that is a problem."""
        self._problems[(kind,)].inc()

    def judged(self, report: Report, seconds: float, engine_s: float | None) -> None:
        """Count a stack judged on its own, and the time of it that the engine took, where that is known."""
        self._judgement_s.observe(seconds)
        if engine_s is not None:
            self._engine_s.observe(engine_s)
        self._stack(
            report.verdict,
            {finding.code for finding in report.findings},
            {gap.code for gap in report.undecided},
        )

    def lines_answered(self, answers: Iterable[LineAnswer]) -> None:
        """Count stacks of a batch."""
        for answer in answers:
            if answer.verdict is None:
                self._lines[("problem",)].inc()
            else:
                self._lines[("report",)].inc()
                self._stack(answer.verdict, answer.codes, answer.undecided)

    def text(self) -> bytes:
        """Everything counted, as Prometheus reads it."""
        if not self._folder:
            return generate_latest(self._own)
        together = CollectorRegistry()
        MultiProcessCollector(together, self._folder)
        return generate_latest(together)

    def _stack(self, verdict: str, codes: Iterable[str], undecided: Iterable[str]) -> None:
        self._verdicts[(verdict,)].inc()
        for code in codes:
            self._findings[(code,)].inc()
        for code in undecided:
            self._undecided[(code,)].inc()


def _forget_the_dead(folder: Path) -> None:
    """Leave out what workers that were killed had in flight; what they counted stays."""
    for file in folder.glob("gauge_live*_*.db"):
        pid = file.stem.rpartition("_")[2]
        # An earlier process may have had the number of this one.
        if pid.isdigit() and (int(pid) == os.getpid() or not _lives(int(pid))):
            mark_process_dead(int(pid), str(folder))


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


_PLAIN = METRICS_MEDIA_TYPE.partition(";")[0]


def metrics_router(metrics: Metrics) -> APIRouter:
    """The route.

    Not in the OpenAPI document: the format is a contract of its own, for those who run the service and not for those
    who ask it, and no two answers are the same.
    """
    router = APIRouter(include_in_schema=False)

    @router.get("/metrics")
    async def show_metrics(request: Request) -> Response:
        require_acceptable(request, (_PLAIN,))
        headers = {"Content-Type": METRICS_MEDIA_TYPE, "Cache-Control": "no-store", "Vary": "Accept"}
        return Response(metrics.text(), headers=headers)

    return router


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

    def assess_derived(self, request: CheckRequest) -> tuple[Report, StackAnalysis]:
        """As :meth:`rules.assessor.Assessor.assess_derived`."""
        start = perf_counter()
        report, derived = self._assessor.assess_derived(request)
        return self._told(report, start), derived

    def _told(self, report: Report, start: float) -> Report:
        if self.counting:
            engine_s = None if self._timed is None else self._timed.last_s()
            self._metrics.judged(report, perf_counter() - start, engine_s)
        return report
