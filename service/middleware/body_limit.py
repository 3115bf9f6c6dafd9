"""A limit on what a body may weigh, whether its length is declared or it comes in chunks."""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.problems import ProblemError

__all__ = ["BodyLimit"]


class BodyLimit:
    """Ends a request with 413 as soon as a route reads more than ``max_bytes``.

    A declared length is believed only when it is too large; what really arrives is counted.
    A body that no route reads costs nothing and is left alone.
    """

    def __init__(self, app: ASGIApp, max_bytes: int) -> None:
        self._app = app
        self._max_bytes = max_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        declared = _declared_length(scope)
        read = 0

        async def counted() -> Message:
            nonlocal read
            if declared > self._max_bytes:
                raise self._too_large()
            message = await receive()
            read += len(message.get("body", b""))
            if read > self._max_bytes:
                raise self._too_large()
            return message

        await self._app(scope, counted, send)

    def _too_large(self) -> ProblemError:
        return ProblemError("body-too-large", f"A body may hold {self._max_bytes} bytes.")


def _declared_length(scope: Scope) -> int:
    for name, value in scope["headers"]:
        if name == b"content-length":
            # isdigit on bytes is ASCII only; a number too long to convert is too large in any case.
            return int(value) if value.isdigit() and len(value) < 20 else (1 << 63 if value.isdigit() else 0)
    return 0
