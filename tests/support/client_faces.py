"""One interface to both clients, so that each test runs with both."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable
from typing import Any, Literal

import httpx
from fastapi import FastAPI

from service.client import AsyncClient, Client

__all__ = ["ADDRESS", "KINDS", "Face", "FakeTime", "Handler", "Kind", "flowing", "of_app"]

ADDRESS = "http://stackgauge"

Kind = Literal["sync", "async"]
KINDS: tuple[Kind, ...] = ("sync", "async")
Handler = Callable[[httpx.Request], httpx.Response]


class FakeTime:
    """A clock that advances only by sleeping, or by a test."""

    def __init__(self) -> None:
        self.now = 1000.0
        self.slept: list[float] = []

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += seconds

    async def sleep_async(self, seconds: float) -> None:
        self.sleep(seconds)


class Face:
    """Calls a method of a new client of either kind; a handler replaces the network."""

    def __init__(self, kind: Kind, handler: Handler, time: FakeTime | None = None, **options: Any) -> None:
        self.kind = kind
        self.time = time or FakeTime()
        self._handler = handler
        self._options = {"address": ADDRESS, "clock": self.time.clock, **options}

    def call(self, name: str, *args: Any, **kwargs: Any) -> Any:
        """Return the result; that of ``check_lines`` as a list."""
        if self.kind == "async":
            return asyncio.run(self._call_async(name, args, kwargs))
        with self.client() as client:
            answer = getattr(client, name)(*args, **kwargs)
            return list(answer) if name == "check_lines" else answer

    def client(self) -> Client:
        return Client(transport=httpx.MockTransport(self._handler), sleep=self.time.sleep, **self._options)

    def async_client(self) -> AsyncClient:
        async def handle(request: httpx.Request) -> httpx.Response:
            # in a thread, because a handler may run its own event loop
            return await asyncio.to_thread(self._handler, request)

        return AsyncClient(transport=httpx.MockTransport(handle), sleep=self.time.sleep_async, **self._options)

    async def _call_async(self, name: str, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        async with self.async_client() as client:
            answer = getattr(client, name)(*args, **kwargs)
            return [one async for one in answer] if name == "check_lines" else await answer


def of_app(app: FastAPI) -> Handler:
    """Return a handler that passes requests to the application."""

    async def answer(request: httpx.Request) -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app)) as client:
            told = await client.request(request.method, request.url, headers=request.headers, content=request.content)
            # a new response, because a synchronous client accepts no asynchronous stream
            headers = [(name, value) for name, value in told.headers.items() if name != "content-encoding"]
            return httpx.Response(told.status_code, headers=headers, content=told.content)

    return lambda request: asyncio.run(answer(request))


async def flowing(values: Iterable[Any]) -> AsyncIterator[Any]:
    """Yield the values asynchronously."""
    for value in values:
        yield value
