"""``POST /v1/imports``: a document in an open format in, components and all that was left over out."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request, Response

from rules.exchange.documents import read_document
from rules.exchange.untrusted import UnreadableError
from rules.schema.imports import ComponentKind, ImportFormat, ImportReport
from service.answers import json_answer
from service.import_examples import CSV_EXAMPLE, XML_EXAMPLE
from service.negotiation import CSV, JSON, XML, require_acceptable, require_body
from service.operations.heavy_work import HeavyWork
from service.operations.problems import ProblemError, ProblemPart
from service.problem_responses import responses

__all__ = ["imports_router"]

_TEXT_XML: Final = "text/xml"
_FORMATS: Final[dict[str, ImportFormat]] = {XML: "mtconnect_assets", _TEXT_XML: "mtconnect_assets", CSV: "csv"}

_ABOUT: Final = """\
Read components from MTConnect assets (CuttingTool, CuttingToolArchetype; versions 1.2 to 2.x) or from CSV whose
heads are symbols of ISO 13399, a few words of our own, or fields of a component by their path.

Nothing is guessed: what has no place in a component is listed with its reason, and what a check will ask and the
document does not say is listed as not stated. A document type declaration is refused, and nothing is ever fetched.
A pure function of the document: safe to repeat, and nothing is kept.
"""


def imports_router() -> APIRouter:
    """The route."""
    router = APIRouter(tags=["imports"])

    @router.post(
        "/v1/imports",
        operation_id="import_components",
        summary="Read components from an open format",
        description=_ABOUT,
        response_model=ImportReport,
        response_description="The document was read, whatever it holds; see faults for what became no component.",
        responses=_responses(),
        openapi_extra={"requestBody": {"required": True, "content": _bodies()}},
    )
    async def import_components(
        request: Request,
        kind: Annotated[
            ComponentKind | None,
            Query(description="What those pieces are of which the document does not say it.", examples=["extension"]),
        ] = None,
    ) -> Response:
        require_acceptable(request)
        form = _FORMATS[require_body(request, tuple(_FORMATS))]
        data = await request.body()
        return json_answer(await HeavyWork.of(request).threaded(lambda: _report(data, form, kind)))

    return router


def _report(data: bytes, form: ImportFormat, kind: ComponentKind | None) -> ImportReport:
    try:
        return read_document(data, form, kind).report()
    except UnreadableError as error:
        raise _problem(error) from None


def _problem(error: UnreadableError) -> ProblemError:
    name = "malformed-document" if error.cause == "malformed" else "invalid-request"
    part = ProblemPart(detail=error.detail, pointer=None, line=error.line, column=error.column)
    parts = [part] if error.line is not None else []
    return ProblemError(name, f"The document can't be read: {error.detail}.", parts=parts)


def _bodies() -> dict[str, Any]:
    xml = {"schema": {"type": "string"}, "examples": {"archetype": {"summary": "A cutter", "value": XML_EXAMPLE}}}
    csv = {"schema": {"type": "string"}, "examples": {"table": {"summary": "Three pieces", "value": CSV_EXAMPLE}}}
    return {XML: xml, _TEXT_XML: xml, CSV: csv}


def _responses() -> dict[int | str, dict[str, Any]]:
    reports = {
        name: {"summary": summary, "value": _report(text.encode(), form, None).model_dump_json()}
        for name, summary, text, form in (
            ("archetype", "A cutter", XML_EXAMPLE, _FORMATS[XML]),
            ("table", "Three pieces, one with a fault", CSV_EXAMPLE, _FORMATS[CSV]),
        )
    }
    return {
        200: {"content": {JSON: {"examples": reports}}},
        **responses(
            "malformed-document",
            "not-acceptable",
            "body-too-large",
            "unsupported-media-type",
            "invalid-request",
            "internal-fault",
            "too-busy",
            "took-too-long",
        ),
    }
