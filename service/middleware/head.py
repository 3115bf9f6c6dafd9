"""HEAD, answered as GET without the content."""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["HeadAsGet"]


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
