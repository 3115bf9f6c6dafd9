"""A limit on what a body may weigh, whether its length is declared or it comes in chunks.

A limit on how long a client may take to send its body.

HEAD, answered as GET without the content.

Headers that keep a browser from doing with an answer what nobody meant.

What nobody foresaw: logged in full, answered without internals.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Mapping, Set
from types import MappingProxyType
from typing import Final

from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.http.problem_answers import answer_readably
from service.operations.problems import ProblemError

__all__ = ["HEADERS", "BodyLimit", "HeadAsGet", "LastResort", "SecurityHeaders", "SlowBody"]


class BodyLimit:
    """Ends a request with 413 as soon as a route reads more than ``max_bytes``.

    A declared length is believed only when it is too large; what really arrives is counted.
    A body that no route reads costs nothing and is left alone.
    """

    def __init__(self, app: ASGIApp, max_bytes: int, others: Mapping[str, Mapping[str, int | None]]) -> None:
        """Take the limit, and other limits by path and media type: None has none, since its route counts itself."""
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
    return ProblemError("body-too-large", f"A body may hold {most} bytes.")


def media_type(scope: Scope) -> str:
    """The media type that a body is declared as, in lower case, without parameters; empty without one."""
    for name, value in scope["headers"]:
        if name == b"content-type":
            sent: str = value.decode("latin-1")
            return sent.partition(";")[0].strip().lower()
    return ""


def _declared_length(scope: Scope) -> int:
    for name, value in scope["headers"]:
        if name == b"content-length":
            # isdigit on bytes is ASCII only; a number too long to convert is too large in any case.
            return int(value) if value.isdigit() and len(value) < 20 else (1 << 63 if value.isdigit() else 0)
    return 0


class SlowBody:
    """Ends a request with 408 when its body is not whole in time.

    Only waiting for the client counts, not the work on what has come. A body that is answered while it comes, named
    in ``flowing`` by path and media types, may take as long as it likes altogether, but each piece of it has to come
    in that time; where its answer has begun already, it is cut off.
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
            if not more:  # what still comes is that the client has gone
                return await receive()
            clock = asyncio.get_running_loop().time
            begun = clock()
            try:
                async with asyncio.timeout(left):
                    message = await receive()
            except TimeoutError:
                if started:
                    raise ClientDisconnect from None
                detail = f"{'The next piece of the' if flows else 'The'} body was not there within"
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


class HeadAsGet:
    """Lets every route that answers GET answer HEAD, without the content (RFC 9110, section 9.3.2)."""

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
            # Whoever watches from outside sees where it went.
            scope["route"] = asked.get("route")


HEADERS: Final = MappingProxyType(
    {
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    }
)
"""On every answer, unless its route has set a header of that name itself."""

_RAW: Final = tuple((name.lower().encode(), value.encode()) for name, value in HEADERS.items())
_UNSTORED: Final = (b"cache-control", b"no-store")


class SecurityHeaders:
    """Adds :data:`HEADERS` to every answer, and to that of a POST that it may not be stored."""

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


class LastResort:
    """Turns any exception into the 500 problem; the reason goes to the log and nowhere else."""

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
            # There is nobody left to answer.
            return
        except Exception:
            # Which request it was is bound to the line; its path is the client's own words.
            _LOG.exception("unhandled fault while answering")
            if started:
                # Half an answer can only be cut off, so that it is not taken for a whole one.
                raise
            fault = ProblemError("internal-fault", "The request could not be answered; the log has the details.")
            await answer_readably(fault, Request(scope))(scope, receive, send)
