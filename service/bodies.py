"""The body of a request as it comes from the server."""

from __future__ import annotations

from fastapi import Request
from starlette.requests import ClientDisconnect

__all__ = ["whole_body"]


async def whole_body(request: Request) -> bytes:
    """Read the body to its end; most come in one piece, which is handed on as it is.

    Raises :class:`ClientDisconnect` where the client goes before.
    """
    pieces: list[bytes] = []
    while True:
        message = await request.receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        piece: bytes = message.get("body", b"")
        if not message.get("more_body", False):
            return b"".join((*pieces, piece)) if pieces else piece
        pieces.append(piece)
