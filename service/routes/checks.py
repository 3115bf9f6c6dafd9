"""``POST /v1/checks``: one stack in, one report out."""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from service.examples import EXAMPLES
from service.representations import check_representations
from service.routes.posted import add_posted_route

__all__ = ["checks_router"]


def checks_router(assessor: Assessor) -> APIRouter:
    """The route, judging with this assessor."""
    router = APIRouter(tags=["checks"])
    add_posted_route(
        router,
        "/v1/checks",
        asked=CheckRequest,
        answered=Report,
        answer=assessor.assess,
        operation_id="check_stack",
        summary="Check a stack",
        description="Say whether a stack goes together, how true it will run and how fast it may turn.\n\n"
        "A pure function of the request: safe to repeat, and the same request gives the same bytes.\n\n"
        "By `Accept` the report is JSON, a page (`text/html`) or plain text (`text/plain`).",
        response_description="The stack was evaluated, whatever the verdict.",
        examples=EXAMPLES,
        representations=check_representations(assessor),
    )
    return router
