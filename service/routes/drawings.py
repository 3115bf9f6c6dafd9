"""``POST /v1/drawings``: a check's request in, a picture of its stack out."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from service.drawing.pictures import PictureName, picture_or_words
from service.examples import EXAMPLES, EXTENDED
from service.negotiation import JSON, SVG, require_acceptable, require_json_body
from service.operations.heavy_work import HeavyWork
from service.problem_responses import responses

__all__ = ["drawings_router"]

_ABOUT: Final = """\
Check a stack and draw it: a side view to scale with dimensions and findings where they are, or one of the plots.

A picture stands alone: no script, nothing fetched, text alternatives inside. Where there is nothing to show it says
so in words. Ask for a check to read the figures.
The same request gives the same bytes.
"""


class SvgAnswer(Response):
    """An answer in SVG."""

    media_type = SVG


class DrawingQuery(BaseModel):
    """What is asked in the query; a misspelt name is refused, so that it never passes for the default."""

    model_config = ConfigDict(extra="forbid")

    picture: PictureName = Field(
        "stack",
        description="stack: the side view; budget: what each contributor adds; distribution: how likely which reading"
        " is; axis: runout along the axis; speed: what limits the speed.",
        examples=["budget"],
    )
    bent: Literal["true", "false"] = Field(
        "true", description="Whether the side view shows how the contributors bend the axis.", examples=["false"]
    )


def drawings_router(assessor: Assessor) -> APIRouter:
    """The route; it shares the rulebooks of this assessor."""
    router = APIRouter(tags=["drawings"])

    def draw(request: CheckRequest, picture: PictureName, bent: bool) -> bytes:
        report, derived = assessor.assess_derived(request)
        return picture_or_words(picture, report, derived, bent=bent).encode()

    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}
    shown = draw(parse_request(EXAMPLES[EXTENDED].request), "speed", True).decode()
    # As JSON text, which the making of the OpenAPI document unpacks.
    pictures = {"speed": {"summary": "The limits of the speed of the first example", "value": json.dumps(shown)}}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {SVG: {"schema": {"type": "string"}, "examples": pictures}}},
        **responses(
            "malformed-json",
            "not-acceptable",
            "body-too-large",
            "unsupported-media-type",
            "invalid-request",
            "internal-fault",
            "too-busy",
            "took-too-long",
        ),
    }
    schema = {"$ref": f"#/components/schemas/{CheckRequest.__name__}"}

    @router.post(
        "/v1/drawings",
        operation_id="draw_stack",
        summary="Draw a stack",
        description=_ABOUT,
        response_class=SvgAnswer,
        response_description="The stack was evaluated, whatever the verdict.",
        responses=known,
        openapi_extra={"requestBody": {"required": True, "content": {JSON: {"schema": schema, "examples": requests}}}},
    )
    async def draw_stack(request: Request, asked: Annotated[DrawingQuery, Query()]) -> Response:
        require_acceptable(request, (SVG,))
        require_json_body(request)
        body = await request.body()

        def picture() -> bytes:
            return draw(parse_request(parse_json(body)), asked.picture, asked.bent == "true")

        headers = {"Cache-Control": "no-store", "Vary": "Accept"}
        # in a thread, since the law of very unequal contributors can take a second
        return SvgAnswer(await HeavyWork.of(request).threaded(picture), headers=headers)

    return router
