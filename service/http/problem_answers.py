"""Which exception ends a request with which problem.

Problems in the form the client reads best: a page for browsers, plain text, or the JSON of RFC 9457.

What the OpenAPI document says of problems, each shown as it is really answered.
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from rules.schema.parsing import BadRequestError, Fault
from rules.schema.strict_json import NotJSONError
from rules.search.search import ContinuationError
from service.http.answers import HTML, JSON, TEXT, preferred, readable_answer
from service.operations.problems import (
    KINDS,
    PROBLEM_MEDIA_TYPE,
    ProblemError,
    answer,
    from_http_error,
    invalid_request,
    not_json,
    note,
    stale_continuation,
)
from service.sheets.page import problem_page
from service.sheets.text import problem_text

__all__ = ["HANDLERS", "answer_readably", "as_problem", "responses"]


def answer_readably(problem: ProblemError, request: Request) -> Response:
    """The HTTP answer: for people where the client likes HTML or plain text better, else JSON whatever it accepts."""
    chosen = preferred(request, (PROBLEM_MEDIA_TYPE, JSON, HTML, TEXT))
    if chosen not in (HTML, TEXT):
        return answer(problem, request)
    note(problem, request)
    told = problem.problem(request.url.path)
    content = (problem_page if chosen == HTML else problem_text)(told, problem.kind.remedy)
    response = readable_answer(content, chosen, problem.kind.status)
    response.headers.update(problem.headers)
    return response


_MOST_TOLD: Final = 5
_LONGEST_NAME: Final = 64


def as_problem(error: Exception) -> ProblemError:
    """The problem for an exception of a kind that :data:`HANDLERS` names."""
    if isinstance(error, ProblemError):
        return error
    if isinstance(error, ContinuationError):
        return stale_continuation(error)
    if isinstance(error, BadRequestError):
        return invalid_request(error)
    if isinstance(error, NotJSONError):
        return not_json(error)
    if isinstance(error, HTTPException):
        return from_http_error(error)
    if isinstance(error, RequestValidationError):
        return ProblemError("invalid-request", "; ".join(map(_told, error.errors()[:_MOST_TOLD])))
    return ProblemError("invalid-request", "The request breaks the contract.")


def _told(fault: Mapping[str, Any]) -> str:
    """One fault of a query in words; the framework's own answer would echo the value."""
    where = " ".join(str(step) for step in fault["loc"])[:_LONGEST_NAME]
    if fault["type"] == "extra_forbidden":
        return f"{where}: there is no such parameter"
    if fault["type"] == "literal_error":
        return f"{where}: {fault['ctx']['expected']} is expected"
    return f"{where}: {fault['msg']}"


async def _handle(request: Request, error: Exception) -> Response:
    return answer_readably(as_problem(error), request)


HANDLERS: Final[Mapping[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]]] = (
    MappingProxyType(
        dict.fromkeys((ProblemError, BadRequestError, NotJSONError, HTTPException, RequestValidationError), _handle)
    )
)
"""Handlers by class of exception; whatever else is raised is a fault of the service, see ``LastResort``."""


_FAULTS: Final = (
    Fault("/operation/runout_limit", "unknown field; did you mean 'runout_limit_um'?"),
    Fault("/stack/components/2/machine_side/diameter_mm", "must be greater than 0"),
)

_OCCURRENCES: Final = MappingProxyType(
    {
        "malformed-json": not_json(NotJSONError("expecting ':' delimiter", line=3, column=12)),
        "malformed-document": ProblemError(
            "malformed-document", "The document can't be read: a document type declaration is not allowed."
        ),
        "not-found": ProblemError("not-found", "No rule has this code; GET /v1/rules lists them."),
        "not-acceptable": ProblemError("not-acceptable", "Only application/json can be given here."),
        "body-too-large": ProblemError("body-too-large", "A body may hold 524288 bytes."),
        "unsupported-media-type": ProblemError(
            "unsupported-media-type", "The body must be declared as application/json in UTF-8."
        ),
        "invalid-request": invalid_request(BadRequestError(_FAULTS)),
        "stale-continuation": stale_continuation(ContinuationError("this is no token of a search")),
        "internal-fault": ProblemError("internal-fault", "The request could not be answered; the log has the details."),
        "too-much-work": ProblemError(
            "too-much-work",
            "The request asks for more than 500000000 steps of computation; it was given up, and nothing of it is"
            " answered.",
        ),
        "took-too-long": ProblemError(
            "took-too-long", "No answer was found within 30 s; it was given up, and nothing of it is answered."
        ),
        "token-needed": ProblemError("token-needed", "The request carries no bearer token."),
        "slow-body": ProblemError("slow-body", "The body was not there within 30 s."),
        "too-busy": ProblemError("too-busy", "8 batches are being answered at the moment."),
        "not-ready": ProblemError("not-ready", "The service can't judge at the moment."),
    }
)


def responses(*names: str) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI answers for these kinds of problem; kinds of one status share an answer."""
    by_status: dict[int, list[str]] = {}
    for name in names:
        by_status.setdefault(KINDS[name].status, []).append(name)
    return {status: _response(alike) for status, alike in by_status.items()}


def _response(names: Sequence[str]) -> dict[str, Any]:
    examples = {name: {"value": _OCCURRENCES[name].problem().model_dump(exclude_none=True)} for name in names}
    return {
        "description": " Or: ".join(f"{KINDS[name].title}. {KINDS[name].remedy}" for name in names),
        "content": {
            PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}, "examples": examples},
        },
    }
