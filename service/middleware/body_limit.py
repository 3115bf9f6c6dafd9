"""A limit on what a body may weigh, whether its length is declared or it comes in chunks."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.operations.problems import ProblemError

__all__ = ["BodyLimit", "media_type"]


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
