"""``POST /v1/checks``: one stack in, one report out.

``POST /v1/budgets``: the whole runout budget of one stack.

``POST /v1/readings``: what the dial showed in, what it tells and what to do next out.

``POST /v1/comparisons``: alternatives for one operation in, one report out.

``POST /v1/gates`` and ``POST /v1/gates/verify``: a work order in, a decision out; and is it still the same?

``POST /v1/searches``: an inventory and a requirement in, the stacks that go together and do the job out.
"""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.comparison import compare
from rules.gate.gate import gate, verify
from rules.reading.reading import read_gauge
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.comparison import MAX_IN_ALL_PAIRS, ComparisonReport, ComparisonRequest
from rules.schema.gate import MAX_OPERATIONS, GateReport, GateRequest, GateVerification, GateVerificationReport
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.schema.search import MAX_INVENTORY, MAX_SEARCH_LENGTH, SearchReport, SearchRequest
from rules.search.search import search
from service.examples import (
    BUDGET_EXAMPLES,
    COMPARISON_EXAMPLES,
    EXAMPLES,
    GATE_EXAMPLES,
    READING_EXAMPLES,
    SEARCH_EXAMPLES,
    verification_examples,
)
from service.http.posted import add_posted_route, check_representations

__all__ = [
    "budgets_router",
    "checks_router",
    "comparisons_router",
    "gates_router",
    "readings_router",
    "searches_router",
]


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


def gates_router(assessor: Assessor) -> APIRouter:
    """The routes, judging with this assessor."""
    router = APIRouter(tags=["gates"])

    def decide(request: GateRequest) -> GateReport:
        return gate(request, assessor)

    def decide_anew(request: GateVerification) -> GateVerificationReport:
        return verify(request, assessor)

    add_posted_route(
        router,
        "/v1/gates",
        asked=GateRequest,
        answered=GateReport,
        answer=decide,
        operation_id="gate_order",
        summary="Release, hold or stop a work order",
        description=f"Judge the tools of up to {MAX_OPERATIONS} operations and decide: release, hold or stop, with"
        " reasons for each operation, the result evaluation of OPC 40001-101 beside it, and the caller's context back"
        " untouched.\n\n"
        "It fails closed: what is not stated is not judged by a check, so an operation that leaves out what a gate"
        " requires is held. Whatever is answered but a 200 with the decision 'release' is no release.\n\n"
        "The digest lets a caller store the decision and verify it later; nothing is stored here. A pure function of"
        " the request: safe to repeat, and the same request gives the same bytes.",
        response_description="The order was decided on, whatever the decision.",
        examples=GATE_EXAMPLES,
        in_thread=True,
    )
    add_posted_route(
        router,
        "/v1/gates/verify",
        asked=GateVerification,
        answered=GateVerificationReport,
        answer=decide_anew,
        operation_id="verify_gate",
        summary="Verify a stored decision",
        description="Decide anew on the order as it was sent and say whether the stored digest is reproduced, and what"
        " differs from what else was stored.\n\n"
        "A pure function of the request: nothing but the digest ties it to the decision made then.",
        response_description="The decision was made anew, whether or not it is the stored one.",
        examples=verification_examples(assessor),
        in_thread=True,
    )
    return router


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
