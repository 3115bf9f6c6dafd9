"""Bearer tokens: made at random, given out once, and known here by their digests alone."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Iterable
from hashlib import sha256
from ipaddress import ip_address
from typing import Final

__all__ = ["digest_of", "is_known", "is_loopback", "new_token"]

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
