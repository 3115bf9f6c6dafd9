"""The ASGI application."""

from __future__ import annotations

from functools import partial

from fastapi import Depends, FastAPI
from fastapi.routing import APIRoute
from starlette.middleware import Middleware

from rules.assessor import Assessor
from rules.gate.profile import Profile
from rules.schema.parsing import parse_request
from rules.version import VERSION
from service.batch.document import PATH, STREAMS
from service.batch.pool import Pool, closing, cores
from service.examples import EXAMPLES, EXTENDED
from service.http.access import access
from service.http.answers import JSON
from service.http.batches import check_batches_router
from service.http.direct_dispatch import DirectDispatch
from service.http.documents import (
    IMPORTS,
    LARGE_IMPORTS,
    drawings_router,
    exports_router,
    imports_router,
    requests_router,
)
from service.http.metrics import Metrics, health_router, metrics_router
from service.http.middleware import (
    BodyLimit,
    BodyTimeout,
    Compression,
    HeadAsGet,
    InflatedBody,
    RequestTarget,
    SecurityHeaders,
    UnhandledErrors,
)
from service.http.openapi import DeprecationHeaders, describe
from service.http.pages import pages_router
from service.http.posted import posted_routes
from service.http.problem_answers import HANDLERS, require_known_parameters
from service.http.questions import (
    SEARCHES,
    budgets_router,
    calibrations_router,
    checks_router,
    comparisons_router,
    explanations_router,
    gates_router,
    readings_router,
    searches_router,
)
from service.http.reference import (
    catalogue_router,
    contract_router,
    couplings_router,
    keys_router,
    parts_router,
    problems_router,
    rules_router,
)
from service.http.request_log import RequestLog
from service.http.tasks import answering
from service.operations.assessors import Snapshot, load_assessor, profile_of
from service.operations.heavy_work import HeavyWork
from service.operations.logs import configure_logs
from service.operations.process import Exporter, Shutdown, in_order
from service.operations.settings import Settings
from service.operations.signing import GateKeys, load_keys

__all__ = ["create_app"]


def create_app(
    settings: Settings | None = None,
    assessor: Assessor | None = None,
    profile: Profile | None = None,
    keys: GateKeys | None = None,
) -> FastAPI:
    """The application with these settings; what judges, decides and signs is read from disk unless given.

    Raises
    ------
    rules.rulebook.source.RulebookError
        With every defect of the rulebooks.
    rules.exchange.documents.CatalogueError
        With every defect of the catalogue.
    service.operations.signing.KeyFileError
        For a file of keys that cannot be used.
    """
    settings = settings or Settings()
    assessor = assessor or load_assessor(settings)
    profile = profile or profile_of(settings, assessor.book)
    keys = keys or load_keys(settings)
    metrics, shutdown = Metrics(), Shutdown(settings.shutdown_grace_s)
    batch_workers = settings.batch_workers or max(1, cores() // settings.workers)
    # waivers end while the service runs, unless the operator has set the day
    day = settings.as_of if "as_of" in settings.model_fields_set else None
    answered = partial(answering, keys=keys, day=day)
    pool = Pool(batch_workers, Snapshot.of(assessor, profile), partial(configure_logs, settings), answered)
    # a batch of lines has its own limits
    batch_limits = {JSON: settings.max_batch_body_bytes, **dict.fromkeys(STREAMS)}
    import_limits: dict[str, int | None] = dict.fromkeys(LARGE_IMPORTS, settings.max_import_body_bytes)
    search_limits: dict[str, int | None] = {JSON: settings.max_search_body_bytes}
    direct_routes: dict[str, APIRoute] = {}
    app = FastAPI(
        title="stackgauge",
        version=VERSION,
        # service.http.openapi builds the document. The framework's pages load from outside; ours are in service.web.
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        dependencies=[Depends(require_known_parameters)],
        lifespan=in_order(shutdown, closing(pool)),
        middleware=[
            Middleware(RequestTarget),
            Middleware(RequestLog, metrics=metrics),
            Middleware(SecurityHeaders),
            Middleware(HeadAsGet),
            Middleware(DeprecationHeaders),
            Middleware(Compression),
            Middleware(UnhandledErrors),
            *access(settings),
            Middleware(BodyTimeout, max_seconds=settings.max_body_seconds, flowing={PATH: frozenset(STREAMS)}),
            Middleware(InflatedBody),
            Middleware(
                BodyLimit,
                max_bytes=settings.max_body_bytes,
                others={PATH: batch_limits, IMPORTS: import_limits, SEARCHES: search_limits},
            ),
            Middleware(DirectDispatch, routes=direct_routes),
        ],
        exception_handlers=dict(HANDLERS),
    )
    app.state.heavy_work = HeavyWork(settings, pool, metrics.made)
    routers = (
        checks_router(assessor),
        check_batches_router(assessor, pool, settings, metrics.lines_answered, shutdown),
        readings_router(assessor),
        calibrations_router(assessor),
        budgets_router(assessor),
        comparisons_router(assessor),
        gates_router(assessor, profile, keys, day),
        keys_router(keys.public),
        explanations_router(assessor),
        searches_router(assessor),
        imports_router(),
        exports_router(Exporter(assessor)),
        drawings_router(assessor),
        requests_router(),
        rules_router(assessor.book),
        couplings_router(),
        parts_router(),
        catalogue_router(assessor.catalogue),
        health_router(assessor, shutdown, settings.extra_rulebooks),
        metrics_router(metrics),
        problems_router(),
        pages_router(),
        contract_router(lambda: describe(_plain(app, settings, assessor))),
    )
    for router in routers:
        app.include_router(router)
    # the framework hides what it includes
    app.state.routers = routers
    direct_routes.update(posted_routes(routers))
    metrics.running(assessor.book)
    # what a check loads late would make the first request wait
    assessor.assess(parse_request(EXAMPLES[EXTENDED].request))
    return app


def _plain(app: FastAPI, settings: Settings, assessor: Assessor) -> FastAPI:
    """The application without anything of the operator, whose examples the document shows whatever is in force."""
    plain = Assessor.load()
    same = (assessor.book.digest, assessor.catalogue) == (plain.book.digest, plain.catalogue)
    without = {"extra_rulebooks": (), "gate_profile": None, "gate_key_file": None, "gate_public_key_files": ()}
    if same and all(getattr(settings, name) == value for name, value in without.items()):
        return app
    return create_app(settings.model_copy(update=without), plain)
