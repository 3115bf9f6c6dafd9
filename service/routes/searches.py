"""``POST /v1/searches``: an inventory and a requirement in, the stacks that go together and do the job out."""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.schema.search import MAX_INVENTORY, MAX_SEARCH_LENGTH, SearchReport, SearchRequest
from rules.search.search import search
from service.routes.posted import add_posted_route
from service.search_examples import SEARCH_EXAMPLES

__all__ = ["searches_router"]


def searches_router(assessor: Assessor) -> APIRouter:
    """The route, judging with this assessor."""
    router = APIRouter(tags=["searches"])

    def answer(request: SearchRequest) -> SearchReport:
        return search(request, assessor)

    add_posted_route(
        router,
        "/v1/searches",
        asked=SearchRequest,
        answered=SearchReport,
        answer=answer,
        operation_id="search_stacks",
        summary="Search an inventory",
        description=f"Find every stack of up to {MAX_SEARCH_LENGTH} components, out of up to {MAX_INVENTORY} in the"
        " inventory, that goes together, reaches, keeps clear and is not refused by a check; ranked, each with the"
        " request of its check. A part, joint or knob that an error of the rules refuses whatever stands around it is"
        " given up at once, and counted by that rule, so the cost follows what fits and not what is on the shelf.\n\n"
        "An answer is a page: when its share of work is done it carries a `continuation`, to be sent with the same"
        " request. The pages together are the whole and overlap nowhere; each is ranked by itself, and `rank_key`"
        " merges them. A token of another request, other rulebooks, another catalogue or another version is refused"
        " with 409. Nothing is kept here.\n\n"
        "Where nothing is found, `cut`, `refused_by` and `nearest` say what stands against it. A pure function of the"
        " request: safe to repeat, and the same request gives the same bytes.",
        response_description="The inventory was searched, whether or not anything was found.",
        examples=SEARCH_EXAMPLES,
        in_thread=True,
        problems=("stale-continuation",),
    )
    return router
