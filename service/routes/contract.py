"""``GET /openapi.json``: the contract, with the thresholds of the rules in force."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from fastapi import APIRouter, Request, Response

from service.answers import Document, document, publish
from service.negotiation import require_acceptable
from service.openapi import as_text

__all__ = ["contract_router"]


def contract_router(describe: Callable[[], dict[str, Any]]) -> APIRouter:
    """The route; the document is made when it is first asked for."""
    router = APIRouter(include_in_schema=False)

    @cache
    def contract() -> Document:
        return document(as_text(describe()).encode())

    @router.get("/openapi.json")
    async def show_contract(request: Request) -> Response:
        require_acceptable(request)
        return publish(contract(), request)

    return router
