"""``POST`` routes for imports of components, exports of stacks, drawings, and requests in another notation."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from functools import partial
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import to_json

from rules.assessor import Assessor
from rules.exchange.documents import format_of, read_document, read_import_map
from rules.exchange.imported import NO_OPTIONS, ImportOptions
from rules.exchange.tool_asset_export import EPOCH, TIMESTAMP_PATTERN
from rules.exchange.untrusted import UnreadableError
from rules.quantities.inch import UnitSystem, shown_in
from rules.schema.import_map import IMPORT_MAP_SCHEMA_PATH, ImportMap
from rules.schema.imports import ComponentKind, Decimals, ImportFormat, ImportReport, ReadAs, Standard
from rules.schema.parsing import BadRequestError, FaultCode, parse_request
from rules.schema.request import CheckRequest
from rules.schema.short_form import NotYAMLError, full_form, read_yaml, written_yaml
from rules.schema.strict_json import NotJSONError, parse_json
from service.drawing.dimensions import RequestFields
from service.drawing.pictures import PictureName, picture_or_words
from service.examples import CSV_EXAMPLE, EXAMPLES, EXTENDED, P21_EXAMPLE, XML_EXAMPLE
from service.http.answers import (
    CSV,
    JSON,
    P21,
    STEP,
    SVG,
    XML,
    YAML,
    ZIP,
    Later,
    json_bytes,
    readable_answer,
    require_acceptable,
    require_body,
)
from service.http.form_data import FORM, boundary_of, form_parts
from service.http.posted import (
    ABOUT_UNIT,
    MAX_YAML_BYTES,
    Made,
    Task,
    faults_placed,
    request_bodies,
    sent_body,
    sent_value,
)
from service.http.problem_answers import responses
from service.operations.assessors import RecordingAssessor
from service.operations.heavy_work import HeavyWork
from service.operations.problems import ProblemError, ProblemPart
from service.operations.process import Exporter

__all__ = [
    "DRAWINGS",
    "EXPORTS",
    "IMPORTS",
    "LARGE_IMPORTS",
    "REQUESTS",
    "draw",
    "drawings_router",
    "export",
    "exports_router",
    "imports_router",
    "read",
    "requests_router",
    "rewrite",
]


_TEXT_XML: Final = "text/xml"
_FORMATS: Final[dict[str, ImportFormat]] = {
    XML: "mtconnect_assets",
    _TEXT_XML: "mtconnect_assets",
    CSV: "csv",
    P21: "iso_13399",
    STEP: "iso_13399",
    ZIP: "iso_13399_package",
}
LARGE_IMPORTS: Final = (P21, STEP, ZIP, FORM)
"""Media types with a limit of their own, since these documents are long."""

_UNKNOWN: Final = frozenset({"", "application/octet-stream"})
"""Media types that a client sends for a file it does not know."""

IMPORTS: Final = "/v1/imports"
EXPORTS: Final = "/v1/exports"
DRAWINGS: Final = "/v1/drawings"
REQUESTS: Final = "/v1/requests"

_PROBLEMS_OF_REQUESTS: Final = (
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
)
"""Of a route that reads a check request in JSON or YAML."""

_ABOUT_IMPORTS: Final = f"""\
Read components and assembled tools from MTConnect assets (CuttingTool, CuttingToolArchetype; versions 1.2 to 2.x,
bare or in an envelope); components from CSV or from XML with DIN 4000 property names; components and ready stacks from
ISO 13399 data, an exchange file (ISO 10303-21) or a ZIP package of them with its assortment. Heads of a table are ISO
13399 symbols, a closed list of words, or paths of fields; a unit in brackets holds for bare numbers.

What no document says, the operator's map does: what connection codes, classes, items, heads and DIN 4000 names mean.
Send `document` and `map` (JSON or YAML, schema at {IMPORT_MAP_SCHEMA_PATH}) as a form.

A wrong cell is listed under `rejected`, and the component comes without it; a row without id or kind is a fault.

