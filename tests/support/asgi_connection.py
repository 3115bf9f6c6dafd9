"""A request to an application in this process; the test controls when the client sends and reads."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any


class Connection:
    """One POST, inside a running event loop; ``ended`` is the application's task."""

    def __init__(self, app: Any, path: str, content_type: str, headers: Mapping[str, str] | None = None) -> None:
        path, _, query = path.partition("?")
        named = {"content-type": content_type, **(headers or {})}
        scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": "POST",
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in named.items()],
            "client": ("127.0.0.1", 1),
            "server": ("stackgauge", 80),
        }
        self.reads = asyncio.Event()
        """Until this is set, the client does not read."""
        self.reads.set()
        self.taken = 0
        """Bytes of the body that the application has read."""
        self.status: int | None = None
        self.body = b""
        self.complete = False
        self._left = False
        self._arrived = asyncio.Event()
        self._coming: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self.ended = asyncio.create_task(app(scope, self._receive, self._send))

    def give(self, data: bytes, *, last: bool = False) -> None:
        """Send part of the body."""
        self._coming.put_nowait({"type": "http.request", "body": data, "more_body": not last})

    def leave(self) -> None:
        """Close the connection; later output of the application is discarded, as by the usual servers."""
        self._left = True
        self.reads.set()
        self._coming.put_nowait({"type": "http.disconnect"})

    async def lines(self, count: int) -> list[bytes]:
        """Wait until this many lines have arrived."""
        while self.body.count(b"\n") < count:
            assert not self.ended.done()
            self._arrived.clear()
            await self._arrived.wait()
        return self.body.splitlines()

    async def _receive(self) -> dict[str, Any]:
        message = await self._coming.get()
        self.taken += len(message.get("body", b""))
        return message

    async def _send(self, message: dict[str, Any]) -> None:
        await self.reads.wait()
        if self._left:
            return
        if message["type"] == "http.response.start":
            self.status = message["status"]
        else:
            self.body += message["body"]
            self.complete = not message.get("more_body", False)
        self._arrived.set()
