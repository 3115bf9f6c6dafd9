"""Connections of the server: limits on their number, on slow and idle clients, and on the length of a request head."""

from __future__ import annotations

import asyncio
import logging
import re
from typing import Any, Final, NamedTuple

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.operations.settings import Settings

__all__ = ["OTHER_FILES", "Connection", "Limits", "quiet_about_files", "raised_file_limit"]

_LOG = logging.getLogger("stackgauge")


class Limits(NamedTuple):
    """Limits of a connection."""

    connections: int
    """Most connections of this process."""
    head_s: float
    """Time for a request head, s."""
    head_bytes: int
    """Longest request head, bytes."""
    unread_s: float
    """Longest time in which a client takes nothing of a response, s."""

    @classmethod
    def of(cls, settings: Settings) -> Limits:
        """The limits of the settings."""
        return cls(
            settings.max_connections, settings.max_head_seconds, settings.max_head_bytes, settings.max_unread_seconds
        )


_END_OF_HEAD: Final = re.compile(rb"\n\r?\n")
_LONGEST_END: Final = 3

_REFUSAL: Final = (
    "HTTP/1.1 {status} {title}\r\nContent-Type: application/problem+json\r\nContent-Length: {length}\r\n"
    "Cache-Control: no-store\r\nConnection: close\r\n\r\n{body}"
)


def _refusal(status: int, title: str) -> bytes:
    """An answer given before there is a request; its problem is no more than its status (RFC 9457, section 4.2.1)."""
    body = f'{{"type":"about:blank","title":"{title}","status":{status}}}'
    return _REFUSAL.format(status=status, title=title, length=len(body), body=body).encode("ascii")


_TOO_LATE: Final = _refusal(408, "Request Timeout")
_TOO_LONG: Final = _refusal(431, "Request Header Fields Too Large")
_TOO_MANY: Final = _refusal(503, "Service Unavailable")


class Connection(H11Protocol):
    """The server's protocol with limits that apply before anything is known of the client.

    A new connection beyond the limit takes the place of one that only waits: first of one that never sent a whole
    head, then of the longest idle one. It is refused if all are in use.
    """

    def __init__(self, *, limits: Limits, **options: Any) -> None:
        super().__init__(**options)
        self._limits = limits
        self._timer: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self._head = 0
        """Bytes of the head that is arriving."""
        self._tail = b""
        self._refused = False
        self.idle_since = self.loop.time()

    @property
    def idle(self) -> bool:
        """Whether no request is in progress."""
        return self.cycle is None or self.cycle.response_complete

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the connection in, if there is room."""
        if len(self.connections) >= self._limits.connections and not self._make_room():
            self.transport, self._refused = transport, True
            transport.write(_TOO_MANY)
            transport.close()
            return
        super().connection_made(transport)
        self._timer = self.loop.call_later(self._limits.head_s, self._late)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_timer()
        self._has_read()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what the client sends; a head has a limit in length and time."""
        if self._refused or self.transport.is_closing():
            return
        if self.idle:
            if self._timer is None:
                self._timer = self.loop.call_later(self._limits.head_s, self._late)
            # what is left of a body that was answered before its end has no limit in length
            if self.conn.their_state is h11.IDLE and self._is_too_long(data):
                self._end_with(_TOO_LONG)
                return
        super().data_received(data)
        if not self.idle:
            self._stop_timer()

    def on_response_complete(self) -> None:
        """Wait for the next request."""
        self._stop_timer()
        self.idle_since = self.loop.time()
        super().on_response_complete()
        if self.transport.is_closing() and self.transport.get_write_buffer_size():
            self._unread = self._unread or self.loop.call_later(self._limits.unread_s, self.transport.abort)

    def timeout_keep_alive_handler(self) -> None:
        """End an idle connection, even if its client has not read the last response."""
        if self.transport.get_write_buffer_size():
            self.transport.abort()
        else:
            super().timeout_keep_alive_handler()

    def pause_writing(self) -> None:
        """Wait for a client that does not read, but not for ever."""
        super().pause_writing()
        self._unread = self._unread or self.loop.call_later(self._limits.unread_s, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on with a client that reads."""
        self._has_read()
        super().resume_writing()

    def give_way(self) -> None:
        """End an idle connection at once."""
        self.connections.discard(self)
        self.transport.abort()

    def _is_too_long(self, data: bytes) -> bool:
        """Count the bytes of a head, of which the end may come in two pieces."""
        window = self._tail + data
        end = _END_OF_HEAD.search(window)
        self._head += (len(window) if end is None else end.end()) - len(self._tail)
        self._tail = window[-_LONGEST_END:]
        return self._head > self._limits.head_bytes

    def _make_room(self) -> bool:
        waiting = [one for one in self.connections if isinstance(one, Connection) and one.idle]
        if not waiting:
            return False
        min(waiting, key=lambda one: (one.cycle is not None, one.idle_since)).give_way()
        return True

    def _late(self) -> None:
        self._timer = None
        if self._head:
            self._end_with(_TOO_LATE)
        else:
            self.transport.close()

    def _end_with(self, answer: bytes) -> None:
        self._stop_timer()
        self.transport.write(answer)
        self.transport.close()

    def _stop_timer(self) -> None:
        self._head, self._tail = 0, b""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _has_read(self) -> None:
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None


OTHER_FILES: Final = 512
"""Open files beside the connections: spooled batches, pipes, logs."""


def raised_file_limit(connections: int) -> int:
    """Raise the limit of open files as far as needed and allowed; return how many connections it leaves room for."""
    try:
        import resource  # not on Windows
    except ImportError:
        return connections
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    needed = connections + OTHER_FILES
    if soft != resource.RLIM_INFINITY and soft < needed:
        before, soft = soft, needed if hard == resource.RLIM_INFINITY else min(needed, hard)
        if soft != before:
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    if soft == resource.RLIM_INFINITY or soft >= needed:
        return connections
    left = max(soft // 2, soft - OTHER_FILES)
    _LOG.warning("the limit of %d open files allows %d connections, not %d", soft, left, connections)
    return left


_TELL_AGAIN_S: Final = 60.0


def quiet_about_files(loop: asyncio.AbstractEventLoop) -> None:
    """Log that no connection can be accepted once a minute; the loop would log each try, thousands a second."""
    told: list[float] = []
    before = loop.get_exception_handler()

    def handle(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        error = context.get("exception")
        if isinstance(error, OSError) and "accept" in context.get("message", ""):
            if not told or loop.time() - told[0] >= _TELL_AGAIN_S:
                told[:] = [loop.time()]
                _LOG.error("no connection can be accepted: %s", error.strerror)
        elif before is not None:
            before(loop, context)
        else:
            loop.default_exception_handler(context)

    loop.set_exception_handler(handle)
