"""Middleware: request target, body size limit and timeout, gzip both ways, HEAD, security headers, unhandled errors."""

from __future__ import annotations

import asyncio
import logging
import re
import zlib
from collections.abc import Mapping, Set
from types import MappingProxyType
from typing import Final
from urllib.parse import unquote

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.http.answers import GZIP, accepted_coding, content_coding
from service.http.problem_answers import answer_readably
from service.operations.problems import ProblemError

__all__ = [
    "HEADERS",
    "BodyLimit",
    "BodyTimeout",
    "Compression",
    "HeadAsGet",
    "InflatedBody",
    "RequestTarget",
    "SecurityHeaders",
    "UnhandledErrors",
]


class RequestTarget:
    """Reads a target in absolute form (RFC 9112, section 3.2.2), and closes connections with doubtful framing.

    A request with both a length and a transfer coding may be half of an attack: it is answered, and nothing that
    follows on its connection is read (section 6.1).
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        names = {name for name, _ in scope["headers"]}
        if b"content-length" in names and b"transfer-encoding" in names:
            send = _closing(send)
        if (target := _ABSOLUTE.fullmatch(scope.get("raw_path") or b"")) is not None:
            authority, path = target.groups()
            path = path or (b"*" if scope["method"] == "OPTIONS" else b"/")
            kept = [header for header in scope["headers"] if header[0] != b"host"]
            # changed in place, because the server reads this scope
            scope.update(raw_path=path, path=unquote(path.decode("ascii")), headers=[(b"host", authority), *kept])
        await self._app(scope, receive, send)


_ABSOLUTE: Final = re.compile(rb"(?i:https?)://([^/?#@]+)(/.*)?")


def _closing(send: Send) -> Send:
    async def closed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [header for header in message.get("headers", ()) if header[0].lower() != b"connection"]
            message = {**message, "headers": [*headers, (b"connection", b"close")]}
        await send(message)

    return closed


class BodyLimit:
    """Ends a request with 413 when a route reads more than ``max_bytes``.

    The received bytes count; the declared length counts only if it is too large. An unread body is ignored.
    """

    def __init__(self, app: ASGIApp, max_bytes: int, others: Mapping[str, Mapping[str, int | None]]) -> None:
        """Set the limit in bytes, and ``others`` by path and media type; None means the route has its own limit."""
        self._app = app
        self._max_bytes = max_bytes
        self._others = others

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        most = self._limit(scope)
        if most is None:
            await self._app(scope, receive, send)
            return
        declared = _declared_length(scope)
        read = 0

        async def counted() -> Message:
            nonlocal read
            if declared > most:
                raise _too_large(most)
            message = await receive()
            read += len(message.get("body", b""))
            if read > most:
                raise _too_large(most)
            return message

        await self._app(scope, counted, send)

    def _limit(self, scope: Scope) -> int | None:
        by_type = self._others.get(scope["path"])
        return self._max_bytes if by_type is None else by_type.get(media_type(scope), self._max_bytes)


def _too_large(most: int) -> ProblemError:
    return ProblemError("body-too-large", f"The body exceeds the limit of {most} bytes.")


def media_type(scope: Scope) -> str:
    """The declared media type of the body in lower case, without parameters; empty if none."""
    for name, value in scope["headers"]:
        if name == b"content-type":
            sent: str = value.decode("latin-1")
            return sent.partition(";")[0].strip().lower()
    return ""


def _declared_length(scope: Scope) -> int:
    for name, value in scope["headers"]:
        if name == b"content-length":
            # bytes.isdigit accepts ASCII only; a number too long to convert exceeds any limit.
            return int(value) if value.isdigit() and len(value) < 20 else (1 << 63 if value.isdigit() else 0)
    return 0


class BodyTimeout:
    """Ends a request with 408 if its body is not complete in time.

    Only the time waiting for the client counts. For streamed bodies, listed in ``flowing`` by path and media types,
    the limit applies to each chunk; a response already begun is cut off.
    """

    def __init__(self, app: ASGIApp, max_seconds: float, flowing: Mapping[str, Set[str]]) -> None:
        self._app = app
        self._max_seconds = max_seconds
        self._flowing = flowing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        flows = media_type(scope) in self._flowing.get(scope["path"], ())
        left = self._max_seconds
        more = True
        started = False

        async def in_time() -> Message:
            nonlocal left, more
            if not more:  # the only further message is the client's disconnect
                return await receive()
            clock = asyncio.get_running_loop().time
            begun = clock()
            try:
                async with asyncio.timeout(left):
                    message = await receive()
            except TimeoutError:
                if started:
                    raise ClientDisconnect from None
                detail = f"{'The next chunk of the' if flows else 'The'} body did not arrive within"
                raise ProblemError(
                    "slow-body", f"{detail} {self._max_seconds:g} s.", headers={"Connection": "close"}
                ) from None
            if not flows:
                left -= clock() - begun
            more = message.get("more_body", False)
            return message

        async def watched(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        await self._app(scope, in_time, watched)


_PIECE: Final = 64 * 1024
"""Bytes inflated at a time; this much is in memory, however much a body grows."""

_FREE: Final = 1024 * 1024
"""Bytes to which the ratios do not apply, in or out."""

_MOST_GROWTH: Final = 200
"""Most bytes of content for each byte of gzip. Lines that repeat one stack reach about 150, a bomb 1000."""


class InflatedBody:
    """Gives routes the content of a body in gzip (RFC 1952), also of several members.

    Ends a request with 400 for a body that is not gzip or not complete, and with 413 for one that grows too much. The
    limits of a body apply to its content. Own code, because no maintained ASGI middleware inflates requests.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and content_coding(scope["headers"]) == GZIP:
            receive = _Inflating(receive).receive
        await self._app(scope, receive, send)


