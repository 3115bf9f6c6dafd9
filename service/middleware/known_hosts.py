"""Under which names the service may be asked."""

from __future__ import annotations

from collections.abc import Iterable

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from service.operations.problems import ProblemError, answer

__all__ = ["KnownHosts"]


class KnownHosts:
    """Answers 421 to a request whose Host is not one of ``hosts``, whatever its port (RFC 9110, section 15.5.20).

    A page from elsewhere whose name was turned to this machine (DNS rebinding) is stopped here.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or _host(scope) in self._hosts:
            await self._app(scope, receive, send)
            return
        problem = ProblemError("unknown-host", "The service is not known by the name in the Host header.")
        await answer(problem, Request({**scope, "headers": []}))(scope, receive, send)


def _host(scope: Scope) -> str | None:
    """The name without the port, in lower case; None unless exactly one is sent."""
    sent = [value for name, value in scope["headers"] if name == b"host"]
    if len(sent) != 1:
        return None
    host: str = sent[0].decode("latin-1").lower()
    return host.partition("]")[0] + "]" if host.startswith("[") else host.partition(":")[0]
