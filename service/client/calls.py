"""Calls as values: path, serialised request and reader of the response, without network access."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from hashlib import sha256
from http import HTTPStatus
from typing import Any, Final, Generic, Literal, TypeAlias, TypeVar

from pydantic import BaseModel, ValidationError

from service.client.sending import AnsweredProblemError, ClientError, UnreadableAnswerError, UnsendableError
from service.contract import PROBLEM_MEDIA_TYPE, Problem

__all__ = [
    "JSON",
    "SVG",
    "XML",
    "YAML",
    "Call",
    "Given",
    "Received",
    "as_bytes",
    "as_model",
    "form_with_map",
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
YAML: Final = "application/yaml"

Given: TypeAlias = ModelT | Mapping[str, Any]
"""A model or an equivalent dictionary, which may contain models."""

_REPEATABLE: Final = {
    HTTPStatus.TOO_MANY_REQUESTS,
    HTTPStatus.BAD_GATEWAY,
    HTTPStatus.SERVICE_UNAVAILABLE,
    HTTPStatus.GATEWAY_TIMEOUT,
}
"""Statuses worth a retry; every POST is stateless, so a retry is safe."""


_LEAST_COMPRESSED: Final = 32 * 1024
"""Bytes of a body that is sent in gzip; a single stack is shorter and gains nothing."""

_LEVEL: Final = 5


@dataclass(frozen=True, slots=True)
class Received:
    """A complete response."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def media_type(self) -> str:
        """The media type without its parameters, in lower case."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()


@dataclass(frozen=True, slots=True)
class Call(Generic[T]):
    """One request to the service, with its body kept for retries."""

    method: Literal["GET", "POST"]
    path: str
    read: Callable[[Received], T]
    params: Mapping[str, str] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes | None = None

    def sent(self) -> tuple[Mapping[str, str], bytes | None]:
        """Headers and body as they are sent: a long body in gzip."""
        if self.body is None or len(self.body) < _LEAST_COMPRESSED:
            return self.headers, self.body
        return {**self.headers, "Content-Encoding": "gzip"}, gzip.compress(self.body, _LEVEL, mtime=0)


def got(path: str, model: type[ModelT], **params: str | None) -> Call[ModelT]:
    """A GET call with a response of this model; parameters that are None are left out."""
    given = {name: value for name, value in params.items() if value is not None}
    return Call("GET", path, as_model(model), given, headers={"Accept": JSON})


def posted(path: str, request: Given[BaseModel], model: type[ModelT], **params: str | None) -> Call[ModelT]:
    """A POST call with a response of this model; parameters that are None are left out."""
    return _posted(path, request, as_model(model), JSON, params)


def posted_for_bytes(path: str, request: Given[BaseModel], media_type: str, **params: str | None) -> Call[bytes]:
    """As ``posted``, with a response in bytes of this media type."""
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
    """The request as compact JSON on one line; unset fields of models are left out.

    Raises :class:`UnsendableError` for values without a JSON form, such as NaN and infinity.
    """
    try:
        text = json.dumps(value, default=_plain, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        return text.encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise UnsendableError(f"The request cannot be written as JSON: {error}.") from error


def form_with_map(document: bytes, media_type: str, using: Given[BaseModel]) -> tuple[str, bytes]:
    """The media type and body of a form (RFC 7578) with a document and the map to read it by; equal for equal input."""
    content = json_bytes(using)
    boundary = f"part-{sha256(document + content).hexdigest()}"
    parts = (("document", media_type, document), ("map", JSON, content))
    heads = (
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\nContent-Type: {kind}\r\n\r\n'.encode()
        for name, kind, _ in parts
    )
    pieces = [part for head, (_, _, sent) in zip(heads, parts, strict=True) for part in (head, sent, b"\r\n")]
    return f"multipart/form-data; boundary={boundary}", b"".join((*pieces, f"--{boundary}--\r\n".encode()))


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", exclude_unset=True, by_alias=True)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def as_model(model: type[ModelT]) -> Callable[[Received], ModelT]:
    """A reader of JSON responses of this model; fields of later versions are ignored."""

    def read(received: Received) -> ModelT:
        body = successful(received, JSON)
        try:
            return model.model_validate_json(body, extra="ignore")
        except ValidationError as error:
            count = error.error_count()
            faults = "1 error" if count == 1 else f"{count} errors"
            detail = f"The response is not a valid {model.__name__}: {faults}."
            raise UnreadableAnswerError(detail, status=received.status) from error

    return read


def as_bytes(media_type: str) -> Callable[[Received], bytes]:
    """A reader of responses returned as bytes."""

    def read(received: Received) -> bytes:
        return successful(received, media_type)

    return read


def successful(received: Received, media_type: str) -> bytes:
    """The body of a 200 response of this media type; raises :class:`ClientError` for any other."""
    if received.status != HTTPStatus.OK:
        raise _error(received)
    if received.media_type != media_type:
        found = received.media_type or "nothing"
        raise UnreadableAnswerError(f"The response is {found} instead of {media_type}.", status=received.status)
    return received.body


def retry_after_s(value: str | None, now: datetime) -> float | None:
    """Seconds of a Retry-After header (RFC 9110, section 10.2.3); None if absent or invalid."""
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
        f"The response has status {received.status} without a problem document.",
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
