"""Routes that take a JSON body and return a computed report as JSON, HTML page or plain text."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Final, Generic, NamedTuple, TypeVar

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel
from pydantic_core import to_json
from starlette.requests import ClientDisconnect

from rules.assessor import Assessor
from rules.gate.profile import Profile
from rules.schema.parsing import parse
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json
from service.examples import RequestExample
from service.http.answers import HTML, JSON, TEXT, json_bytes, readable_answer, require_acceptable, require_json_body
from service.http.problem_answers import responses
from service.operations.assessors import Judged, RecordingAssessor
from service.operations.heavy_work import HeavyWork
from service.operations.problems import NOTES
from service.sheets.check import report_text
from service.sheets.page import report_page
from service.sheets.text import PLAIN_WIDTH

__all__ = [
    "CHECK_REPRESENTATIONS",
    "Decided",
    "Judging",
    "Made",
    "Posted",
    "Task",
    "add_posted_route",
    "posted_routes",
]


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


class Judging(NamedTuple):
    """What judges and decides."""

    assessor: Assessor
    profile: Profile


class Task(NamedTuple):
    """A request as any process can answer it."""

    path: str
    body: bytes
    options: tuple[Any, ...] = ()
    """What is asked beside the body: media type or query."""


class Decided(NamedTuple):
    """What is counted of a gate."""

    decision: str
    may_start: bool
    deviations: frozenset[str]
    """What deviates from rulebooks, profile and requirements, each kind once."""


class Made(NamedTuple):
    """The answer to a task, and what is logged and counted of it."""

    content: bytes
    judged: Sequence[Judged] = ()
    notes: Mapping[str, Any] | None = None
    decided: Decided | None = None


Asked = TypeVar("Asked", bound=BaseModel)

_SHOWN_LINES: Final = 5


@dataclass(frozen=True, slots=True)
class Representation(Generic[Asked]):
    """A response format other than JSON."""

    text: Callable[[Judging, Asked], str]
    description: str

    def described(self, judging: Judging, example: Asked) -> dict[str, Any]:
        """The content of an OpenAPI response: a string, with the first lines for this request as example."""
        begins = "".join(self.text(judging, example).splitlines(keepends=True)[:_SHOWN_LINES])
        # JSON text, see service.http.answers.shown.
        shown = {"summary": "First lines", "value": json.dumps(begins)}
        return {"schema": {"type": "string", "description": self.description}, "examples": {"begin": shown}}


def _page(judging: Judging, asked: CheckRequest) -> str:
    return report_page(*judging.assessor.assess_instructed(asked))


def _text(judging: Judging, asked: CheckRequest) -> str:
    return report_text(judging.assessor.assess(asked))


CHECK_REPRESENTATIONS: Final[Mapping[str, Representation[CheckRequest]]] = MappingProxyType(
    {
        HTML: Representation(_page, "Self-contained page for screen and print, always with the work instruction."),
        TEXT: Representation(_text, f"The report as plain text, in lines of at most {PLAIN_WIDTH} characters."),
    }
)
"""The formats other than JSON by media type."""


@dataclass(frozen=True, slots=True)
class Posted(Generic[Asked]):
    """What a route answers to a JSON body, in any process."""

    asked: type[Asked]
    answered: type[BaseModel]
    answer: Callable[[Judging, Asked], BaseModel]
    limited: bool = False
    """Whether the work limit applies, for requests with many stacks."""
    counted: bool = False
    """Whether the stacks judged count in the metrics."""
    urgent: bool = False
    """Whether it goes before other long-running requests."""
    representations: Mapping[str, Representation[Asked]] = field(default_factory=dict)
    """Formats other than JSON by media type."""
    noted: Callable[[Any], tuple[Mapping[str, Any], Decided]] | None = None
    """What is logged and counted of the report."""

    def made(self, judging: Judging, task: Task) -> Made:
        """The answer to a task; raises what the handlers of the application know."""
        asked = parse(self.asked, parse_json(task.body))
        judged: Sequence[Judged] = ()
        if self.counted:
            recording = RecordingAssessor(judging.assessor)
            judging, judged = judging._replace(assessor=recording), recording.judged
        (chosen,) = task.options
        if chosen != JSON:
            text = self.representations[chosen].text(judging, asked)
            return Made(text.encode(), judged)
        report = self.answer(judging, asked)
        notes, decided = (None, None) if self.noted is None else self.noted(report)
        return Made(to_json(report), judged, notes, decided)


_MARK: Final = "__posted__"


def add_posted_route(
    router: APIRouter,
    path: str,
    posted: Posted[Asked],
    judging: Judging,
    *,
    operation_id: str,
    summary: str,
    description: str,
    response_description: str,
    examples: Mapping[str, RequestExample],
    problems: Sequence[str] = (),
) -> None:
    """Add ``POST path``, answered with a report by what judges.

    Short work is done on the event loop, since a thread only adds overhead; longer work in another process. Formats
    other than JSON are made in a thread. `problems` are problem types in addition to the usual ones.
    """
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in examples.items()}
    # the first only: openapi/examples has the others
    shown, example = next(iter(examples.items()))
    first = parse(posted.asked, example.request)
    reports = {shown: {"summary": example.summary, "value": posted.answer(judging, first).model_dump_json()}}
    described = {name: one.described(judging, first) for name, one in posted.representations.items()}
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
            *(("too-much-work",) if posted.limited else ()),
        ),
    }
    schema = {"$ref": f"#/components/schemas/{posted.asked.__name__}"}
    offers = (JSON, *posted.representations)

    @router.post(
        path,
        operation_id=operation_id,
        summary=summary,
        description=description,
        response_model=posted.answered,
        response_description=response_description,
        responses=known,
        openapi_extra={"requestBody": {"required": True, "content": {JSON: {"schema": schema, "examples": requests}}}},
    )
    async def respond(request: Request) -> Response:
        chosen = require_acceptable(request, offers)
        require_json_body(request)
        body = await whole_body(request)
        task = Task(path, body, (chosen,))
        made = await HeavyWork.of(request).answer(
            task,
            lambda: posted.made(judging, task),
            len(body),
            limited=posted.limited,
            urgent=posted.urgent,
            drawn=chosen != JSON,
        )
        if made.notes is not None:
            request.scope.get(NOTES, {}).update(made.notes)
        return json_bytes(made.content) if chosen == JSON else readable_answer(made.content, chosen)

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
