"""Routes that are to go: said in the contract, and in every answer of theirs (RFC 9745, RFC 8594).

None is deprecated now. To deprecate one, in the function that makes its router::

    deprecate(router, "/v1/old", since=date(2027, 3, 1), sunset=date(2028, 3, 1), link="/v1/new")
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from email.utils import format_datetime
from typing import Any, Final

from fastapi import APIRouter
from fastapi.routing import APIRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Deprecation", "DeprecationHeaders", "deprecate", "describe_deprecation"]

_MARK: Final = "__deprecation__"

_HEADERS: Final = {
    "Deprecation": "Since when the route is deprecated: @ and the seconds since 1970 (RFC 9745).",
    "Link": "Where to read what to use instead (rel=deprecation).",
    "Sunset": "When the route will go, at the earliest; left out where that is not settled (RFC 8594).",
}


@dataclass(frozen=True, slots=True)
class Deprecation:
    """Since when a route is deprecated, when it goes, and where to read what to use instead."""

    since: date
    """From the beginning of that day, UTC."""
    link: str
    """A URI reference."""
    sunset: date | None = None
    """At the beginning of that day, UTC; None where it is not settled. Not before ``since``."""

    def __post_init__(self) -> None:
        if self.sunset is not None and self.sunset < self.since:
            raise ValueError("a route can't go before it is deprecated")
        if not self.link.isascii() or any(sign in self.link for sign in '<> "\r\n'):
            raise ValueError(f"{self.link!r} is no URI reference")

    def headers(self) -> list[tuple[bytes, bytes]]:
        """The fields of an answer, as they are sent."""
        told = {
            "deprecation": f"@{int(_midnight(self.since).timestamp())}",
            "link": f'<{self.link}>; rel="deprecation"',
        }
        if self.sunset is not None:
            told["sunset"] = format_datetime(_midnight(self.sunset), usegmt=True)
        return [(name.encode("ascii"), value.encode("ascii")) for name, value in told.items()]


def deprecate(router: APIRouter, path: str, *, since: date, link: str, sunset: date | None = None) -> None:
    """Mark the routes of this path, which the router must have; see :class:`Deprecation`."""
    told = Deprecation(since, link, sunset)
    found = [route for route in router.routes if isinstance(route, APIRoute) and route.path == path]
    if not found:
        raise LookupError(f"there is no route {path} to deprecate")
    for route in found:
        route.deprecated = True
        setattr(route.endpoint, _MARK, told)


def describe_deprecation(operation: dict[str, Any]) -> None:
    """Tell of the fields with every answer of an operation that is marked in the OpenAPI document."""
    if not operation.get("deprecated", False):
        return
    for response in operation["responses"].values():
        for name, description in _HEADERS.items():
            shown = {"description": description, "required": name != "Sunset", "schema": {"type": "string"}}
            response.setdefault("headers", {})[name] = shown


class DeprecationHeaders:
    """Adds the fields to every answer of a marked route, problems too."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                # Known only now: the route is found on the way in.
                mark = getattr(getattr(scope.get("route"), "endpoint", None), _MARK, None)
                if isinstance(mark, Deprecation):
                    message = {**message, "headers": [*message.get("headers", ()), *mark.headers()]}
            await send(message)

        await self._app(scope, receive, told)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)
