"""A call as a value: what is sent where, how a request is written and how its answer is read. No network here."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Any, Final, Generic, Literal, TypeAlias, TypeVar

from pydantic import BaseModel, ValidationError

from service.client.sending import AnsweredProblemError, ClientError, UnreadableAnswerError, UnsendableError
from service.contract import PROBLEM_MEDIA_TYPE, Problem

__all__ = [
    "JSON",
    "SVG",
    "XML",
    "Call",
    "Given",
    "Received",
    "as_bytes",
    "as_model",
    "got",
    "json_bytes",
    "posted",
    "posted_for_bytes",
    "retry_after_s",
    "successful",
]

T = TypeVar("T")
ModelT = TypeVar("ModelT", bound=BaseModel)

JSON: Final = "application/json"
SVG: Final = "image/svg+xml"
XML: Final = "application/xml"

Given: TypeAlias = ModelT | Mapping[str, Any]
"""A model of the contract, or the same as a dictionary; a dictionary may hold models."""

_REPEATABLE: Final = {
    HTTPStatus.TOO_MANY_REQUESTS,
    HTTPStatus.BAD_GATEWAY,
    HTTPStatus.SERVICE_UNAVAILABLE,
    HTTPStatus.GATEWAY_TIMEOUT,
}
"""Of each the next attempt may succeed. Every POST is a pure function, so that repeating one does no harm."""


@dataclass(frozen=True, slots=True)
class Received:
    """An answer, read to its end."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def media_type(self) -> str:
        """The media type without its parameters, in lower case."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()


@dataclass(frozen=True, slots=True)
class Call(Generic[T]):
    """One exchange with the service; its body lies ready, so that it can be sent again."""

    method: Literal["GET", "POST"]
    path: str
    read: Callable[[Received], T]
    params: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes | None = None


def got(path: str, model: type[ModelT]) -> Call[ModelT]:
    """The call that reads a path; it is answered with this model."""
    return Call("GET", path, as_model(model), headers={"Accept": JSON})


def posted(path: str, request: Given[BaseModel], model: type[ModelT], **params: str | None) -> Call[ModelT]:
    """The call that posts a request to a path; it is answered with this model. Parameters of None are left out."""
    return _posted(path, request, as_model(model), JSON, params)


def posted_for_bytes(path: str, request: Given[BaseModel], media_type: str, **params: str | None) -> Call[bytes]:
    """As ``posted``, but answered with bytes of this media type."""
    return _posted(path, request, as_bytes(media_type), media_type, params)


def _posted(
    path: str,
    request: Given[BaseModel],
    read: Callable[[Received], T],
    accept: str,
    params: Mapping[str, str | None],
) -> Call[T]:
    given = {name: value for name, value in params.items() if value is not None}
    return Call("POST", path, read, given, {"Content-Type": JSON, "Accept": accept}, json_bytes(request))


def json_bytes(value: Given[BaseModel]) -> bytes:
    """Write a request as compact JSON on one line.

    Of a model only what was stated is written, so that nothing left out becomes a stated null. Raises
    :class:`UnsendableError` for what JSON has no form for, not-a-number and infinity among it.
    """
    try:
        text = json.dumps(value, default=_plain, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        return text.encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise UnsendableError(f"The request can't be written as JSON: {error}.") from error


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", exclude_unset=True, by_alias=True)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def as_model(model: type[ModelT]) -> Callable[[Received], ModelT]:
    """A reader of JSON answers of this model. Fields that a later version added are passed over."""

    def read(received: Received) -> ModelT:
        body = successful(received, JSON)
        try:
            return model.model_validate_json(body, extra="ignore")
        except ValidationError as error:
            detail = f"The answer is no {model.__name__}: {error.error_count()} places differ."
            raise UnreadableAnswerError(detail, status=received.status) from error

    return read


def as_bytes(media_type: str) -> Callable[[Received], bytes]:
    """A reader of answers that are passed on as they are."""

    def read(received: Received) -> bytes:
        return successful(received, media_type)

    return read


def successful(received: Received, media_type: str) -> bytes:
    """The body of a 200 of this media type; raises :class:`ClientError` for any other answer."""
    if received.status != HTTPStatus.OK:
        raise _error(received)
    if received.media_type != media_type:
        found = received.media_type or "nothing"
        raise UnreadableAnswerError(f"The answer is {found} instead of {media_type}.", status=received.status)
    return received.body


def retry_after_s(value: str | None, now: datetime) -> float | None:
    """Seconds that a Retry-After asks to wait (RFC 9110, section 10.2.3); None where it says nothing readable."""
    if value is None:
        return None
    if value.isascii() and value.isdigit():
        return float(value)
    try:
        asked = parsedate_to_datetime(value)
    except (ValueError, OverflowError):
        return None
    if asked.tzinfo is None:
        asked = asked.replace(tzinfo=UTC)
    return max(0.0, (asked - now).total_seconds())


def _error(received: Received) -> ClientError:
    repeatable = received.status in _REPEATABLE
    wait = retry_after_s(received.headers.get("retry-after"), datetime.now(UTC))
    problem = _problem(received)
    if problem is not None:
        return AnsweredProblemError(problem, repeatable=repeatable, retry_after_s=wait)
    return UnreadableAnswerError(
        f"The answer is status {received.status} without a problem that says why.",
        status=received.status,
        repeatable=repeatable,
        retry_after_s=wait,
    )


def _problem(received: Received) -> Problem | None:
    if received.media_type != PROBLEM_MEDIA_TYPE:
        return None
    try:
        problem = Problem.model_validate_json(received.body, extra="ignore")
    except ValidationError:
        return None
    return problem if problem.status == received.status else None
