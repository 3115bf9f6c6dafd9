"""Access control by the settings: bearer tokens (RFC 6750), allowed host names and CORS."""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Iterable, Sequence
from hashlib import sha256
from ipaddress import ip_address
from typing import Final

from starlette.middleware import Middleware
from starlette.middleware.cors import CORSMiddleware
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from rules.schema.editor_schema import EDITOR_SCHEMA_PATH
from rules.schema.import_map import IMPORT_MAP_SCHEMA_PATH
from rules.schema.waivers import WAIVER_SCHEMA_PATH
from service.contract import KEYS_PATH
from service.http.problem_answers import answer_readably
from service.operations.problems import ProblemError, answer
from service.operations.settings import Settings

__all__ = ["access", "digest_of", "is_known", "is_loopback", "is_open", "new_token"]


_BYTES: Final = 32
"""Random bytes in a token; enough that a plain digest needs no salt and no slow hash."""


def new_token() -> str:
    """A random token in the characters of RFC 6750, section 2.1."""
    return secrets.token_urlsafe(_BYTES)


def digest_of(token: str) -> str:
    """The SHA-256 of a token, 64 lower-case hexadecimal digits.

    >>> digest_of("abc")
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'
    """
    return sha256(token.encode()).hexdigest()


def is_known(token: str, digests: Iterable[str]) -> bool:
    """Whether the digest of a token is in ``digests``, compared in constant time."""
    own = digest_of(token)
    known = False
    for digest in digests:
        known |= hmac.compare_digest(own, digest)
    return known


def is_loopback(host: str) -> bool:
    """Whether a listen address is reachable from this machine only.

    >>> [is_loopback(host) for host in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "::", "tools.example", "")]
    [True, True, True, False, False, False, False]
    """
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


OPEN_PATHS: Final = frozenset(
    {
        *("/", "/healthz", "/readyz", "/openapi.json", KEYS_PATH),
        *(EDITOR_SCHEMA_PATH, IMPORT_MAP_SCHEMA_PATH, WAIVER_SCHEMA_PATH),
        *("/docs", "/rules/try", "/favicon.ico", "/problems"),
    }
)
"""Paths without a token: liveness, OpenAPI document, schemas for editors, public keys, problem types and pages."""

OPEN_FOLDERS: Final = ("/docs/", "/examples/", "/problems/", "/static/")

_REALM: Final = 'Bearer realm="stackgauge"'
_CREDENTIALS: Final = re.compile(rb"bearer +([A-Za-z0-9._~+/-]+=*)", re.IGNORECASE)
_LONGEST: Final = 512


def is_open(path: str) -> bool:
    """Whether a path needs no token; unknown paths do.

    >>> [is_open(path) for path in ("/healthz", "/problems/not-found", "/v1/checks", "/metrics", "/problems")]
    [True, True, False, False, True]
    """
    return path in OPEN_PATHS or path.startswith(OPEN_FOLDERS)


class BearerTokens:
    """Responds 401 unless the request has a token whose SHA-256 is in ``digests`` (lower-case hexadecimal).

    Tokens and digests never appear in a response or log.
    """

    def __init__(self, app: ASGIApp, digests: Sequence[str]) -> None:
        self._app = app
        self._digests = tuple(digests)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        problem = None if is_open(scope["path"]) else self._problem(scope)
        if problem is None:
            await self._app(scope, receive, send)
        else:
            await answer_readably(problem, Request(scope))(scope, receive, send)

    def _problem(self, scope: Scope) -> ProblemError | None:
        sent = [value for name, value in scope["headers"] if name == b"authorization"]
        if not sent:
            # no error code if no token was sent (section 3.1)
            return _refused("The request has no bearer token.", _REALM)
        found = _CREDENTIALS.fullmatch(sent[0]) if len(sent) == 1 and len(sent[0]) <= _LONGEST else None
        if found is not None and is_known(found[1].decode("ascii"), self._digests):
            return None
        return _refused("The bearer token is not valid.", f'{_REALM}, error="invalid_token"')


def _refused(detail: str, challenge: str) -> ProblemError:
    return ProblemError("token-needed", detail, headers={"WWW-Authenticate": challenge})


class KnownHosts:
    """Responds 421 unless the Host header, without port, is in ``hosts`` (RFC 9110, section 15.5.20).

    Protects against DNS rebinding.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or _host(scope) in self._hosts:
            await self._app(scope, receive, send)
            return
        problem = ProblemError("unknown-host", "The name in the Host header is not allowed.")
        await answer(problem, Request({**scope, "headers": []}))(scope, receive, send)


def _host(scope: Scope) -> str | None:
    """The Host header without port, in lower case; None unless exactly one is sent."""
    sent = [value for name, value in scope["headers"] if name == b"host"]
    if len(sent) != 1:
        return None
    host: str = sent[0].decode("latin-1").lower()
    return host.partition("]")[0] + "]" if host.startswith("[") else host.partition(":")[0]


_DAY_S: Final = 86_400


def access(settings: Settings) -> list[Middleware]:
    """The middlewares that the settings require, outermost first."""
    found = []
    if settings.allowed_hosts:
        found.append(Middleware(KnownHosts, hosts=settings.allowed_hosts))
    if settings.cors_origins:
        # Before the tokens: a browser sends its preflight request without one.
        found.append(
            Middleware(
                CORSMiddleware,
                allow_origins=settings.cors_origins,
                allow_methods=("GET", "HEAD", "POST"),
                allow_headers=("Accept", "Authorization", "Content-Encoding", "Content-Type", "If-None-Match"),
                expose_headers=("ETag", "Retry-After", "X-Request-ID"),
                max_age=_DAY_S,
            )
        )
    if settings.tokens_sha256:
        found.append(Middleware(BearerTokens, digests=settings.tokens_sha256))
    return found
