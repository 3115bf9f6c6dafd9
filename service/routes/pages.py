"""``GET /`` and ``GET /docs``: the pages for people, and the files they are made of."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from fastapi import APIRouter, Request, Response

from service.answers import Document, document, publish
from service.negotiation import require_acceptable
from service.operations.problems import ProblemError
from service.page_examples import page_examples
from service.sheets.page import STYLE_SOURCE

__all__ = ["PAGE_POLICY", "pages_router"]

PAGE_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' {STYLE_SOURCE}",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""Content Security Policy of the pages: nothing from elsewhere, nothing in line, nothing evaluated.

The one style that is named by its digest is that of the report, which inherits this policy when the start page opens
it (CSP Level 3, section 7.8).
"""

_HEADERS: Final = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}

_MEDIA_TYPES: Final[Mapping[str, str]] = MappingProxyType(
    {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
)
"""Of the files served; no other file of the folder is."""


def pages_router() -> APIRouter:
    """The routes; the files are read once, here."""
    router = APIRouter(include_in_schema=False)
    served = _files()

    def show(found: Document, request: Request) -> Response:
        require_acceptable(request, (found.media_type,))
        return publish(found, request)

    @router.get("/")
    async def show_start(request: Request) -> Response:
        return show(served["index.html"], request)

    @router.get("/docs")
    async def show_docs(request: Request) -> Response:
        return show(served["docs.html"], request)

    @router.get("/static/{name}")
    async def show_file(name: str, request: Request) -> Response:
        if name not in served or name.endswith(".html"):
            raise ProblemError("not-found", "Nothing lies at this path.")
        return show(served[name], request)

    return router


def _files() -> Mapping[str, Document]:
    found = {"examples.json": document(page_examples(), headers=_HEADERS)}
    for file in files("service.web").iterdir():
        media_type = _MEDIA_TYPES.get(file.name[file.name.rfind(".") :])
        if media_type is not None:
            found[file.name] = document(file.read_bytes(), media_type, _HEADERS)
    return found
