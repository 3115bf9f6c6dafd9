"""The common shape of the routes that take a JSON body and answer with a computed report.

The body of a request as it comes from the server.

The forms in which the report of a check is given: JSON for programs, a page for eyes and paper, plain text.

JSON is the contract and stays as it is; the other two say the same to people.
"""

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

from rules.analysis import StackAnalysis
from rules.answer.provenance import request_sha256
from rules.assessor import Assessor
from rules.schema.parsing import parse
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from service.examples import RequestExample
from service.http.answers import HTML, JSON, TEXT, json_answer, readable_answer, require_acceptable, require_json_body
from service.http.problem_answers import responses
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.sheets.check import report_text
from service.sheets.page import report_page
from service.sheets.text import PLAIN_WIDTH

__all__ = ["add_posted_route", "assess_instructed", "check_representations", "posted_routes"]


async def whole_body(request: Request) -> bytes:
    """Read the body to its end; most come in one piece, which is handed on as it is.

    Raises :class:`ClientDisconnect` where the client goes before.
    """
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
    """A form of a route's answer beside JSON."""

    text: Callable[[Asked], str]
    description: str

    def described(self, example: Asked) -> dict[str, Any]:
        """Return the content of an OpenAPI answer: a string, and how it begins for this request."""
        begins = "".join(self.text(example).splitlines(keepends=True)[:_SHOWN_LINES])
        # As JSON, see service.http.answers.shown.
        shown = {"summary": "How it begins", "value": json.dumps(begins)}
        return {"schema": {"type": "string", "description": self.description}, "examples": {"begin": shown}}


def check_representations(assessor: Assessor) -> Mapping[str, Representation[CheckRequest]]:
    """The forms beside JSON by media type, judged with this assessor."""

    def page(asked: CheckRequest) -> str:
        return report_page(*assess_instructed(assessor, asked))

    def text(asked: CheckRequest) -> str:
        return report_text(assessor.assess(asked))

    about_page = "A page that needs nothing else, made to be read and printed; the work instruction is always on it."
    about_text = f"The report as plain text, in lines of at most {PLAIN_WIDTH} characters."
    return MappingProxyType({HTML: Representation(page, about_page), TEXT: Representation(text, about_text)})


def assess_instructed(assessor: Assessor, asked: CheckRequest) -> tuple[Report, StackAnalysis]:
    """Judge a request with the work instruction, whether it asked for it or not; errors as ``Assessor.assess``.

    The digest stays that of the request as it was asked, so that it is the same in every form of the answer.
    """
    report, derived = assessor.assess_derived(asked.model_copy(update={"with_assembly": True}))
    provenance = report.provenance.model_copy(update={"request_sha256": request_sha256(asked)})
    return report.model_copy(update={"provenance": provenance}), derived


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
) -> None:
    """Add ``POST path``: strict JSON of the model ``asked`` in, a report of the model ``answered`` out.

    Judged on the event loop: the work is a millisecond or so of pure computation under the interpreter's
    lock, so a thread would bring nothing but the cost of handing over. What turns out to take longer goes to a
    thread, so that others are answered meanwhile. A route whose requests hold many stacks or laws works
    ``in_thread`` always, and its work is bounded. ``representations`` are forms of the answer beside JSON, by
    media type, shown for the first of the examples and always made in a thread. ``problems`` names those beyond
    the usual ones.
    """
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in examples.items()}
    reports = {
        name: {"summary": one.summary, "value": answer(parse(asked, one.request)).model_dump_json()}
        for name, one in examples.items()
    }
    first = parse(asked, next(iter(examples.values())).request)
    described = {name: one.described(first) for name, one in representations.items()}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {JSON: {"examples": reports}, **described}},
        **responses(
            "malformed-json",
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
            return readable_answer(await heavy.threaded(lambda: text(parse(asked, parse_json(body)))), chosen)
        if in_thread or len(body) > LIGHT_BYTES:
            return await heavy.threaded(lambda: json_answer(answer(parse(asked, parse_json(body)))), limited=in_thread)
        wanted = parse(asked, parse_json(body))
        return json_answer(await heavy.light_first(lambda: answer(wanted)))

    # of the endpoint, since the router makes the route
    setattr(respond, _MARK, True)


def posted_routes(routers: Iterable[APIRouter]) -> dict[str, APIRoute]:
    """The routes of these routers that :func:`add_posted_route` has added, by path; their endpoints take the request
    alone.
    """
    return {
        route.path: route
        for router in routers
        for route in router.routes
        if isinstance(route, APIRoute) and hasattr(route.endpoint, _MARK)
    }
