"""Routes that take a JSON body and return a computed report as JSON, HTML page or plain text.

Routes about one stack take YAML in the short form, too (RFC 9512).
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Annotated, Any, Final, Generic, NamedTuple, TypeAlias, TypeVar

from fastapi import APIRouter, Query, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel
from pydantic_core import to_json
from starlette.requests import ClientDisconnect

from rules.assessor import Assessor
from rules.gate.profile import Profile
from rules.quantities.inch import UnitSystem, shown_in
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
    Later,
    json_bytes,
    readable_answer,
    require_acceptable,
    require_body,
)
from service.http.problem_answers import responses
from service.operations.assessors import Judged, RecordingAssessor
from service.operations.heavy_work import HeavyWork
from service.operations.problems import NOTES, ProblemError
from service.operations.settings import today
from service.operations.signing import NO_KEYS, GateKeys
from service.sheets.check import report_text
from service.sheets.page import Printed, instruction_page, report_page
from service.sheets.sheet import sheet_page
from service.sheets.text import PLAIN_WIDTH

__all__ = [
    "ABOUT_UNIT",
    "CHECK_PAGES",
    "CHECK_REPRESENTATIONS",
    "MAX_YAML_BYTES",
    "Decided",
    "Judging",
    "Made",
    "Posted",
    "Task",
    "add_posted_route",
    "faults_placed",
    "posted_routes",
    "representations_of",
    "request_bodies",
    "sent_body",
    "sent_value",
]

MAX_YAML_BYTES: Final = 64 * 1024
"""Longest body in YAML, which takes a hundred times as long to read as JSON: at most a second."""

ABOUT_UNIT: Final = "Units of text, page and drawing; JSON is always metric."


def request_bodies(schema: Mapping[str, Any], examples: Mapping[str, Any], taken: Sequence[str]) -> dict[str, Any]:
    """Return the OpenAPI request body of a route that takes these media types; only the first has all examples."""
    first = dict([next(iter(examples.items()))])
    content = {one: {"schema": schema, "examples": examples if one == taken[0] else first} for one in taken}
    return {"requestBody": {"required": True, "content": content}}


async def sent_body(request: Request, taken: Sequence[str]) -> tuple[str, bytes]:
    """Return the media type of the body, one of ``taken``, and the body.

    Raises :class:`ProblemError` for another type and for YAML that is too long.
    """
    sent = require_body(request, taken)
    body = await whole_body(request)
    if sent == YAML and len(body) > MAX_YAML_BYTES:
        raise ProblemError("body-too-large", f"A body in YAML may have {MAX_YAML_BYTES} bytes; send JSON.")
    return sent, body


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
    """What judges, decides and signs."""

    assessor: Assessor
    profile: Profile
    keys: GateKeys = NO_KEYS
    day: date | None = None
    """Day on which the profile's waivers count or have ended; the present one if it is None."""

    @property
    def profile_in_force(self) -> Profile:
        """The operator's profile, without waivers that have ended since it was read."""
        return self.profile.on(self.day or today())


class Task(NamedTuple):
    """A request as any process can answer it."""

    path: str
    body: bytes
    options: tuple[Any, ...] = ()
    """Options of the request: media type of the answer, or the page, and the query."""
    sent: str = JSON
    """Media type of the body, JSON or YAML; of a document it is an option."""


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


def sent_value(task: Task) -> Any:
    """Return the value of a body in JSON, or in YAML in the full form.

    Raises
    ------
    NotJSONError, NotYAMLError, BadRequestError
    """
    return parse_json(task.body) if task.sent == JSON else full_form(read_yaml(task.body))


@contextmanager
def faults_placed(task: Task) -> Iterator[None]:
    """Raise the faults of a body in YAML with their lines."""
    try:
        yield
    except BadRequestError as error:
        raise (placed(error, task.body) if task.sent == YAML else error) from None


Asked = TypeVar("Asked", bound=BaseModel)
Answered = TypeVar("Answered", bound=BaseModel)

Unit: TypeAlias = Annotated[UnitSystem, Query(description=ABOUT_UNIT, examples=["inch"])]

_SHOWN_LINES: Final = 5


@dataclass(frozen=True, slots=True)
class Representation(Generic[Asked]):
    """A response format other than JSON."""

    text: Callable[[Judging, Asked], str]
    description: str

    def described(self, judging: Judging, example: Asked) -> dict[str, Any]:
        """The content of an OpenAPI response: a string, with the first lines for this request as example."""

        def begin() -> str:
            return json.dumps("".join(self.text(judging, example).splitlines(keepends=True)[:_SHOWN_LINES]))

        shown = {"summary": "First lines", "value": Later(begin)}
        return {"schema": {"type": "string", "description": self.description}, "examples": {"begin": shown}}


def _page(judging: Judging, asked: CheckRequest) -> str:
    return report_page(*judging.assessor.assess_instructed(asked))


def _text(judging: Judging, asked: CheckRequest) -> str:
    return report_text(judging.assessor.assess(asked))


CHECK_REPRESENTATIONS: Final[Mapping[str, Representation[CheckRequest]]] = MappingProxyType(
    {
        HTML: Representation(_page, "Self-contained page; prints on one sheet of A4."),
        TEXT: Representation(_text, f"The report as plain text, in lines of at most {PLAIN_WIDTH} characters."),
    }
)
"""The formats of a check other than JSON by media type."""


def _details(judging: Judging, asked: CheckRequest) -> str:
    printed: Printed = "instruction" if "assembly" in asked.sections else "details"
    return report_page(*judging.assessor.assess_instructed(asked), printed=printed)


