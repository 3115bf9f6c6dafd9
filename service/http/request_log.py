"""One log line and metrics per request, with request id and trace context (W3C Trace Context, 2021)."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Iterable
from time import perf_counter
from typing import Any, Final, NamedTuple

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.contextvars import bind_contextvars, reset_contextvars

from service.http.metrics import Metrics
from service.operations.problems import NOTES, REQUEST_ID

__all__ = ["METHODS", "RequestLog", "TraceContext", "trace_context"]


# Later versions may append fields after another dash (section 3.2.4 of the Recommendation).
_SHAPE: Final = re.compile(rb"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-[0-9a-f]{2}(-.*)?", re.DOTALL)


class TraceContext(NamedTuple):
    """The identity of the caller's span."""

    trace_id: str
    """32 hexadecimal digits."""
    parent_id: str
    """16 hexadecimal digits."""


def trace_context(header: bytes) -> TraceContext | None:
    """The trace context of a ``traceparent`` header; None if it is invalid.

    It appears in the log only: the service makes no outbound calls, and the Recommendation defines no response header.
    """
    match = _SHAPE.fullmatch(header.strip(b" \t"))
    if match is None:
        return None
    version, trace, parent, more = match.groups()
    if version == b"ff" or (version == b"00" and more is not None):
        return None
    if not trace.strip(b"0") or not parent.strip(b"0"):
        return None
    return TraceContext(trace.decode(), parent.decode())


_LOG = logging.getLogger("stackgauge.request")

UNMATCHED: Final = "none"
"""Route label of requests without a route; paths are client data and unbounded."""

_SANE: Final = re.compile(rb"[\x20-\x7e]{1,128}")
METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT"})
"""Methods logged by name (RFC 9110, RFC 5789); any other is logged as "other"."""


class RequestLog:
    """The outermost middleware: logs each request by route, never by path, query or content.

    A valid ``X-Request-ID`` (1 to 128 printable ASCII characters) is kept; otherwise a new one is generated. It is in
    the response and in every log line of the request.
    """

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle a request and log its response."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        start = perf_counter()
        identity = _identity(scope["headers"])
        header = (b"x-request-id", identity["request_id"].encode())
        notes: dict[str, Any] = {}
        scope[NOTES] = notes
        scope[REQUEST_ID] = identity["request_id"]
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
    # Of several ids, none is valid.
    if len(parents) == 1 and (trace := trace_context(parents[0])):
        told |= trace._asdict()
    return told
