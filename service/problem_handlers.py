"""Which exception ends a request with which problem."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from rules.schema.parsing import BadRequestError
from rules.schema.strict_json import NotJSONError
from rules.search.search import ContinuationError
from service.operations.problems import ProblemError, from_http_error, invalid_request, not_json, stale_continuation
from service.readable_problems import answer_readably

__all__ = ["HANDLERS", "as_problem"]

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
