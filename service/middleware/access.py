"""The middlewares that the settings ask for to say who may ask, and from where."""

from __future__ import annotations

from typing import Final

from starlette.middleware import Middleware
from starlette.middleware.cors import CORSMiddleware

from service.middleware.bearer import BearerTokens
from service.middleware.known_hosts import KnownHosts
from service.operations.settings import Settings

__all__ = ["access"]

_DAY_S: Final = 86_400


def access(settings: Settings) -> list[Middleware]:
    """The outermost first; nothing where nothing is set."""
    found = []
    if settings.allowed_hosts:
        found.append(Middleware(KnownHosts, hosts=settings.allowed_hosts))
    if settings.cors_origins:
        # Outside of the tokens: a browser asks first whether it may, without one.
        found.append(
            Middleware(
                CORSMiddleware,
                allow_origins=settings.cors_origins,
                allow_methods=("GET", "HEAD", "POST"),
                allow_headers=("Accept", "Authorization", "Content-Type"),
                max_age=_DAY_S,
            )
        )
    if settings.tokens_sha256:
        found.append(Middleware(BearerTokens, digests=settings.tokens_sha256))
    return found
