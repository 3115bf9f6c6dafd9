"""``POST /v1/gates`` and ``POST /v1/gates/verify``: a work order in, a decision out; and is it still the same?"""

from __future__ import annotations

from fastapi import APIRouter

from rules.assessor import Assessor
from rules.gate.gate import gate, verify
from rules.schema.gate import MAX_OPERATIONS, GateReport, GateRequest, GateVerification, GateVerificationReport
from service.gate_examples import GATE_EXAMPLES, verification_examples
from service.routes.posted import add_posted_route

__all__ = ["gates_router"]


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
