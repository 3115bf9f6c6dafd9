"""Answers to models, or to the error that says why there is none."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from service.client.sending import AnsweredProblemError, ClientError, UnreadableAnswerError
from service.contract.problem import PROBLEM_MEDIA_TYPE, Problem

__all__ = ["JSON", "Received", "as_bytes", "as_model", "retry_after_s", "successful"]

ModelT = TypeVar("ModelT", bound=BaseModel)

JSON: Final = "application/json"

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
