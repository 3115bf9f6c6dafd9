"""``POST /v1/comparisons``: alternatives for one operation in, one report out."""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.comparison import compare
from rules.schema.comparison import MAX_IN_ALL_PAIRS, ComparisonReport, ComparisonRequest
from service.comparison_examples import COMPARISON_EXAMPLES
from service.routes.posted import add_posted_route

__all__ = ["comparisons_router"]


def comparisons_router(assessor: Assessor) -> APIRouter:
    """The route, judging with this assessor."""
    router = APIRouter(tags=["checks"])

    def answer(request: ComparisonRequest) -> ComparisonReport:
        return compare(request, assessor)

    add_posted_route(
        router,
        "/v1/comparisons",
        asked=ComparisonRequest,
        answered=ComparisonReport,
        answer=answer,
        operation_id="compare_stacks",
        summary="Compare alternatives",
        description="Judge up to fifty stacks for one operation, say by which criterion each wins or loses, which of"
        " them no other dominates, and how likely each reads less than another.\n\n"
        f"Up to {MAX_IN_ALL_PAIRS} alternatives are set against each other in every pair, more of them each against the"
        " first. A pure function of the request: safe to repeat, and the same request gives the same bytes.",
        response_description="The alternatives were compared, whatever their verdicts.",
        examples=COMPARISON_EXAMPLES,
        in_thread=True,
    )
    return router
