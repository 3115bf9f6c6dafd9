"""``POST /v1/checks``: one stack in, one report out."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from rules.assess import Assessor
from rules.model.report import Report
from rules.requests import parse_request
from service.answers import json_answer, shown
from service.examples import EXAMPLES
from service.negotiation import JSON, require_acceptable, require_json_body
from service.problem_responses import responses
from service.strict_json import parse_json

__all__ = ["checks_router"]


def checks_router(assessor: Assessor) -> APIRouter:
    """The route, judging with this assessor."""
    router = APIRouter(tags=["checks"])

    # Judged on the event loop: the work is a millisecond of pure computation under the interpreter's lock,
    # so a thread would bring nothing but the cost of handing over.
    @router.post(
        "/v1/checks",
        operation_id="check_stack",
        summary="Check a stack",
        response_model=Report,
        response_description="The stack was evaluated, whatever the verdict.",
        responses={
            200: _reports(assessor),
            **responses(
                "malformed-json",
                "not-acceptable",
                "body-too-large",
                "unsupported-media-type",
                "invalid-request",
                "internal-fault",
            ),
        },
        openapi_extra={"requestBody": _BODY},
    )
    async def check(request: Request) -> Response:
        """Say whether a stack goes together, how true it will run and how fast it may turn.

        A pure function of the request: safe to repeat, and the same request gives the same bytes.
        """
        require_acceptable(request)
        require_json_body(request)
        report = assessor.assess(parse_request(parse_json(await request.body())))
        return json_answer(report)

    return router


_BODY: dict[str, Any] = {
    "required": True,
    "content": {
        JSON: {
            "schema": {"$ref": "#/components/schemas/CheckRequest"},
            "examples": {
                name: {"summary": example.summary, "value": example.request} for name, example in EXAMPLES.items()
            },
        }
    },
}


def _reports(assessor: Assessor) -> dict[str, Any]:
    """What this assessor says of the example requests."""
    examples = {}
    for name, example in EXAMPLES.items():
        report = assessor.assess(parse_request(example.request))
        (told,) = shown(name, report)["content"][JSON]["examples"].values()
        examples[name] = {"summary": example.summary, **told}
    return {"content": {JSON: {"examples": examples}}}
