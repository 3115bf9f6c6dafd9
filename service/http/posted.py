"""Routes that take a JSON body and return a computed report as JSON, HTML page or plain text."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Generic, TypeVar

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel
from starlette.requests import ClientDisconnect

from rules.assessor import Assessor
from rules.calibration.calibrating import calibrate
from rules.schema.calibration import CalibrationRequest
from rules.schema.parsing import parse
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from service.examples import RequestExample
from service.http.answers import HTML, JSON, TEXT, json_answer, readable_answer, require_acceptable, require_json_body
from service.http.problem_answers import responses
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.operations.problems import NOTES
from service.sheets.check import report_text
from service.sheets.page import calibration_page, report_page
from service.sheets.questions import calibration_text
from service.sheets.text import PLAIN_WIDTH

__all__ = ["add_posted_route", "calibration_representations", "check_representations", "posted_routes"]


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

_SHOWN_LINES: Final = 5


@dataclass(frozen=True, slots=True)
class Representation(Generic[Asked]):
    """A response format other than JSON."""

    text: Callable[[Asked], str]
    description: str

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


def calibration_representations(assessor: Assessor) -> Mapping[str, Representation[CalibrationRequest]]:
    """The formats other than JSON by media type, with the rulebooks of this assessor."""

    def page(asked: CalibrationRequest) -> str:
        return calibration_page(calibrate(asked, assessor.book, assessor.catalogue))

    def text(asked: CalibrationRequest) -> str:
        return calibration_text(calibrate(asked, assessor.book, assessor.catalogue))

    formats = {HTML: Representation(page, "Self-contained page."), TEXT: Representation(text, "Plain text.")}
    return MappingProxyType(formats)


_MARK: Final = "__posted__"

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
) -> None:
    """Add ``POST path`` with a request of model ``asked`` and a report of model ``answered``.

    Short work, about 1 ms, runs on the event loop, since a thread only adds overhead. Longer work moves to a thread.

    `in_thread` always uses a thread and applies the work limit, for requests with many stacks. `representations`
    are formats other than JSON by media type, always made in a thread. `problems` are problem types in addition to
    the usual ones. `noted` returns what the log line of the request tells of the report, and counts it.
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
            "malformed-json",
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

    @router.post(
        path,
        operation_id=operation_id,
        summary=summary,
        description=description,
        response_model=answered,
        response_description=response_description,
        responses=known,
        openapi_extra={"requestBody": {"required": True, "content": {JSON: {"schema": schema, "examples": requests}}}},
    )
    async def respond(request: Request) -> Response:
        chosen = require_acceptable(request, offers)
        require_json_body(request)
        body = await whole_body(request)
        heavy = HeavyWork.of(request)
        if chosen != JSON:
            text = representations[chosen].text
            told = await heavy.threaded(lambda: text(parse(asked, parse_json(body))), limited=in_thread)
            return readable_answer(told, chosen)
        if noted is not None:

            def both() -> tuple[BaseModel, Response]:
                report = answer(parse(asked, parse_json(body)))
                return report, json_answer(report)

            report, made = await heavy.threaded(both, limited=in_thread)
            request.scope.get(NOTES, {}).update(noted(report))
            return made
        if in_thread or len(body) > LIGHT_BYTES:
            return await heavy.threaded(lambda: json_answer(answer(parse(asked, parse_json(body)))), limited=in_thread)
        wanted = parse(asked, parse_json(body))
        return json_answer(await heavy.light_first(lambda: answer(wanted)))

    # set on the endpoint, since the router builds the route
    setattr(respond, _MARK, True)


def posted_routes(routers: Iterable[APIRouter]) -> dict[str, APIRoute]:
    """The routes added by :func:`add_posted_route`, by path; their endpoints take only the request."""
    return {
        route.path: route
        for router in routers
        for route in router.routes
        if isinstance(route, APIRoute) and hasattr(route.endpoint, _MARK)
    }