CHECK_PAGES: Final[Mapping[str, Callable[[Judging, CheckRequest], str]]] = MappingProxyType(
    {
        "details": _details,
        "instruction": lambda judging, asked: instruction_page(judging.assessor.assess_instructed(asked)[0]),
        "sheet": lambda judging, asked: sheet_page(*judging.assessor.assess_instructed(asked)),
    }
)
"""The pages of a check other than the report by name."""


def representations_of(
    answer: Callable[[Judging, Asked], Answered], page: Callable[[Answered], str], text: Callable[[Answered], str]
) -> Mapping[str, Representation[Asked]]:
    """Return page and plain text of an answer by media type."""
    return MappingProxyType(
        {
            HTML: Representation(lambda judging, asked: page(answer(judging, asked)), "Self-contained page."),
            TEXT: Representation(lambda judging, asked: text(answer(judging, asked)), "Plain text."),
        }
    )


@dataclass(frozen=True, slots=True)
class Posted(Generic[Asked]):
    """What a route answers to a JSON body, in any process."""

    asked: type[Asked]
    answered: type[BaseModel]
    answer: Callable[[Judging, Asked], BaseModel]
    short: bool = False
    """Whether it takes YAML in the short form, too."""
    limited: bool = False
    """Whether the work limit applies, for requests with many stacks."""
    of_catalogue: bool = False
    """Whether it may read the whole mounted catalogue, whose parts then count for the work limit like those sent."""
    counted: bool = False
    """Whether the stacks judged count in the metrics."""
    urgent: bool = False
    """Whether it goes before other long-running requests."""
    representations: Mapping[str, Representation[Asked]] = field(default_factory=dict)
    """Formats other than JSON by media type."""
    pages: Mapping[str, Callable[[Judging, Asked], str]] = field(default_factory=dict)
    """Pages that the query parameter ``page`` can select in place of the report, by name."""
    noted: Callable[[Any], tuple[Mapping[str, Any], Decided]] | None = None
    """What is logged and counted of the report."""

    def made(self, judging: Judging, task: Task) -> Made:
        """The answer to a task; raises what the handlers of the application know."""
        with faults_placed(task):
            asked = parse(self.asked, sent_value(task))
            judged: Sequence[Judged] = ()
            if self.counted:
                recording = RecordingAssessor(judging.assessor)
                judging, judged = judging._replace(assessor=recording), recording.judged
            form, unit = task.options
            if form != JSON:
                text_of = self.pages.get(form) or self.representations[form].text
                with shown_in(unit):
                    text = text_of(judging, asked)
                return Made(text.encode(), judged)
            report = self.answer(judging, asked)
            notes, decided = (None, None) if self.noted is None else self.noted(report)
            return Made(to_json(report), judged, notes, decided)


_MARK: Final = "__posted__"

_ABOUT_PAGES: Final = (
    "Page for `text/html` (all but `report` for it alone): the report, which prints on one sheet; the same printed with"
    " `details`, the `instruction` among them if `include` names `assembly`; the instruction alone or as a `sheet`."
)

Page: TypeAlias = Annotated[PageName, Query(description=_ABOUT_PAGES, examples=["sheet"])]


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

    Short work is done on the event loop, since a thread only adds overhead; longer work in another process. YAML is
    read and formats other than JSON are made in a thread. `problems` are problem types in addition to the usual ones.
    """
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in examples.items()}
    # the first only: openapi/examples has the others
    shown, example = next(iter(examples.items()))
    first = parse(posted.asked, example.request)
    shows = judging._replace(assessor=judging.assessor.for_examples())
    report = Later(lambda: posted.answer(shows, first).model_dump_json())
    reports = {shown: {"summary": example.summary, "value": report}}
    described = {name: one.described(shows, first) for name, one in posted.representations.items()}
    known: dict[int | str, dict[str, Any]] = {
        200: {"content": {JSON: {"examples": reports}, **described}},
        **responses(
            *(("malformed-json", "malformed-document") if posted.short else ("malformed-json",)),
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
    taken = (JSON, YAML) if posted.short else (JSON,)

    async def respond(request: Request, unit: Unit = "mm", page: Page = "report") -> Response:
        own = page in posted.pages
        chosen = require_acceptable(request, (HTML,) if own else offers)
        sent, body = await sent_body(request, taken)
        task = Task(path, body, (page if own else chosen, unit), sent)
        made = await HeavyWork.of(request).answer(
            request,
            task,
            lambda: posted.made(judging, task),
            len(body),
            mounted=len(judging.assessor.catalogue.definitions.components) if posted.of_catalogue else 0,
            limited=posted.limited,
            urgent=posted.urgent,
            uncounted=chosen != JSON or sent == YAML,
        )
        if made.notes is not None:
            request.scope.get(NOTES, {}).update(made.notes)
        return json_bytes(made.content) if chosen == JSON else readable_answer(made.content, chosen)

    async def respond_in_unit(request: Request, unit: Unit = "mm") -> Response:
        return await respond(request, unit)

    async def respond_alone(request: Request) -> Response:
        return await respond(request)

    endpoint: Callable[..., Awaitable[Response]] = respond_alone
    if posted.representations:
        endpoint = respond if posted.pages else respond_in_unit
    # set on the endpoint, since the router builds the route
    setattr(endpoint, _MARK, True)
    router.post(
        path,
        operation_id=operation_id,
        summary=summary,
        description=description,
        response_model=posted.answered,
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
