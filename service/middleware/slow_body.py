"""A limit on how long a client may take to send its body."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Set

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.middleware.body_limit import media_type
from service.operations.problems import ProblemError

__all__ = ["SlowBody"]


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