Nothing is guessed. The report lists values that no component field takes, with the reason, and fields that a check
needs but the document lacks. Document type declarations are rejected; nothing is fetched.

Stateless and safe to retry; identical requests return identical bytes.
"""


def imports_router() -> APIRouter:
    """The route."""
    router = APIRouter(tags=["imports"])

    @router.post(
        IMPORTS,
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
        read_as: Annotated[
            ReadAs | None,
            Query(
                alias="as",
                description="What a CuttingTool is that may be a cutting tool alone or an assembled tool.",
                examples=["assembled"],
            ),
        ] = None,
        decimal: Annotated[
            Decimals,
            Query(description="Decimal sign of a table; a comma needs another separator.", examples=["point"]),
        ] = "point",
        strict: Annotated[
            Literal["true", "false"],
            Query(description="'true' if a wrong cell is a fault of its row.", examples=["true"]),
        ] = "false",
    ) -> Response:
        require_acceptable(request)
        sent = require_body(request, (*_FORMATS, FORM))
        boundary = boundary_of(request.headers["content-type"]) if sent == FORM else None
        options = ImportOptions(kind, read_as, decimal, strict == "true")
        task = Task(IMPORTS, await request.body(), (_FORMATS.get(sent), options, boundary))
        made = await HeavyWork.of(request).answer(request, task, lambda: read(task), len(task.body), uncounted=True)
        return json_bytes(made.content)

    return router


def read(task: Task) -> Made:
    """The report on a document; task options: its format, what the caller says about it, the boundary of a form."""
    form, options, boundary = task.options
    if boundary is None:
        return Made(to_json(_report(task.body, form, options)))
    parts = form_parts(task.body, boundary, ("document", "map"))
    if "document" not in parts:
        raise ProblemError("malformed-document", "The form cannot be read: it has no field document.")
    sent, data = parts["document"]
    if sent not in _FORMATS and sent not in _UNKNOWN:
        detail = f"The Content-Type of the document must be {' or '.join(_FORMATS)}."
        raise ProblemError("unsupported-media-type", detail)
    if "map" in parts:
        options = replace(options, map=_map(parts["map"].content))
    return Made(to_json(_report(data, _FORMATS.get(sent) or format_of(data), options)))


def _map(data: bytes) -> ImportMap:
    if len(data) > MAX_YAML_BYTES and not data.lstrip().startswith(b"{"):
        raise ProblemError("body-too-large", f"A map in YAML may have {MAX_YAML_BYTES} bytes; send JSON.")
    try:
        return read_import_map(data)
    except BadRequestError as error:
        raise BadRequestError(fault.under("/map") for fault in error.faults) from None
    except NotYAMLError as error:
        raise NotYAMLError(f"in the map, {error.detail}", error.line, error.column, error.code) from None
    except NotJSONError as error:
        place = None if error.pointer is None else f"/map{error.pointer}"
        detail = f"in the map, {error.detail}"
        raise NotJSONError(detail, line=error.line, column=error.column, pointer=place, code=error.code) from None


def _report(data: bytes, form: ImportFormat, options: ImportOptions) -> ImportReport:
    try:
        return read_document(data, form, options).report()
    except UnreadableError as error:
        raise _problem(error) from None


def _shown_report(text: str, form: ImportFormat) -> str:
    return _report(text.encode(), form, NO_OPTIONS).model_dump_json()


def _problem(error: UnreadableError) -> ProblemError:
    name = "malformed-document" if error.cause == "malformed" else "invalid-request"
    code: FaultCode = "syntax_error" if error.cause == "malformed" else "wrong_document"
    part = ProblemPart(code=code, detail=error.detail, at=[], line=error.line, column=error.column)
    return ProblemError(name, f"The document cannot be read: {error.detail}.", parts=[part])


def _bodies() -> dict[str, Any]:
    xml = {"schema": {"type": "string"}, "examples": {"archetype": {"summary": "Cutting tool", "value": XML_EXAMPLE}}}
    csv = {"schema": {"type": "string"}, "examples": {"table": {"summary": "Three parts", "value": CSV_EXAMPLE}}}
    p21 = {"schema": {"type": "string"}, "examples": {"item": {"summary": "One end mill", "value": P21_EXAMPLE}}}
    binary = {"schema": {"type": "string", "format": "binary"}}
    part: dict[str, Any] = {"type": "string", "format": "binary"}
    fields = {
        "type": "object",
        "properties": {"document": part, "map": {**part, "description": "The operator's map."}},
        "required": ["document"],
    }
    sent = {"document": "ISO-10303-21; ...", "map": '{"kinds": {"KB-N25-10": "collet"}}'}
    form = {"both": {"summary": "Exchange file and map", "value": sent}}
    return {
        XML: xml,
        _TEXT_XML: xml,
        CSV: csv,
        P21: p21,
        STEP: p21,
        ZIP: binary,
        FORM: {"schema": fields, "examples": form},
    }


def _responses() -> dict[int | str, dict[str, Any]]:
    reports = {
        name: {"summary": summary, "value": Later(partial(_shown_report, text, form))}
        for name, summary, text, form in (
            ("archetype", "Cutting tool", XML_EXAMPLE, _FORMATS[XML]),
            ("table", "Three parts, one with a wrong cell", CSV_EXAMPLE, _FORMATS[CSV]),
            ("item", "One end mill", P21_EXAMPLE, _FORMATS[P21]),
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
    # one is enough in the contract
    shown = EXAMPLES[EXTENDED]
    written = Later(lambda: json.dumps(exporter.export(parse_request(shown.request)).decode()))
    documents = {EXTENDED: {"summary": shown.summary, "value": written}}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {XML: {"schema": {"type": "string"}, "examples": documents}}},
        **responses(*_PROBLEMS_OF_REQUESTS),
    }
    schema = {"$ref": f"#/components/schemas/{CheckRequest.__name__}"}

    @router.post(
        EXPORTS,
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
        sent, body = await sent_body(request, (JSON, YAML))
        task = Task(EXPORTS, body, (timestamp, standard), sent)
        made = await HeavyWork.of(request).answer(
            request, task, lambda: export(exporter, task), len(body), uncounted=sent == YAML
        )
        return XmlAnswer(made.content, headers={"Cache-Control": "no-store", "Vary": "Accept"})

    return router


def export(exporter: Exporter, task: Task) -> Made:
    """The document of a stack; the options are its time and the version to write."""
    timestamp, standard = task.options
    recording = RecordingAssessor(exporter.assessor)
    with faults_placed(task):
        request = parse_request(sent_value(task))
        content = Exporter(recording).export(request, timestamp=timestamp, standard=standard)
    return Made(content, recording.judged)


_ABOUT_DRAWINGS: Final = """\
Check a stack and draw it: a side view to scale with dimensions and findings, or a chart.

