"""Routes that take a JSON body and return a computed report as JSON, HTML page or plain text.

Routes about one stack take YAML in the short form, too (RFC 9512).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Any, Final, Generic, TypeAlias, TypeVar

from fastapi import APIRouter, Query, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel
from starlette.requests import ClientDisconnect

from rules.assessor import Assessor
from rules.calibration.calibrating import calibrate
from rules.quantities.inch import UnitSystem, shown_in
from rules.schema.calibration import CalibrationRequest
from rules.schema.parsing import BadRequestError, parse
from rules.schema.request import CheckRequest
from rules.schema.short_form import full_form, placed, read_yaml
from rules.schema.strict_json import parse_json
from service.contract import PageName
from service.examples import RequestExample
from service.http.answers import (
    HTML,
    JSON,
    TEXT,
    YAML,
    json_answer,
    readable_answer,
    require_acceptable,
    require_body,
)
from service.http.problem_answers import responses
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.operations.problems import NOTES, ProblemError
from service.sheets.check import report_text
from service.sheets.page import calibration_page, report_page
from service.sheets.questions import calibration_text
from service.sheets.sheet import sheet_page
from service.sheets.text import PLAIN_WIDTH

__all__ = [
    "ABOUT_UNIT",
    "MAX_YAML_BYTES",
    "add_posted_route",
    "calibration_representations",
    "check_representations",
    "check_sheet",
    "faults_placed",
    "posted_routes",
    "request_bodies",
    "sent_value",
]

MAX_YAML_BYTES: Final = 64 * 1024
"""Longest body in YAML, which takes a hundred times as long to read as JSON: at most a second."""


def sent_value(body: bytes, media_type: str) -> Any:
    """Return the value of a body in JSON, or in YAML in the full form.

    Raises
    ------
    NotJSONError, NotYAMLError, BadRequestError, ProblemError
        The last for YAML that is too long.
    """
    if media_type == JSON:
        return parse_json(body)
    if len(body) > MAX_YAML_BYTES:
        raise ProblemError("body-too-large", f"A body in YAML may have {MAX_YAML_BYTES} bytes; send JSON.")
    return full_form(read_yaml(body))


ABOUT_UNIT: Final = "Units of text, page and drawing; JSON is always metric."


@contextmanager
def faults_placed(body: bytes, media_type: str) -> Iterator[None]:
    """Raise the faults of a body in YAML with their lines."""
    try:
        yield
    except BadRequestError as error:
        raise (placed(error, body) if media_type == YAML else error) from None


def request_bodies(schema: Mapping[str, Any], examples: Mapping[str, Any], taken: Sequence[str]) -> dict[str, Any]:
    """Return the OpenAPI request body of a route that takes these media types; only the first has all examples."""
    first = dict([next(iter(examples.items()))])
    content = {one: {"schema": schema, "examples": examples if one == taken[0] else first} for one in taken}
    return {"requestBody": {"required": True, "content": content}}


async def whole_body(request: Request) -> bytes:
    """The complete request body; raises :class:`ClientDisconnect` if the client leaves first."""
    pieces: list[bytes] = []
    while True:
        message = await request.receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        piece: bytes = message.get("body", b"")
        if not message.get("more_body", False):
            return b"".join((*pieces, piece)) if pieces else piece
        pieces.append(piece)


Asked = TypeVar("Asked", bound=BaseModel)

Unit: TypeAlias = Annotated[UnitSystem, Query(description=ABOUT_UNIT, examples=["inch"])]

_SHOWN_LINES: Final = 5


@dataclass(frozen=True, slots=True)
class Representation(Generic[Asked]):
    """A response format other than JSON."""

    text: Callable[[Asked], str]
    description: str

    def made(self, asked: Asked, unit: UnitSystem) -> str:
        """Return the response in these units."""
        with shown_in(unit):
            return self.text(asked)

    def described(self, example: Asked) -> dict[str, Any]:
        """The content of an OpenAPI response: a string, with the first lines for this request as example."""
        begins = "".join(self.text(example).splitlines(keepends=True)[:_SHOWN_LINES])
        # JSON text, see service.http.answers.shown.
        shown = {"summary": "First lines", "value": json.dumps(begins)}
        return {"schema": {"type": "string", "description": self.description}, "examples": {"begin": shown}}


def check_representations(assessor: Assessor) -> Mapping[str, Representation[CheckRequest]]:
    """The formats other than JSON by media type, with this assessor."""

    def page(asked: CheckRequest) -> str:
        return report_page(*assessor.assess_instructed(asked))

    def text(asked: CheckRequest) -> str:
        return report_text(assessor.assess(asked))

    about_page = "Self-contained page for screen and print, always with the work instruction."
    about_text = f"The report as plain text, in lines of at most {PLAIN_WIDTH} characters."
    return MappingProxyType({HTML: Representation(page, about_page), TEXT: Representation(text, about_text)})


def check_sheet(assessor: Assessor) -> Callable[[CheckRequest], str]:
    """Return what makes the work instruction on one sheet, with this assessor."""
    return lambda asked: sheet_page(*assessor.assess_instructed(asked))


def calibration_representations(assessor: Assessor) -> Mapping[str, Representation[CalibrationRequest]]:
    """The formats other than JSON by media type, with the rulebooks of this assessor."""

    def page(asked: CalibrationRequest) -> str:
        return calibration_page(calibrate(asked, assessor.book, assessor.catalogue))

    def text(asked: CalibrationRequest) -> str:
        return calibration_text(calibrate(asked, assessor.book, assessor.catalogue))

    formats = {HTML: Representation(page, "Self-contained page."), TEXT: Representation(text, "Plain text.")}
    return MappingProxyType(formats)


_MARK: Final = "__posted__"

_ABOUT_PAGES: Final = "Page for `text/html`: the report, or the work instruction on one sheet of A4 (`text/html` only)."

NO_OTHERS: Final[Mapping[str, Any]] = MappingProxyType({})


def add_posted_route(
    router: APIRouter,
    path: str,
    *,
    asked: type[Asked],
    answered: type[BaseModel],
    answer: Callable[[Asked], BaseModel],
    operation_id: str,
    summary: str,
    description: str,
    response_description: str,
    examples: Mapping[str, RequestExample],
    in_thread: bool = False,
    problems: Sequence[str] = (),
    representations: Mapping[str, Representation[Asked]] = NO_OTHERS,
    noted: Callable[[Any], Mapping[str, Any]] | None = None,
    short: bool = False,
    sheet: Callable[[Asked], str] | None = None,
) -> None:
    """Add ``POST path`` with a request of model ``asked`` and a report of model ``answered``.

    Short work, about 1 ms, runs on the event loop, since a thread only adds overhead. Longer work moves to a thread.

    `in_thread` always uses a thread and applies the work limit, for requests with many stacks. `representations`
    are formats other than JSON by media type, always made in a thread. `problems` are problem types in addition to
    the usual ones. `noted` returns what the log line of the request tells of the report, and counts it. `short` takes
    YAML, too. `sheet` makes the page that the query parameter ``page`` can select in place of the report.
    """
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in examples.items()}
    # the first only: openapi/examples has the others
    shown, example = next(iter(examples.items()))
    first = parse(asked, example.request)
    reports = {shown: {"summary": example.summary, "value": answer(first).model_dump_json()}}
    described = {name: one.described(first) for name, one in representations.items()}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {JSON: {"examples": reports}, **described}},
        **responses(
            *(("malformed-json", "malformed-document") if short else ("malformed-json",)),
            "malformed-gzip",
            "not-acceptable",
            "body-too-large",
            "unsupported-media-type",
            "invalid-request",
            "internal-fault",
            *problems,
            "too-busy",
            "took-too-long",
            *(("too-much-work",) if in_thread else ()),
        ),
    }
    schema = {"$ref": f"#/components/schemas/{asked.__name__}"}
    offers = (JSON, *representations)
    taken = (JSON, YAML) if short else (JSON,)

    async def respond(request: Request, unit: Unit = "mm") -> Response:
        chosen = require_acceptable(request, offers)
        sent = require_body(request, taken)
        body = await whole_body(request)
        heavy = HeavyWork.of(request)

        def wanted() -> Asked:
            return parse(asked, sent_value(body, sent))

        with faults_placed(body, sent):
            if chosen != JSON:
                made_of = representations[chosen].made
                told = await heavy.threaded(lambda: made_of(wanted(), unit), limited=in_thread)
                return readable_answer(told, chosen)
            if noted is not None:

                def both() -> tuple[BaseModel, Response]:
                    report = answer(wanted())
                    return report, json_answer(report)

                report, made = await heavy.threaded(both, limited=in_thread)
                request.scope.get(NOTES, {}).update(noted(report))
                return made
            if in_thread or len(body) > LIGHT_BYTES or sent == YAML:
                return await heavy.threaded(lambda: json_answer(answer(wanted())), limited=in_thread)
            light = wanted()
            return json_answer(await heavy.light_first(lambda: answer(light)))

    async def respond_alone(request: Request) -> Response:
        return await respond(request)

    async def respond_on(
        request: Request,
        unit: Unit = "mm",
        page: Annotated[PageName, Query(description=_ABOUT_PAGES, examples=["sheet"])] = "report",
    ) -> Response:
        if sheet is None or page == "report":
            return await respond(request, unit)
        require_acceptable(request, (HTML,))
        sent = require_body(request, taken)
        body = await whole_body(request)

        def made() -> str:
            with shown_in(unit):
                return sheet(parse(asked, sent_value(body, sent)))

        with faults_placed(body, sent):
            return readable_answer(await HeavyWork.of(request).threaded(made), HTML)

    endpoint = respond_on if sheet is not None else respond_alone
    # set on the endpoint, since the router builds the route
    setattr(endpoint, _MARK, True)
    router.post(
        path,
        operation_id=operation_id,
        summary=summary,
        description=description,
        response_model=answered,
        response_description=response_description,
        responses=known,
        openapi_extra=request_bodies(schema, requests, taken),
    )(endpoint)


def posted_routes(routers: Iterable[APIRouter]) -> dict[str, APIRoute]:
    """The routes added by :func:`add_posted_route`, by path; their endpoints need only the request."""
    return {
        route.path: route
        for router in routers
        for route in router.routes
        if isinstance(route, APIRoute) and hasattr(route.endpoint, _MARK)
    }
