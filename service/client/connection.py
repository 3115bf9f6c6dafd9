"""What both clients ask of httpx, and what they make of its errors."""

from __future__ import annotations

import re
from typing import Any, Final

import httpx
from pydantic import SecretStr

from rules.version import NAME, VERSION
from service.client.sending import UnreachableError

__all__ = ["DEFAULT_ADDRESS", "checked_address", "http_options", "unreachable"]

DEFAULT_ADDRESS: Final = "http://127.0.0.1:8713"

_TOKEN: Final = re.compile(r"[A-Za-z0-9._~+/-]+=*")
"""What a bearer token may consist of (RFC 6750, section 2.1)."""

_NOTHING_ANSWERED: Final = (httpx.NetworkError, httpx.ConnectTimeout, httpx.RemoteProtocolError)
"""Connections that could not be made or broke; a timeout of a connection that stands is not repeated, since a service
that is slow would be asked the more."""


def checked_address(address: str) -> httpx.URL:
    """The address as a URL; raises ValueError unless it is one of http or https without a user's name in it."""
    url = httpx.URL(address)
    if url.userinfo:
        raise ValueError("the address must not hold a user's name or password; give a token instead")
    if url.scheme not in ("http", "https") or not url.host or url.query or url.fragment:
        raise ValueError(f"an address as http://host:port is wanted, not {address!r}")
    return url


def http_options(address: httpx.URL, token: str | SecretStr | None) -> dict[str, Any]:
    """Options for the client of httpx, the token among its headers; raises ValueError for what is no token."""
    headers = {"User-Agent": f"{NAME}-client/{VERSION}"}
    if token is not None:
        secret = token.get_secret_value() if isinstance(token, SecretStr) else token
        if not _TOKEN.fullmatch(secret):
            raise ValueError("the token holds characters that no bearer token may hold")
        headers["Authorization"] = f"Bearer {secret}"
    # Followed to another place, the token would go there too.
    return {"base_url": address, "headers": headers, "follow_redirects": False}


def unreachable(error: httpx.HTTPError, address: httpx.URL) -> UnreachableError:
    """The client's error for one of httpx."""
    told = str(error) or type(error).__name__
    detail = f"No answer from {address}: {told}"
    return UnreachableError(detail, repeatable=isinstance(error, _NOTHING_ANSWERED))
