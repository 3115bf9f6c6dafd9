"""``POST`` routes for imports of components, exports of stacks and drawings."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from rules.assessor import Assessor
from rules.exchange.documents import read_document
from rules.exchange.tool_asset_export import EPOCH, TIMESTAMP_PATTERN
from rules.exchange.untrusted import UnreadableError
from rules.quantities.inch import UnitSystem, shown_in
from rules.schema.imports import ComponentKind, ImportFormat, ImportReport, Standard
from rules.schema.parsing import FaultCode, parse_request
from rules.schema.request import CheckRequest
from service.drawing.pictures import PictureName, picture_or_words
from service.examples import CSV_EXAMPLE, EXAMPLES, EXTENDED, XML_EXAMPLE
from service.http.answers import CSV, JSON, SVG, XML, YAML, json_answer, require_acceptable, require_body
from service.http.posted import ABOUT_UNIT, faults_placed, request_bodies, sent_value
from service.http.problem_answers import responses
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.operations.problems import ProblemError, ProblemPart
from service.operations.process import Exporter

__all__ = ["drawings_router", "exports_router", "imports_router"]


_TEXT_XML: Final = "text/xml"
_FORMATS: Final[dict[str, ImportFormat]] = {XML: "mtconnect_assets", _TEXT_XML: "mtconnect_assets", CSV: "csv"}

_ABOUT_IMPORTS: Final = """\
Read components from MTConnect assets (CuttingTool, CuttingToolArchetype; versions 1.2 to 2.x) or from CSV. Column heads
are ISO 13399 symbols, a few words of this service, or paths of component fields.

Nothing is guessed. The report lists values that no component field takes, with the reason, and fields that a check
needs but the document lacks. Document type declarations are rejected; nothing is fetched.

Stateless and safe to retry; identical requests return identical bytes.
"""


def imports_router() -> APIRouter:
    """The route."""
    router = APIRouter(tags=["imports"])

    @router.post(
        "/v1/imports",
        operation_id="import_components",
        summary="Import components",
        description=_ABOUT_IMPORTS,
        response_model=ImportReport,
        response_description="The document was read; faults lists the parts that are not components.",
        responses=_responses(),
        openapi_extra={"requestBody": {"required": True, "content": _bodies()}},
    )
    async def import_components(
        request: Request,
        kind: Annotated[
            ComponentKind | None,
            Query(description="Kind of the parts whose kind the document does not state.", examples=["extension"]),
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
    code: FaultCode = "syntax_error" if error.cause == "malformed" else "wrong_document"
    part = ProblemPart(code=code, detail=error.detail, at=[], line=error.line, column=error.column)
    return ProblemError(name, f"The document cannot be read: {error.detail}.", parts=[part])


def _bodies() -> dict[str, Any]:
    xml = {"schema": {"type": "string"}, "examples": {"archetype": {"summary": "Cutting tool", "value": XML_EXAMPLE}}}
    csv = {"schema": {"type": "string"}, "examples": {"table": {"summary": "Three parts", "value": CSV_EXAMPLE}}}
    return {XML: xml, _TEXT_XML: xml, CSV: csv}


def _responses() -> dict[int | str, dict[str, Any]]:
    reports = {
        name: {"summary": summary, "value": _report(text.encode(), form, None).model_dump_json()}
        for name, summary, text, form in (
            ("archetype", "Cutting tool", XML_EXAMPLE, _FORMATS[XML]),
            ("table", "Three parts, one with a fault", CSV_EXAMPLE, _FORMATS[CSV]),
        )
    }
    return {
        200: {"content": {JSON: {"examples": reports}}},
        **responses(
            "malformed-document",
            "malformed-gzip",
            "not-acceptable",
            "body-too-large",
            "unsupported-media-type",
            "invalid-request",
            "internal-fault",
            "too-busy",
            "took-too-long",
        ),
    }


_ABOUT_EXPORTS: Final = """\
Check a stack and return it as one MTConnect CuttingTool, with the overall figures of the check: length from the gauge
line to the tip, largest diameters, mass and governing speed limit.

Incomplete figures are left out. The definition contains the verdict; send a check for the reasons.

