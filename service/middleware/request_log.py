"""One line of the log and a few counts for every request, and an identity to find both by."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Iterable
from time import perf_counter
from typing import Any, Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.contextvars import bind_contextvars, reset_contextvars

from service.metrics import Metrics
from service.operations.problems import NOTES
from service.trace_context import trace_context

__all__ = ["METHODS", "UNMATCHED", "RequestLog"]

_LOG = logging.getLogger("stackgauge.request")

UNMATCHED: Final = "none"
"""Told instead of a route by requests that found none: paths are the client's words and without end."""

_SANE: Final = re.compile(rb"[\x20-\x7e]{1,128}")
METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT"})
"""Methods told by their name (RFC 9110 and RFC 5789); any other is told as "other"."""


class RequestLog:
    """The outermost of all: tells what was asked, by its route and never by its path, query or content.

    ``X-Request-ID`` is taken from the request where it is one to 128 printable ASCII characters, and made new
    otherwise; every answer gives it back, and every line logged meanwhile bears it.
    """

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on, watching what is answered."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        start = perf_counter()
        identity = _identity(scope["headers"])
        header = (b"x-request-id", identity["request_id"].encode())
        notes: dict[str, str] = {}
        scope[NOTES] = notes
        status, size, complete = 0, 0, False

        async def watched(message: Message) -> None:
            nonlocal status, size, complete
            if message["type"] == "http.response.start":
                status = message["status"]
                message = {**message, "headers": [*message.get("headers", ()), header]}
            elif message["type"] == "http.response.body":
                size += len(message.get("body", b""))
                complete = not message.get("more_body", False)
            await send(message)

        tokens = bind_contextvars(**identity)
        self._metrics.in_flight.inc()
        try:
            await self._app(scope, receive, watched)
        finally:
            seconds = perf_counter() - start
            method = scope["method"] if scope["method"] in METHODS else "other"
            route = getattr(scope.get("route"), "path_format", UNMATCHED)
            self._metrics.in_flight.dec()
            self._metrics.answered(route, method, status, seconds)
            if _LOG.isEnabledFor(logging.INFO):
                told: dict[str, Any] = {
                    "method": method,
                    "route": route,
                    "status": status,
                    "duration_ms": round(seconds * 1000, 3),
                    "bytes": size,
                    "complete": complete,
                    **notes,
                }
                _LOG.info("request", extra=told)
            if problem := notes.get("problem"):
                self._metrics.problem(problem)
            reset_contextvars(**tokens)


def _identity(headers: Iterable[tuple[bytes, bytes]]) -> dict[str, str]:
    ids: list[bytes] = []
    parents: list[bytes] = []
    for name, value in headers:
        if name == b"x-request-id":
            ids.append(value.strip())
        elif name == b"traceparent":
            parents.append(value)
    told = {"request_id": ids[0].decode() if len(ids) == 1 and _SANE.fullmatch(ids[0]) else secrets.token_hex(16)}
    # Of several, none is the right one.
    if len(parents) == 1 and (trace := trace_context(parents[0])):
        told |= trace._asdict()
    return told