The SVG is self-contained: no scripts, no external resources, text description included. Without data to plot, it
contains a text saying so. Send a check for the figures. In the side view a dimension that one field of the request
states has its JSON Pointer in `data-field`.

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

    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}

    def begin() -> str:
        drawing = _drawn(assessor, EXAMPLES[EXTENDED].request, "stack", bent=True)
        return json.dumps(drawing.decode()[:_SHOWN])

    pictures = {"begin": {"summary": "Beginning", "value": Later(begin)}}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {SVG: {"schema": {"type": "string"}, "examples": pictures}}},
        **responses(*_PROBLEMS_OF_REQUESTS),
    }
    schema = {"$ref": f"#/components/schemas/{CheckRequest.__name__}"}

    @router.post(
        DRAWINGS,
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
        sent, body = await sent_body(request, (JSON, YAML))
        task = Task(DRAWINGS, body, (asked.picture, asked.bent == "true", asked.unit), sent)
        made = await HeavyWork.of(request).answer(
            request, task, lambda: draw(assessor, task), len(body), uncounted=True
        )
        return SvgAnswer(made.content, headers={"Cache-Control": "no-store", "Vary": "Accept"})

    return router


def draw(assessor: Assessor, task: Task) -> Made:
    """The picture of a stack; the options are its name, whether it is bent, and the units."""
    picture, bent, unit = task.options
    recording = RecordingAssessor(assessor)
    with shown_in(unit), faults_placed(task):
        return Made(_drawn(recording, sent_value(task), picture, bent=bent), recording.judged)


def _drawn(assessor: Assessor, document: Any, picture: PictureName, *, bent: bool) -> bytes:
    request = parse_request(document)
    report, derived = assessor.assess_derived(request)
    fields = RequestFields.of(document, request, assessor.catalogue.definitions)
    return picture_or_words(picture, report, derived, bent=bent, fields=fields).encode()


_ABOUT_REQUESTS: Final = """\
Read a check request in JSON, or in YAML with its short form, and return its full form in JSON or YAML. Nothing is
judged.

It is read as a check reads it, and faults have the same places. A length in JSON that is text with a unit stays as it
is; in YAML quantities become numbers. Comments are lost.
"""


class RequestQuery(BaseModel):
    """The query parameters."""

    model_config = ConfigDict(extra="forbid")

    form: Literal["full", "draft", "plain"] = Field(
        "full",
        description="full: the full form of a valid request; draft: the same of a request that may still have faults;"
        " plain: the values as written, of a request to any route.",
        examples=["draft"],
    )


def requests_router() -> APIRouter:
    """The router."""
    router = APIRouter(tags=["checks"])
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in EXAMPLES.items()}
    schema = {"$ref": f"#/components/schemas/{CheckRequest.__name__}"}
    shown = EXAMPLES[EXTENDED]
    full = {
        # not the schema of requests: what they may hold grows, and an answer must not
        "schema": {"description": "A check request (CheckRequest); in another form than full, whatever was sent."},
        "examples": {EXTENDED: {"summary": shown.summary, "value": Later(lambda: _compact(shown.request).decode())}},
    }
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {JSON: full, YAML: copy.deepcopy(full)}},
        **responses(*_PROBLEMS_OF_REQUESTS),
    }

    @router.post(
        REQUESTS,
        operation_id="read_request",
        summary="Read a request",
        description=_ABOUT_REQUESTS,
        response_class=Response,
        response_description="The request was read.",
        responses=known,
        openapi_extra=request_bodies(schema, requests, (JSON, YAML)),
    )
    async def read_request(request: Request, asked: Annotated[RequestQuery, Query()]) -> Response:
        chosen = require_acceptable(request, (JSON, YAML))
        sent, body = await sent_body(request, (JSON, YAML))
        task = Task(REQUESTS, body, (chosen, asked.form), sent)
        made = await HeavyWork.of(request).answer(
            request, task, lambda: rewrite(task), len(body), uncounted=YAML in (sent, chosen)
        )
        return json_bytes(made.content) if chosen == JSON else readable_answer(made.content, YAML)

    return router


def _compact(value: Any) -> bytes:
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":")).encode()


def rewrite(task: Task) -> Made:
    """A request in the notation that is wanted; the options are its media type, and the form."""
    wanted, form = task.options
    value = parse_json(task.body) if task.sent == JSON else read_yaml(task.body)
    if form != "plain" and task.sent == YAML:
        with faults_placed(task):
            value = full_form(value, draft=form == "draft")
    if form == "full":
        with faults_placed(task):
            parse_request(value)
    try:
        # YAML may hold what JSON here cannot: a number beyond a double, half of a surrogate pair
        text = _compact(value)
        if task.sent == YAML:
            parse_json(text)
    except ValueError:
        raise NotYAMLError("a number is too large for a double, or a text holds half of a surrogate pair") from None
    return Made(text if wanted == JSON else written_yaml(value))
