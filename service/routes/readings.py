"""``POST /v1/readings``: what the dial showed in, what it tells and what to do next out."""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.reading.reading import read_gauge
from rules.schema.reading import ReadingReport, ReadingRequest
from service.reading_examples import READING_EXAMPLES
from service.routes.posted import add_posted_route

__all__ = ["readings_router"]


def readings_router(assessor: Assessor) -> APIRouter:
    """The route; it shares the rulebooks of this assessor."""
    router = APIRouter(tags=["readings"])

    def answer(request: ReadingRequest) -> ReadingReport:
        return read_gauge(request, assessor.book, assessor.catalogue)

    add_posted_route(
        router,
        "/v1/readings",
        asked=ReadingRequest,
        answered=ReadingReport,
        answer=answer,
        operation_id="read_gauge",
        summary="Judge a reading",
        description="Say what dial readings tell of eccentricity and axis, whether the limit is kept, and what to do"
        " next; with a stack, held against what its contributors let one expect.\n\n"
        "A pure function of the request: safe to repeat, and the same request gives the same bytes.",
        response_description="The reading was evaluated, whatever the decision.",
        examples=READING_EXAMPLES,
    )
    return router
