"""Headers that keep a browser from doing with an answer what nobody meant."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["HEADERS", "SecurityHeaders"]

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
