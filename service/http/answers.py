"""Successful responses, and content negotiation of request and response (RFC 9110, sections 8.3 and 12.5)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from email.message import Message
from functools import lru_cache
from hashlib import sha256
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response
from pydantic import BaseModel
from pydantic_core import to_json

from service.contract import Answer
from service.operations.problems import ProblemError
from service.sheets.page import PAGE_HEADERS

__all__ = [
    "CSV",
    "GZIP",
    "HTML",
    "JSON",
    "JWK_SET",
    "P21",
    "SCHEMA",
    "STEP",
    "SVG",
    "TEXT",
    "XML",
    "YAML",
    "ZIP",
    "Answer",
    "Document",
    "Later",
    "accepted_coding",
    "content_coding",
    "described_headers",
    "document",
    "json_answer",
    "json_bytes",
    "made_now",
    "preferred",
    "publish",
    "published",
    "readable_answer",
    "require_acceptable",
    "require_body",
    "shown",
]


JSON = "application/json"
JWK_SET = "application/jwk-set+json"
YAML = "application/yaml"  # RFC 9512
SCHEMA = "application/schema+json"  # JSON Schema draft 2020-12, section 14
XML = "application/xml"
CSV = "text/csv"
P21 = "application/p21"  # clear-text exchange files of ISO 10303-21
STEP = "model/step"
ZIP = "application/zip"
HTML = "text/html"
TEXT = "text/plain"
SVG = "image/svg+xml"


def require_acceptable(request: Request, offers: Sequence[str] = (JSON,)) -> str:
    """The client's preferred media type among ``offers``; the first of equals. Raises 406 if none is acceptable."""
    best = preferred(request, offers)
    if best is None:
        *others, last = offers
        listed = f"{', '.join(others)} and {last}" if others else last
        raise ProblemError("not-acceptable", f"Available media types: {listed}.")
    return best


def preferred(request: Request, offers: Sequence[str]) -> str | None:
    """The client's preferred media type among ``offers``; the first of equals, None if none is acceptable."""
    return _choose(",".join(_sent(request, b"accept")), tuple(offers))


def require_body(request: Request, taken: Sequence[str]) -> str:
    """The media type of the body, one of ``taken``.

    Raises :class:`ProblemError` 415 for any other type, a charset other than UTF-8 and a content coding but gzip.
    """
    if content_coding(request.scope["headers"]) is None:
        raise ProblemError(
            "unsupported-media-type",
            "The Content-Encoding must be gzip or identity.",
            headers={"Accept-Post": ", ".join(taken), "Accept-Encoding": "gzip, identity"},
        )
    types = _sent(request, b"content-type")
    declared = _declared(types[0] if types else "")
    if declared is None or declared not in taken:
        raise ProblemError(
            "unsupported-media-type",
            f"The Content-Type must be {' or '.join(taken)} in UTF-8.",
            headers={"Accept-Post": ", ".join(taken)},
        )
    return declared


GZIP = "gzip"
IDENTITY = "identity"


def content_coding(headers: Iterable[tuple[bytes, bytes]]) -> str | None:
    """The content coding of a body: gzip or identity; None for any other and for several."""
    sent = ",".join(value.decode("latin-1") for name, value in headers if name == b"content-encoding")
    codings = {"x-gzip": GZIP}  # RFC 9110, section 8.4.1.3
    named = [codings.get(name, name) for one in sent.split(",") if (name := one.strip().lower()) and name != IDENTITY]
    if not named:
        return IDENTITY
    return GZIP if named == [GZIP] else None


@lru_cache(maxsize=256)
def accepted_coding(accept: str) -> str:
    """The coding of a response to an Accept-Encoding header: gzip or identity (RFC 9110, section 12.5.3).

    >>> [accepted_coding(sent) for sent in ("gzip, br", "*", "br", "gzip;q=0", "gzip;q=0.5, identity", "gzip;q=0, *")]
    ['gzip', 'gzip', 'identity', 'identity', 'identity', 'identity']
    """
    weights = dict(_range(part) for part in accept.split(",") if part.strip())
    wanted = max(weights.get(name, 0.0) for name in (GZIP, "x-gzip")) if weights.keys() & {GZIP, "x-gzip"} else None
    gzip = weights.get("*", 0.0) if wanted is None else wanted
    # a client that names gzip and not the identity prefers gzip
    return GZIP if gzip > 0 and gzip >= weights.get(IDENTITY, 0.0) else IDENTITY


def _sent(request: Request, name: bytes) -> list[str]:
    """The raw values of a header; ``name`` in lower case. Faster than building the header mapping."""
    return [value.decode("latin-1") for one, value in request.scope["headers"] if one == name]


@lru_cache(maxsize=256)
def _declared(content_type: str) -> str | None:
    """The media type; None if its charset is not UTF-8."""
    parsed = Message()
    parsed["content-type"] = content_type
    # The parser falls back to text/plain for an invalid value.
    charset = parsed.get_content_charset() or "utf-8"
    return parsed.get_content_type() if charset in ("utf-8", "utf8") else None


