"""The middlewares that the settings ask for to say who may ask, and from where.

Bearer tokens: made at random, given out once, and known here by their digests alone.

Who may ask: bearer tokens (RFC 6750).

Under which names the service may be asked.
"""

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

from service.http.problem_answers import answer_readably
from service.operations.problems import ProblemError, answer
from service.operations.settings import Settings

__all__ = ["access", "digest_of", "is_known", "is_loopback", "is_open", "new_token"]


_BYTES: Final = 32
"""Of chance in a token; so much can't be guessed, so a plain digest of it needs neither salt nor slowness."""


def new_token() -> str:
    """A token that nobody else has, of characters that a header takes as they are (RFC 6750, section 2.1)."""
    return secrets.token_urlsafe(_BYTES)


def digest_of(token: str) -> str:
    """The SHA-256 of a token, 64 hexadecimal digits in lower case.

    >>> digest_of("abc")
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'
    """
    return sha256(token.encode()).hexdigest()


def is_known(token: str, digests: Iterable[str]) -> bool:
    """Whether a token is one of those, in a time that does not tell which or how nearly."""
    own = digest_of(token)
    known = False
    for digest in digests:
        known |= hmac.compare_digest(own, digest)
    return known


def is_loopback(host: str) -> bool:
    """Whether an address to listen on is reached from this machine alone.

    >>> [is_loopback(host) for host in ("127.0.0.1", "::1", "localhost", "0.0.0.0", "::", "tools.example", "")]
    [True, True, True, False, False, False, False]
    """
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


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


class KnownHosts:
    """Answers 421 to a request whose Host is not one of ``hosts``, whatever its port (RFC 9110, section 15.5.20).

    A page from elsewhere whose name was turned to this machine (DNS rebinding) is stopped here.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or _host(scope) in self._hosts:
            await self._app(scope, receive, send)
            return
        problem = ProblemError("unknown-host", "The service is not known by the name in the Host header.")
        await answer(problem, Request({**scope, "headers": []}))(scope, receive, send)


def _host(scope: Scope) -> str | None:
    """The name without the port, in lower case; None unless exactly one is sent."""
    sent = [value for name, value in scope["headers"] if name == b"host"]
    if len(sent) != 1:
        return None
    host: str = sent[0].decode("latin-1").lower()
    return host.partition("]")[0] + "]" if host.startswith("[") else host.partition(":")[0]


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
