"""``/healthz``, ``/readyz`` and ``/version``: for those who run the service."""

from __future__ import annotations

import logging

from fastapi import APIRouter, Request, Response

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.version import VERSION
from service.answers import json_answer, shown
from service.contract.state import State, Version
from service.examples import EXAMPLES, EXTENDED
from service.negotiation import require_acceptable
from service.operations.problems import ProblemError
from service.operations.process import Shutdown
from service.problem_responses import responses

__all__ = ["State", "Version", "health_router"]

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