@lru_cache(maxsize=256)
def _choose(accept: str, offers: tuple[str, ...]) -> str | None:
    if not accept.strip():
        return offers[0]
    ranges = [_range(part) for part in accept.split(",") if part.strip()]
    weighed = [(_weight(offer, ranges), offer) for offer in offers]
    weight, best = max(weighed, key=lambda pair: pair[0])
    return best if weight > 0 else None


def _range(part: str) -> tuple[str, float]:
    name, *parameters = (piece.strip() for piece in part.lower().split(";"))
    weight = 1.0
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip() == "q":
            try:
                weight = min(1.0, max(0.0, float(value)))
            except ValueError:
                weight = 0.0
    return name, weight


def _weight(offer: str, ranges: Sequence[tuple[str, float]]) -> float:
    """The weight of the most specific media range that matches the offer."""
    whole = offer.split("/")[0] + "/*"
    for wanted in (offer, whole, "*/*"):
        weights = [weight for name, weight in ranges if name == wanted]
        if weights:
            return max(weights)
    return 0.0


@dataclass(frozen=True, slots=True)
class Document:
    """Content that is constant for the life of the process, with its entity tag."""

    content: bytes
    etag: str
    media_type: str = JSON
    headers: Mapping[str, str] = field(default_factory=dict)


def document(content: BaseModel | bytes, media_type: str = JSON, headers: Mapping[str, str] | None = None) -> Document:
    """The serialised content, for :func:`publish`."""
    body = content if isinstance(content, bytes) else to_json(content)
    # weak, because it is the same with and without a content coding (RFC 9110, section 8.8.3.3)
    return Document(body, f'W/"{sha256(body).hexdigest()[:32]}"', media_type, dict(headers or {}))


def publish(published: Document, request: Request) -> Response:
    """The document, or 304 if the client's copy is current (RFC 9110, section 13.1.2)."""
    headers = {"ETag": published.etag, "Cache-Control": "no-cache", "Vary": "Accept", **published.headers}
    if _has(published.etag, request.headers.getlist("if-none-match")):
        return Response(status_code=304, headers=headers)
    return Response(published.content, headers=headers, media_type=published.media_type)


def json_answer(content: BaseModel) -> Response:
    """The JSON response for one request."""
    return json_bytes(to_json(content))


def json_bytes(content: bytes) -> Response:
    """The JSON response for one request, already written."""
    return _JsonReport(content)


class _JsonReport(Response):
    """A JSON response with precomputed headers, which differ only in length."""

    media_type = JSON

    def __init__(self, body: bytes) -> None:
        self.status_code = 200
        self.background = None
        self.body = body
        self.raw_headers = [
            (b"cache-control", b"no-store"),
            (b"vary", b"Accept"),
            (b"content-length", b"%d" % len(body)),
            (b"content-type", b"application/json"),
        ]


def _has(etag: str, wanted: list[str]) -> bool:
    tags = [tag.strip().removeprefix("W/") for line in wanted for tag in line.split(",")]
    return etag.removeprefix("W/") in tags or "*" in tags


@dataclass(frozen=True, slots=True)
class Later:
    """An example that is made when the document is first asked for: a process that only answers never makes it."""

    make: Callable[[], str]
    """Returns JSON text, see :func:`shown`."""


def made_now(node: Any) -> None:
    """Make the examples below this part of a description, in place."""
    for key, value in node.items() if isinstance(node, dict) else ():
        if isinstance(value, Later):
            node[key] = value.make()
        else:
            made_now(value)


def shown(name: str, content: BaseModel) -> dict[str, Any]:
    """An OpenAPI response with this content as its example.

    The example is JSON text, because the framework drops nulls; :func:`service.http.openapi.describe` unpacks it.
    """
    return {"content": {JSON: {"examples": {name: {"value": to_json(content).decode()}}}}}


_HEADERS: Final[Mapping[str, tuple[bool, str]]] = MappingProxyType(
    {
        "X-Request-ID": (True, "The request's identifier in the log: the caller's, or a new one."),
        "Cache-Control": (True, "no-cache for a document with an ETag, else no-store."),
        "Vary": (True, "Request headers that select the representation (RFC 9110, section 12.5.5)."),
        "ETag": (True, "Send it as If-None-Match to get 304 while the document is unchanged."),
        "Retry-After": (False, "Seconds to wait before the next try; absent if not known."),
    }
)
"""Whether a response header is always there, and its meaning, by name."""


def described_headers(*names: str) -> dict[str, dict[str, Any]]:
    """The headers of a response in the OpenAPI document, by name."""
    return {
        name: {"required": required, "description": description, "schema": {"type": "string"}}
        for name in names
        for required, description in [_HEADERS[name]]
    }


def published(response: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI responses of a route that uses :func:`publish`."""
    return {
        200: {**response, "headers": described_headers("ETag")},
        304: {"description": "The client's copy is current.", "headers": described_headers("ETag")},
    }


def readable_answer(content: str | bytes, media_type: str, status: int = 200) -> Response:
    """An HTML or text response for one request."""
    headers = {"Cache-Control": "no-store", "Vary": "Accept", **(PAGE_HEADERS if media_type == HTML else {})}
    return Response(content, status, headers, media_type=media_type)
