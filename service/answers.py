"""Successful answers: reports made for one request, and documents that stand until the next start."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from fastapi import Request, Response
from pydantic import BaseModel
from pydantic_core import to_json

from service.contract.answer import Answer
from service.negotiation import JSON

__all__ = ["Answer", "Document", "document", "json_answer", "publish", "published", "shown"]


@dataclass(frozen=True, slots=True)
class Document:
    """Content that does not change while the process lives, with its entity tag."""

    content: bytes
    etag: str
    media_type: str = JSON
    headers: Mapping[str, str] = field(default_factory=dict)


def document(content: BaseModel | bytes, media_type: str = JSON, headers: Mapping[str, str] | None = None) -> Document:
    """Serialise once, for :func:`publish`."""
    body = content if isinstance(content, bytes) else to_json(content)
    return Document(body, f'"{sha256(body).hexdigest()[:32]}"', media_type, dict(headers or {}))


def publish(published: Document, request: Request) -> Response:
    """The document, or 304 when the client already has it (RFC 9110, section 13.1.2)."""
    headers = {"ETag": published.etag, "Cache-Control": "no-cache", "Vary": "Accept", **published.headers}
    if _has(published.etag, request.headers.getlist("if-none-match")):
        return Response(status_code=304, headers=headers)
    return Response(published.content, headers=headers, media_type=published.media_type)


def json_answer(content: BaseModel) -> Response:
    """Content made for this request alone."""
    return _OwnAnswer(to_json(content))


class _OwnAnswer(Response):
    """JSON made for one request: its head is written out, since it is the same for all but its length."""

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
    return etag in tags or "*" in tags


def shown(name: str, content: BaseModel) -> dict[str, Any]:
    """An OpenAPI answer that shows this content as an example.

    The example travels as JSON text, because the framework drops every null on its way into the document;
    :func:`service.openapi.describe` unpacks it.
    """
    return {"content": {JSON: {"examples": {name: {"value": to_json(content).decode()}}}}}


def published(response: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI answers of a route that ends in :func:`publish`."""
    etag = {
        "required": True,
        "description": "Give it as If-None-Match to be told 304 while nothing changed.",
        "schema": {"type": "string"},
    }
    return {
        200: {**response, "headers": {"ETag": etag}},
        304: {
            "description": "The document the client already has is still right.",
            "headers": {"ETag": etag},
        },
    }
