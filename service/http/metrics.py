"""Health, readiness, version and Prometheus metrics; with several workers, metrics cover all of them."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
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
    values,
)
from prometheus_client.multiprocess import MultiProcessCollector

from rules.answer.provenance import EXAMPLE_JUDGEMENT, judgement_sha256
from rules.assessor import Assessor
from rules.exchange.documents import Catalogue
from rules.rulebook.book import Rulebook
from rules.schema.parsing import parse_request
from rules.version import VERSION
from service.batch.lines import LineAnswer
from service.contract import ExpiredAdjustment, MountedCatalogue, QuarantinedPart, State, Version
from service.examples import EXAMPLES, EXTENDED
from service.http.answers import document, json_answer, publish, published, require_acceptable, shown
from service.http.posted import Made
from service.http.problem_answers import responses
from service.operations.assessors import Judged
from service.operations.problems import ProblemError
from service.operations.process import Shutdown

__all__ = ["SHARED_FOLDER", "SHARED_PLACE", "Metrics", "SharedFiles", "health_router", "metrics_router"]


_LOG = logging.getLogger("stackgauge")


def health_router(assessor: Assessor, shutdown: Shutdown, folders: Sequence[Path] = ()) -> APIRouter:
    """The router for health, readiness and version."""
    router = APIRouter(tags=["service"])
    alive = State(status="ok")
    probe = parse_request(EXAMPLES[EXTENDED].request)
    version = Version(
        service="stackgauge",
        version=VERSION,
        rulebooks=assessor.book.book_names(),
        rulebook_sha256=assessor.book.digest,
        judgement_sha256=judgement_sha256(assessor.book),
        rulebook_folders=[folder.resolve().name for folder in folders],
        book_revisions=dict(assessor.book.revisions),
        expired_adjustments=[
            ExpiredAdjustment(code=one.entry.code, book=one.file, until=one.entry.until)
            for one in assessor.book.expired
            if one.entry.until is not None
        ],
        catalogue=_told(assessor.catalogue),
    )

    published_version = document(version)

    @router.get(
        "/healthz",
        operation_id="health",
        summary="Liveness",
        response_model=State,
        responses={200: shown("alive", alive), **responses("not-acceptable", "invalid-request", "internal-fault")},
    )
    async def health(request: Request) -> Response:
        """Responds 200 while the process serves requests. The rules are not tested."""
        require_acceptable(request)
        return json_answer(alive)

    @router.get(
        "/readyz",
        operation_id="readiness",
        summary="Readiness",
        response_model=State,
        responses={
            200: shown("ready", alive),
            **responses("not-acceptable", "invalid-request", "internal-fault", "not-ready"),
        },
    )
    async def readiness(request: Request) -> Response:
        """Checks a known stack before it responds 200. Responds 503 after SIGTERM."""
        require_acceptable(request)
        if shutdown.begun:
            raise ProblemError("not-ready", "The service is stopping.")
        try:
            assessor.assess(probe)
        except Exception:
            _LOG.exception("the readiness check of a known stack failed")
            raise ProblemError("not-ready", "The readiness check failed.") from None
        return json_answer(alive)

    @router.get(
        "/version",
        operation_id="version",
        summary="Version",
        response_model=Version,
        responses={
            **published(shown("version", version.model_copy(update={"judgement_sha256": EXAMPLE_JUDGEMENT}))),
            **responses("not-acceptable", "invalid-request", "internal-fault"),
        },
    )
    async def show_version(request: Request) -> Response:
        """Version of the service and digest of the rulebooks in force."""
        require_acceptable(request)
        return publish(published_version, request)

    return router


_MOST_QUARANTINED: Final = 1000


def _told(catalogue: Catalogue) -> MountedCatalogue | None:
    found = catalogue.quarantined
    if catalogue.digest is None and not found:
        return None
    return MountedCatalogue(
        catalogue_sha256=catalogue.digest,
        in_force=catalogue.count,
        quarantined=[QuarantinedPart.model_validate(one._asdict()) for one in found[:_MOST_QUARANTINED]],
        not_listed=max(0, len(found) - _MOST_QUARANTINED),
    )


METRICS_MEDIA_TYPE: Final = CONTENT_TYPE_LATEST

SHARED_FOLDER: Final = "PROMETHEUS_MULTIPROC_DIR"
"""Environment variable of the folder for the workers' metrics; the library reads it on import."""

