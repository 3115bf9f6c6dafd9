"""What nobody foresaw: logged in full, answered without internals."""

from __future__ import annotations

import logging

from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.operations.problems import ProblemError
from service.readable_problems import answer_readably

__all__ = ["LastResort"]

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
