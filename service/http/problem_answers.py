"""Problem responses: exception handlers, formats (HTML, text, JSON of RFC 9457) and OpenAPI descriptions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Coroutine, Iterator, Mapping, Sequence
from http import HTTPStatus
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response
from fastapi.dependencies.models import Dependant
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from rules.schema.parsing import BadRequestError, Fault, FaultCode, code_of
from rules.schema.short_form import NotYAMLError
from rules.schema.strict_json import NotJSONError
from rules.search.search import ContinuationError
from service.http.answers import HTML, JSON, TEXT, described_headers, preferred, readable_answer
from service.operations.problems import (
    KINDS,
    PROBLEM_MEDIA_TYPE,
    REQUEST_ID,
    ProblemError,
    allowed_methods,
    answer,
    from_http_error,
    invalid_query,
    invalid_request,
    not_json,
    not_yaml,
    note,
    stale_continuation,
)
from service.sheets.page import problem_page
from service.sheets.text import problem_text

__all__ = ["ANSWERED", "HANDLERS", "answer_readably", "as_problem", "require_known_parameters", "responses"]


def answer_readably(problem: ProblemError, request: Request) -> Response:
    """The problem as HTML or plain text if the client prefers it, else as JSON."""
    chosen = preferred(request, (PROBLEM_MEDIA_TYPE, JSON, HTML, TEXT))
    if chosen not in (HTML, TEXT):
        return answer(problem, request)
    note(problem, request)
    told = problem.problem(request.url.path, request.scope.get(REQUEST_ID))
    content = (problem_page if chosen == HTML else problem_text)(told, problem.kind.remedy)
    response = readable_answer(content, chosen, problem.kind.status)
    response.headers.update(problem.headers)
    return response


def as_problem(error: Exception) -> ProblemError:
    """The problem for an exception listed in :data:`HANDLERS`."""
    if isinstance(error, ProblemError):
        return error
    if isinstance(error, ContinuationError):
        return stale_continuation(error)
    if isinstance(error, BadRequestError):
        return invalid_request(error)
    if isinstance(error, NotJSONError):
        return not_json(error)
    if isinstance(error, NotYAMLError):
        return not_yaml(error)
    if isinstance(error, HTTPException):
        return from_http_error(error)
    if isinstance(error, RequestValidationError):
        return invalid_query([_query_fault(fault) for fault in error.errors()])
    return ProblemError("invalid-request", "The request is invalid.")


def _query_fault(fault: Mapping[str, Any]) -> tuple[str, FaultCode, str]:
    """Parameter, code and message of a fault in the query; the framework's message would echo the value."""
    kind = fault["type"]
    detail = f"must be one of {fault['ctx']['expected']}" if kind == "literal_error" else fault["msg"]
    return str(fault["loc"][-1]), code_of(kind), detail


def require_known_parameters(request: Request) -> None:
    """Raise :class:`ProblemError` 422 for query parameters that the route does not have, and for repeated ones."""
    if not request.scope["query_string"]:
        return
    route = request.scope.get("route")
    known = sorted(_parameters(route.dependant)) if isinstance(route, APIRoute) else []
    there = f"known here: {', '.join(known)}" if known else "this path has none"
    faults: list[tuple[str, FaultCode, str]] = []
    names = Counter(name for name, _ in request.query_params.multi_items())
    for name, times in names.items():
        if name not in known:
            faults.append((name, "unknown_parameter", f"unknown parameter; {there}"))
        elif times > 1:
            faults.append((name, "repeated_parameter", f"stated {times} times"))
    if faults:
        raise invalid_query(faults)


def _parameters(dependant: Dependant) -> Iterator[str]:
    for field in dependant.query_params:
        model = field.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            yield from model.model_fields
        else:
            yield field.alias


async def _handle(request: Request, error: Exception) -> Response:
    if request.method == "OPTIONS" and isinstance(error, HTTPException):
        if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            return Response(status_code=204, headers={"Allow": allowed_methods(error)})
        if request.url.path == "*":  # the service as a whole (RFC 9110, section 9.3.7)
            return Response(status_code=204, headers={"Allow": "GET, HEAD, OPTIONS, POST"})
    return answer_readably(as_problem(error), request)


HANDLERS: Final[Mapping[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]]] = (
    MappingProxyType(
        dict.fromkeys(
            (ProblemError, BadRequestError, NotJSONError, NotYAMLError, HTTPException, RequestValidationError), _handle
        )
    )
)
"""Handlers by exception class; ``UnhandledErrors`` handles all other exceptions."""

ANSWERED: Final = tuple(kind for kind in HANDLERS if isinstance(kind, type))
"""The exception classes of the handlers."""


_FAULTS: Final = (
    Fault("/operations/0/limits/run_out", "unknown field; did you mean 'runout'?", "unknown_field"),
    Fault("/stack/components/2/machine_side/diameter_mm", "must be greater than 0", "out_of_range"),
)

_OCCURRENCES: Final = MappingProxyType(
    {
        "malformed-json": not_json(NotJSONError("expecting ':' delimiter", line=3, column=12)),
        "malformed-document": ProblemError(
            "malformed-document", "The document cannot be read: a document type declaration is not allowed."
        ),
        "malformed-gzip": ProblemError("malformed-gzip", "The body cannot be inflated: it is not complete."),
        "not-found": ProblemError("not-found", "No rule has this code; GET /v1/rules lists them."),
        "not-acceptable": ProblemError("not-acceptable", "Available media types: application/json."),
        "body-too-large": ProblemError("body-too-large", "The body exceeds the limit of 524288 bytes."),
        "unsupported-media-type": ProblemError(
            "unsupported-media-type", "The Content-Type must be application/json in UTF-8."
        ),
        "invalid-request": invalid_request(BadRequestError(_FAULTS)),
        "stale-continuation": stale_continuation(ContinuationError("this is not a search token")),
        "internal-fault": ProblemError("internal-fault", "The request failed; the log has the details."),
        "too-much-work": ProblemError(
            "too-much-work",
            "The request needs more than 150000000 steps of computation, the limit for its length."
            " There is no partial result.",
        ),
        "took-too-long": ProblemError(
            "took-too-long", "The computation took longer than 30 s. There is no partial result."
        ),
        "token-needed": ProblemError("token-needed", "The request has no bearer token."),
        "slow-body": ProblemError("slow-body", "The body did not arrive within 30 s."),
        "too-busy": ProblemError("too-busy", "8 batches are in progress, the maximum."),
        "not-ready": ProblemError("not-ready", "The readiness check failed."),
    }
)


def responses(*names: str) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI responses for these problem types; types with one status share a response."""
    by_status: dict[int, list[str]] = {}
    for name in names:
        by_status.setdefault(KINDS[name].status, []).append(name)
    return {status: _response(alike) for status, alike in by_status.items()}


def _response(names: Sequence[str]) -> dict[str, Any]:
    examples = {name: {"value": _OCCURRENCES[name].problem().model_dump(exclude_none=True)} for name in names}
    headers = ["X-Request-ID", "Cache-Control", "Vary"]
    if KINDS[names[0]].status == HTTPStatus.SERVICE_UNAVAILABLE:
        headers.append("Retry-After")
    return {
        "headers": described_headers(*headers),
        "description": " Or: ".join(f"{KINDS[name].title}. {KINDS[name].remedy}" for name in names),
        "content": {
            PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}, "examples": examples},
        },
    }