SHARED_PLACE: Final = "PROMETHEUS_MULTIPROC_PLACE"
"""Environment variable of a worker's place in that folder."""

if SHARED_FOLDER in os.environ and (_place := os.environ.get(SHARED_PLACE)):
    # files by place, not by process, since they are allocated before there is a worker
    values.ValueClass = values.MultiProcessValue(process_identifier=lambda: _place)

_COUNTERS_BYTES: Final = 512 * 1024
_COUNTERS_BYTES_PER_RULE: Final = 512
_HISTOGRAMS_BYTES: Final = 512 * 1024
_GAUGES_BYTES: Final = 64 * 1024
"""Sizes of the files: twice what all labels take together."""

_GAUGES: Final = ("gauge_livesum", "gauge_livemax")


class SharedFiles:
    """The files in which workers count together, allocated before there is a worker.

    They are mapped into memory: if the disk were full when a page of one is first used, the system would kill the
    worker. A worker has a place; its successor there goes on counting where it ended.
    """

    def __init__(self, folder: Path, places: int, rules: int) -> None:
        """Allocate files for a number of places and of rules; raises OSError if there is no room."""
        self._folder = folder
        self._free = list(range(places))
        sizes = {"counter": _COUNTERS_BYTES + rules * _COUNTERS_BYTES_PER_RULE, "histogram": _HISTOGRAMS_BYTES}
        for place in range(places):
            for name, size in (sizes | dict.fromkeys(_GAUGES, _GAUGES_BYTES)).items():
                # written, because a file that is only made longer has no blocks
                self._file(name, place).write_bytes(bytes(size))

    def take(self) -> int:
        """A place for a new worker."""
        return self._free.pop(0)

    def give_back(self, place: int) -> None:
        """Take back the place of a worker that has ended: its counters stay, what was in progress is over."""
        for name in _GAUGES:
            with self._file(name, place).open("r+b") as file:
                # the number of bytes in use, at the head of the file
                file.write(bytes(8))
        self._free.insert(0, place)

    def _file(self, name: str, place: int) -> Path:
        return self._folder / f"{name}_{place}.db"


_REQUEST_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60)
_JUDGEMENT_S: Final = (0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1)

# The creation time of each series would double the output and is not needed.
disable_created_metrics()

Kept = TypeVar("Kept", bound=Counter | Histogram)


class _Labelled(dict[tuple[str, ...], Kept], Generic[Kept]):
    """The series of a metric by labels; ten times faster than the library's look-up."""

    def __init__(self, metric: Kept) -> None:
        super().__init__()
        self._metric: Kept = metric

    def __missing__(self, labels: tuple[str, ...]) -> Kept:
        found = self[labels] = cast(Kept, self._metric.labels(*labels))
        return found