Identical requests return identical bytes; the caller sets the creation time.
"""


class XmlAnswer(Response):
    """An XML response."""

    media_type = XML


def exports_router(exporter: Exporter) -> APIRouter:
    """The router with this exporter."""
    router = APIRouter(tags=["exports"])
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}
    documents = {
        # JSON text, unpacked by service.http.openapi.describe.
        name: {"summary": one.summary, "value": json.dumps(exporter.export(parse_request(one.request)).decode())}
        for name, one in EXAMPLES.items()
    }
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {XML: {"schema": {"type": "string"}, "examples": documents}}},
        **responses(
            "malformed-json",
            "malformed-document",
            "malformed-gzip",
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
        summary="Export a stack as a CuttingTool",
        description=_ABOUT_EXPORTS,
        response_class=XmlAnswer,
        response_description="The stack was evaluated; see the verdict.",
        responses=known,
        openapi_extra=request_bodies(schema, requests, (JSON, YAML)),
    )
    async def export_stack(
        request: Request,
        timestamp: Annotated[
            str,
            Query(
                description="Creation time of the document, UTC.",
                pattern=TIMESTAMP_PATTERN,
                examples=["2027-03-01T08:00:00Z"],
            ),
        ] = EPOCH,
        standard: Annotated[Standard, Query(description="MTConnect version to write.", examples=["2.4"])] = "1.4",
    ) -> Response:
        require_acceptable(request, (XML,))
        sent = require_body(request, (JSON, YAML))
        body = await request.body()
        heavy = HeavyWork.of(request)

        def export() -> bytes:
            return exporter.export(parse_request(sent_value(body, sent)), timestamp=timestamp, standard=standard)

        with faults_placed(body, sent):
            light = sent == JSON and len(body) <= LIGHT_BYTES
            content = await (heavy.light_first(export) if light else heavy.threaded(export))
        return XmlAnswer(content, headers={"Cache-Control": "no-store", "Vary": "Accept"})

    return router


_ABOUT_DRAWINGS: Final = """\
Check a stack and draw it: a side view to scale with dimensions and findings, or a chart.

The SVG is self-contained: no scripts, no external resources, text description included. Without data to plot, it
contains a text saying so. Send a check for the figures.

Identical requests return identical bytes.
"""


_SHOWN: Final = 400


class SvgAnswer(Response):
    """An SVG response."""

    media_type = SVG


class DrawingQuery(BaseModel):
    """The query parameters; unknown names are rejected, so a misspelt one is not ignored."""

    model_config = ConfigDict(extra="forbid")

    picture: PictureName = Field(
        "stack",
        description="stack: side view; budget: runout by contributor; distribution: distribution of the runout; axis:"
        " runout along the axis; speed: speed limits.",
        examples=["budget"],
    )
    bent: Literal["true", "false"] = Field(
        "true", description="Whether the side view shows the runout of the axis.", examples=["false"]
    )
    unit: UnitSystem = Field("mm", description=ABOUT_UNIT, examples=["inch"])


def drawings_router(assessor: Assessor) -> APIRouter:
    """The router with the rulebooks of this assessor."""
    router = APIRouter(tags=["drawings"])

    def draw(request: CheckRequest, picture: PictureName, bent: bool) -> bytes:
        report, derived = assessor.assess_derived(request)
        return picture_or_words(picture, report, derived, bent=bent).encode()

    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}
    shown = draw(parse_request(EXAMPLES[EXTENDED].request), "stack", True).decode()
    begins = shown[:_SHOWN]
    # JSON text, unpacked by service.http.openapi.describe.
    pictures = {"begin": {"summary": "Beginning", "value": json.dumps(begins)}}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {SVG: {"schema": {"type": "string"}, "examples": pictures}}},
        **responses(
            "malformed-json",
            "malformed-document",
            "malformed-gzip",
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
        description=_ABOUT_DRAWINGS,
        response_class=SvgAnswer,
        response_description="The stack was evaluated; see the verdict.",
        responses=known,
        openapi_extra=request_bodies(schema, requests, (JSON, YAML)),
    )
    async def draw_stack(request: Request, asked: Annotated[DrawingQuery, Query()]) -> Response:
        require_acceptable(request, (SVG,))
        sent = require_body(request, (JSON, YAML))
        body = await request.body()

        def picture() -> bytes:
            with shown_in(asked.unit):
                return draw(parse_request(sent_value(body, sent)), asked.picture, asked.bent == "true")

        headers = {"Cache-Control": "no-store", "Vary": "Accept"}
        # in a thread: the distribution of very unequal contributors can take a second
        with faults_placed(body, sent):
            return SvgAnswer(await HeavyWork.of(request).threaded(picture), headers=headers)

    return router
