"""Which exception ends a request with which problem."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from rules.requests import BadRequestError
from service.problems import ProblemError, answer, from_http_error, invalid_request, not_json
from service.strict_json import NotJSONError

__all__ = ["HANDLERS", "as_problem"]


def as_problem(error: Exception) -> ProblemError:
    """The problem for an exception of a kind that :data:`HANDLERS` names."""
    if isinstance(error, ProblemError):
        return error
    if isinstance(error, BadRequestError):
        return invalid_request(error)
    if isinstance(error, NotJSONError):
        return not_json(error)
    if isinstance(error, HTTPException):
        return from_http_error(error)
    # The framework's own validation would echo the input; no route relies on it.
    return ProblemError("invalid-request", "The request breaks the contract.")


async def _handle(request: Request, error: Exception) -> Response:
    return answer(as_problem(error), request)


HANDLERS: Final[Mapping[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]]] = (
    MappingProxyType(
        dict.fromkeys((ProblemError, BadRequestError, NotJSONError, HTTPException, RequestValidationError), _handle)
    )
)
"""Handlers by class of exception; whatever else is raised is a fault of the service, see ``LastResort``."""
