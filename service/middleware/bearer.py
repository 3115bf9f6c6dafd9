"""Who may ask: bearer tokens (RFC 6750)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from service.operations.problems import ProblemError
from service.readable_problems import answer_readably
from service.tokens import is_known

__all__ = ["OPEN_FOLDERS", "OPEN_PATHS", "BearerTokens", "is_open"]

OPEN_PATHS: Final = frozenset({"/", "/healthz", "/readyz", "/openapi.json", "/docs", "/favicon.ico"})
"""What anybody may ask: whether the service lives, what it understands, and its page."""

OPEN_FOLDERS: Final = ("/docs/", "/problems/", "/static/")

_REALM: Final = 'Bearer realm="stackgauge"'
_CREDENTIALS: Final = re.compile(rb"bearer +([A-Za-z0-9._~+/-]+=*)", re.IGNORECASE)
_LONGEST: Final = 512


def is_open(path: str) -> bool:
    """Whether a path may be asked without a token; a path that nobody thought of may not.

    >>> [is_open(path) for path in ("/healthz", "/problems/not-found", "/v1/checks", "/metrics", "/problems")]
    [True, True, False, False, False]
    """
    return path in OPEN_PATHS or path.startswith(OPEN_FOLDERS)


class BearerTokens:
    """Answers 401 unless a request carries a token whose SHA-256 is one of ``digests``, in lower-case hexadecimal.

    Neither a token nor a digest is ever told or logged.
    """

    def __init__(self, app: ASGIApp, digests: Sequence[str]) -> None:
        self._app = app
        self._digests = tuple(digests)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        problem = None if is_open(scope["path"]) else self._objection(scope)
        if problem is None:
            await self._app(scope, receive, send)
        else:
            await answer_readably(problem, Request(scope))(scope, receive, send)

    def _objection(self, scope: Scope) -> ProblemError | None:
        sent = [value for name, value in scope["headers"] if name == b"authorization"]
        if not sent:
            # no error code where nothing was sent (section 3.1)
            return _refused("The request carries no bearer token.", _REALM)
        found = _CREDENTIALS.fullmatch(sent[0]) if len(sent) == 1 and len(sent[0]) <= _LONGEST else None
        if found is not None and is_known(found[1].decode("ascii"), self._digests):
            return None
        return _refused("The token is not one that this service knows.", f'{_REALM}, error="invalid_token"')


def _refused(detail: str, challenge: str) -> ProblemError:
    return ProblemError("token-needed", detail, headers={"WWW-Authenticate": challenge})
