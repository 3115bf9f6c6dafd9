"""The common shape of the routes that take a JSON body and answer with a computed report."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, TypeVar

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel

from rules.schema.parsing import parse
from rules.schema.strict_json import parse_json
from service.answers import json_answer
from service.bodies import whole_body
from service.examples import RequestExample
from service.negotiation import JSON, require_acceptable, require_json_body
from service.operations.heavy_work import LIGHT_BYTES, HeavyWork
from service.problem_responses import responses
from service.representations import Representation, readable_answer

__all__ = ["add_posted_route", "posted_routes"]

Asked = TypeVar("Asked", bound=BaseModel)

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
