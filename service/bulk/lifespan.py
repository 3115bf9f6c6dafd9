"""What an application holds for its batches, and lets go of when it stops."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager

from fastapi import FastAPI

from service.bulk.pool import Pool

__all__ = ["closing"]


def closing(pool: Pool) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """The lifespan of an application that ends this pool."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await asyncio.to_thread(pool.close)

    return lifespan
