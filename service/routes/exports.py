"""``POST /v1/exports``: a check's request in, its stack as one CuttingTool document out."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request, Response

from rules.exchange.tool_asset_export import EPOCH, TIMESTAMP_PATTERN, Standard
from rules.schema.parsing import parse_request
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from service.examples import EXAMPLES
from service.negotiation import JSON, XML, require_acceptable, require_json_body
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.operations.process import Exporter
from service.problem_responses import responses

__all__ = ["exports_router"]

_ABOUT: Final = """\
Check a stack and give it as one CuttingTool of MTConnect, with what the check knows of the whole: the length from the
gauge line to the tip, the largest diameters, the mass and the speed that governs.

Figures that are not complete are left out, and the verdict stands in the definition: ask for a check to learn why.
The same request gives the same bytes; the time is the caller's.
"""


class XmlAnswer(Response):
    """An answer in XML."""

    media_type = XML


def exports_router(exporter: Exporter) -> APIRouter:
    """The route, judging with what this exporter judges with."""
    router = APIRouter(tags=["exports"])
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}
    documents = {
        # As JSON text, which the making of the OpenAPI document unpacks.
        name: {"summary": one.summary, "value": json.dumps(exporter.export(parse_request(one.request)).decode())}
        for name, one in EXAMPLES.items()
    }
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {XML: {"schema": {"type": "string"}, "examples": documents}}},
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
        "/v1/exports",
        operation_id="export_cutting_tool",
        summary="Give a checked stack as a CuttingTool",
        description=_ABOUT,
        response_class=XmlAnswer,
        response_description="The stack was evaluated, whatever the verdict.",
        responses=known,
        openapi_extra={"requestBody": {"required": True, "content": {JSON: {"schema": schema, "examples": requests}}}},
    )
    async def export_stack(
        request: Request,
        timestamp: Annotated[
            str,
            Query(
                description="Time of the document, in UTC.",
                pattern=TIMESTAMP_PATTERN,
                examples=["2027-03-01T08:00:00Z"],
            ),
        ] = EPOCH,
        standard: Annotated[Standard, Query(description="Version of the standard to write.", examples=["2.4"])] = "1.4",
    ) -> Response:
        require_acceptable(request, (XML,))
        require_json_body(request)
        body = await request.body()
        heavy = HeavyWork.of(request)

        def export() -> bytes:
            return exporter.export(parse_request(parse_json(body)), timestamp=timestamp, standard=standard)

        content = await (heavy.threaded(export) if len(body) > LIGHT_BYTES else heavy.light_first(export))
        return XmlAnswer(content, headers={"Cache-Control": "no-store", "Vary": "Accept"})

    return router