class Metrics:
    """The metrics of one application.

    No label value comes from a client: routes are templates; methods, statuses and rule codes are known sets.
    """

    def __init__(self) -> None:
        self._folder = os.environ.get(SHARED_FOLDER)
        own = self._own = CollectorRegistry()
        name = "stackgauge_{}".format
        self.in_flight = Gauge(
            name("requests_in_flight"), "Requests in progress.", registry=own, multiprocess_mode="livesum"
        )
        self._requests = _Labelled(
            Counter(
                name("requests"), "Requests by route, method and status.", ("route", "method", "status"), registry=own
            )
        )
        self._request_s = _Labelled(
            Histogram(
                name("request_duration_seconds"),
                "Time from the request headers to the end of the response, s.",
                ("route",),
                registry=own,
                buckets=_REQUEST_S,
            )
        )
        self._problems = _Labelled(
            Counter(name("problems"), "Problem responses by problem type.", ("kind",), registry=own)
        )
        self._verdicts = _Labelled(
            Counter(name("verdicts"), "Stacks judged by verdict, batches included.", ("verdict",), registry=own)
        )
        self._findings = _Labelled(
            Counter(name("findings"), "Stacks with a finding by rule code.", ("code",), registry=own)
        )
        self._undecided = _Labelled(
            Counter(name("undecided"), "Stacks with an undecided rule by rule code.", ("code",), registry=own)
        )
        self._judgement_s = Histogram(
            name("judgement_seconds"),
            "Time to judge a stack of a single request, s.",
            registry=own,
            buckets=_JUDGEMENT_S,
        )
        self._engine_s = Histogram(
            name("engine_seconds"),
            "Part of the judging time in the rules engine, s.",
            registry=own,
            buckets=_JUDGEMENT_S,
        )
        self._lines = _Labelled(
            Counter(name("batch_lines"), "Results of batch lines by kind.", ("answer",), registry=own)
        )
        self._decisions = _Labelled(
            Counter(
                name("gate_decisions"),
                "Orders by decision and whether they may start.",
                ("decision", "may_start"),
                registry=own,
            )
        )
        self._deviations = _Labelled(
            Counter(name("gate_deviations"), "Orders with a deviation, by what deviates.", ("kind",), registry=own)
        )
        self._build = Gauge(
            name("build_info"),
            "Version and digests of rulebooks and judgement in the labels; the value is always 1.",
            ("version", "rulebook_sha256", "judgement_sha256"),
            registry=own,
            multiprocess_mode="livemax",
        )
        self._books = Gauge(
            name("rulebook_info"),
            "Rulebooks in force with their revision, empty if they state none; the value is always 1.",
            ("book", "revision"),
            registry=own,
            multiprocess_mode="livemax",
        )
        self._expired = Gauge(
            name("expired_adjustments"),
            "Adjustments of rulebooks that have ended and do not count.",
            registry=own,
            multiprocess_mode="livemax",
        )

    def running(self, book: Rulebook) -> None:
        """Set the version, the digests and what the rulebooks say of themselves."""
        self._build.labels(VERSION, book.digest, judgement_sha256(book)).set(1)
        for one in {*book.book_names(), *book.revisions}:
            self._books.labels(one, book.revisions.get(one, "")).set(1)
        self._expired.set(len(book.expired))

    def answered(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count a request; status 0 if the client left before the response began."""
        self._requests[route, method, str(status)].inc()
        self._request_s[(route,)].observe(seconds)

    def problem(self, kind: str) -> None:
        """Count a problem response."""
        self._problems[(kind,)].inc()

    def made(self, made: Made) -> None:
        """Count the stacks of an answer and the decision of a gate."""
        for one in made.judged:
            self.judged(one)
        if (decided := made.decided) is not None:
            self._decisions[decided.decision, str(decided.may_start).lower()].inc()
            for kind in decided.deviations:
                self._deviations[(kind,)].inc()

    def judged(self, one: Judged) -> None:
        """Count a stack of a single request."""
        self._judgement_s.observe(one.seconds)
        if one.engine_s is not None:
            self._engine_s.observe(one.engine_s)
        self._stack(one.verdict, one.codes, one.undecided)

    def lines_answered(self, answers: Iterable[LineAnswer]) -> None:
        """Count the results of a batch."""
        for answer in answers:
            if answer.verdict is None:
                self._lines[("problem",)].inc()
            else:
                self._lines[("report",)].inc()
                self._stack(answer.verdict, answer.codes, answer.undecided)

    def text(self) -> bytes:
        """All metrics in the Prometheus text format."""
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


_PLAIN = METRICS_MEDIA_TYPE.partition(";")[0]


def metrics_router(metrics: Metrics) -> APIRouter:
    """The router of ``/metrics``, which is for operators and therefore not in the OpenAPI document."""
    router = APIRouter(include_in_schema=False)

    @router.get("/metrics")
    async def show_metrics(request: Request) -> Response:
        require_acceptable(request, (_PLAIN,))
        headers = {"Content-Type": METRICS_MEDIA_TYPE, "Cache-Control": "no-store", "Vary": "Accept"}
        return Response(metrics.text(), headers=headers)

    return router
