"""``POST /v1/budgets``: the whole runout budget of one stack."""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.schema.budget import BudgetReport, BudgetRequest
from service.budget_examples import BUDGET_EXAMPLES
from service.routes.posted import add_posted_route

__all__ = ["budgets_router"]


def budgets_router(assessor: Assessor) -> APIRouter:
    """The route; it shares the rulebooks of this assessor."""
    router = APIRouter(tags=["checks"])

    def answer(request: BudgetRequest) -> BudgetReport:
        return full_budget(request, assessor.book, assessor.catalogue)

    add_posted_route(
        router,
        "/v1/budgets",
        asked=BudgetRequest,
        answered=BudgetReport,
        answer=answer,
        operation_id="runout_budget",
        summary="The whole runout budget",
        description="Any plane, every contributor's part in it, what halving it would bring, which seat to clean twice,"
        " what turning joints can reach, and what each part must keep to reach a target.\n\n"
        "A pure function of the request: safe to repeat, and the same request gives the same bytes.",
        response_description="The budget, as far as the contributors are stated.",
        examples=BUDGET_EXAMPLES,
        in_thread=True,
    )
    return router