class _Inflating:
    """The messages of one body, inflated."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._inflater = zlib.decompressobj(wbits=_GZIP_ONLY)
        self._rest = b""
        self._taken = self._made = 0
        self._more = True
        self._pending = False
        self._ended = False

    async def receive(self) -> Message:
        """The next piece of content, or what the connection sends after it."""
        if self._ended:
            return await self._receive()
        while True:
            if self._more and not self._rest and not self._pending:
                message = await self._receive()
                if message["type"] != "http.request":
                    return message
                self._rest = message.get("body", b"")
                self._more = message.get("more_body", False)
                self._taken += len(self._rest)
            piece = self._inflated()
            # a bomb takes many steps, so let other requests run between two
            await asyncio.sleep(0)
            self._ended = not (self._rest or self._more or self._pending)
            if self._ended and not self._inflater.eof:
                raise _not_gzip("it is not complete")
            if piece or self._ended:
                return {"type": "http.request", "body": piece, "more_body": not self._ended}

    def _inflated(self) -> bytes:
        try:
            if self._rest and self._inflater.eof:
                self._inflater = zlib.decompressobj(wbits=_GZIP_ONLY)
            piece = self._inflater.decompress(self._rest, _PIECE)
        except zlib.error:
            raise _not_gzip("it is damaged, or no gzip") from None
        self._rest = self._inflater.unused_data if self._inflater.eof else self._inflater.unconsumed_tail
        # a full piece may leave content behind that needs no further input
        self._pending = len(piece) == _PIECE and not self._inflater.eof
        self._made += len(piece)
        if self._made > _FREE and self._made > _MOST_GROWTH * self._taken:
            raise ProblemError(
                "body-too-large", f"The body in gzip has more than {_MOST_GROWTH} times its length as content."
            )
        if self._taken > _FREE + self._made + len(self._rest):
            # blocks and members without content
            raise _not_gzip("it is much longer than its content")
        return piece


_GZIP_ONLY: Final = 16 + zlib.MAX_WBITS


def _not_gzip(why: str) -> ProblemError:
    return ProblemError("malformed-gzip", f"The body cannot be inflated: {why}.")


_LEAST_COMPRESSED: Final = 1024
_LEVEL: Final = 5
"""Of zlib; more takes longer and hardly makes a report shorter."""


class Compression(GZipMiddleware):
    """Sends responses of 1 KiB or more in gzip to clients that accept it.

    The framework's middleware writes no time into the header, so equal content has equal bytes, and sends each piece of
    a stream at once. It reads no weights, so a refusal such as ``gzip;q=0`` is taken out of the request before.
    """

    def __init__(self, app: ASGIApp) -> None:
        super().__init__(app, minimum_size=_LEAST_COMPRESSED, compresslevel=_LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            headers = scope["headers"]
            sent = ",".join(value.decode("latin-1") for name, value in headers if name == b"accept-encoding")
            if sent:
                kept = [header for header in headers if header[0] != b"accept-encoding"]
                # changed in place, because outer middleware reads the route from this scope
                scope["headers"] = [*kept, (b"accept-encoding", accepted_coding(sent).encode())]

        async def varied(message: Message) -> None:
            if message["type"] == "http.response.start":
                # also a response too short for gzip, or without content, so that a cache treats all alike
                headers = MutableHeaders(raw=list(message.get("headers", ())))
                if "Accept-Encoding" not in headers.get("vary", ""):
                    headers.add_vary_header("Accept-Encoding")
                message = {**message, "headers": headers.raw}
            await send(message)

        await super().__call__(scope, receive, varied)


class HeadAsGet:
    """Handles HEAD as GET without content (RFC 9110, section 9.3.2)."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self._app(scope, receive, send)
            return

        async def without_content(message: Message) -> None:
            if message["type"] != "http.response.body":
                await send(message)
            elif not message.get("more_body", False):
                await send({"type": "http.response.body", "body": b""})

        asked = {**scope, "method": "GET"}
        try:
            await self._app(asked, receive, without_content)
        finally:
            # Middleware outside reads the matched route from the original scope.
            scope["route"] = asked.get("route")


HEADERS: Final = MappingProxyType(
    {
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    }
)
"""Headers of every response, unless the route sets its own."""

_RAW: Final = tuple((name.lower().encode(), value.encode()) for name, value in HEADERS.items())
_UNSTORED: Final = (b"cache-control", b"no-store")


class SecurityHeaders:
    """Adds :data:`HEADERS` to every response, and ``Cache-Control: no-store`` to responses to POST."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        wanted = (*_RAW, _UNSTORED) if scope["method"] == "POST" else _RAW

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", ()))
                own = {name.lower() for name, _ in headers}
                headers += [header for header in wanted if header[0] not in own]
                message = {**message, "headers": headers}
            await send(message)

        await self._app(scope, receive, with_headers)


_LOG = logging.getLogger("stackgauge")


class UnhandledErrors:
    """Turns an unhandled exception into a 500 problem; only the log has the cause."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except ClientDisconnect:
            # The client has gone.
            return
        except Exception:
            # The log line has the request id; the path is client data and stays out.
            _LOG.exception("unhandled error in a request")
            if started:
                # Cut off a response already begun, so that it is not taken as complete.
                raise
            fault = ProblemError("internal-fault", "The request failed; the log has the details.")
            await answer_readably(fault, Request(scope))(scope, receive, send)
