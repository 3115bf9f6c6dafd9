"""A small load client: many persistent connections that post one body after the other and time each answer.

It writes HTTP/1.1 directly, because a full client takes more time than some servers under test.
Run: python -m tests.support.load_client PORT PATH CONNECTIONS REQUESTS FIRST; prints one line of JSON.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from tests.support.various_stacks import various_bodies

__all__ = ["Load", "post_all"]


@dataclass(frozen=True, slots=True)
class Load:
    """Results of a round of requests."""

    seconds: float
    errors: int
    latencies_ms: list[float]


async def post_all(port: int, path: str, bodies: list[bytes], connections: int) -> Load:
    """Post every body once over a number of connections; each waits for an answer before the next request."""
    heads = f"POST {path} HTTP/1.1\r\nhost: stackgauge\r\ncontent-type: application/json\r\ncontent-length: "
    waiting: Iterator[bytes] = iter(bodies)
    latencies: list[float] = []
    errors = 0

    async def one_after_the_other() -> None:
        nonlocal errors
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for body in waiting:
            begin = time.perf_counter()
            writer.write(b"%b%d\r\n\r\n%b" % (heads.encode(), len(body), body))
            head = await reader.readuntil(b"\r\n\r\n")
            await reader.readexactly(_length(head))
            latencies.append((time.perf_counter() - begin) * 1e3)
            errors += not head.startswith(b"HTTP/1.1 200 ")
        writer.close()
        await writer.wait_closed()

    begin = time.perf_counter()
    await asyncio.gather(*(one_after_the_other() for _ in range(connections)))
    return Load(time.perf_counter() - begin, errors, latencies)


def _length(head: bytes) -> int:
    lines = head.lower().split(b"\r\n")
    return next(int(line[15:]) for line in lines if line.startswith(b"content-length:"))


def main() -> None:
    """Run one round and print its results."""
    port, path, connections, requests, first = (int(x) if x.isdigit() else x for x in sys.argv[1:6])
    bodies = list(various_bodies(int(requests), int(first)))
    load: dict[str, Any] = asdict(asyncio.run(post_all(int(port), str(path), bodies, int(connections))))
    print(json.dumps(load))


if __name__ == "__main__":
    main()
