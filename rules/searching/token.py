"""The token that a page ends with: the place where the walk goes on, bound to request, rules and program."""

from __future__ import annotations

import binascii
import hashlib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from typing import Final

from rules.assess import Assessor
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.search import MAX_SEARCH_LENGTH, SearchRequest
from rules.searching.walk import Path
from rules.version import VERSION

__all__ = ["ContinuationError", "digest_of", "path_of", "token_of"]

_FORMAT: Final = b"\x01"
_DIGEST_BYTES: Final = 16
_NUMBER_BYTES: Final = 2


class ContinuationError(BadRequestError):
    """The token is none, or that of another request, other rules or another version."""

    def __init__(self, detail: str) -> None:
        super().__init__([Fault("/continuation", detail)])


def digest_of(request: SearchRequest, assessor: Assessor) -> bytes:
    """Return what a token is bound to: the request but for page and token, rulebooks, catalogue and version."""
    asked = request.model_dump_json(exclude_unset=True, exclude={"continuation", "page"})
    bound = "\n".join((VERSION, assessor.book.digest, assessor.catalogue.digest or "", asked))
    return hashlib.sha256(bound.encode()).digest()[:_DIGEST_BYTES]


def token_of(path: Path, digest: bytes) -> str:
    """Write a place as text that a URL may carry.

    >>> token_of((3, 12, 0), bytes(16))
    'AQAAAAAAAAAAAAAAAAAAAAAAAwAMAAA'
    """
    numbers = b"".join(number.to_bytes(_NUMBER_BYTES, "big") for number in path)
    return urlsafe_b64encode(_FORMAT + digest + numbers).rstrip(b"=").decode()


def path_of(token: str, digest: bytes) -> Path:
    """Read a place; raises :class:`ContinuationError` where it is not one of this request under these rules.

    >>> path_of("AQAAAAAAAAAAAAAAAAAAAAAAAwAMAAA", bytes(16))
    (3, 12, 0)
    """
    try:
        data = urlsafe_b64decode(token + "=" * (-len(token) % 4))
    except (binascii.Error, ValueError):
        raise ContinuationError("this is no token of a search") from None
    start = len(_FORMAT) + _DIGEST_BYTES
    numbers = data[start:]
    most = (MAX_SEARCH_LENGTH + 1) * _NUMBER_BYTES
    if data[: len(_FORMAT)] != _FORMAT or not 0 < len(numbers) <= most or len(numbers) % _NUMBER_BYTES:
        raise ContinuationError("this is no token of a search of this version")
    if data[len(_FORMAT) : start] != digest:
        raise ContinuationError(
            "this token belongs to another request, or to other rulebooks, another catalogue or another version of the"
            " service: send the request of the page before, or begin anew without a token"
        )
    path = tuple(int.from_bytes(numbers[at : at + 2], "big") for at in range(0, len(numbers), _NUMBER_BYTES))
    if token_of(path, digest) != token:
        raise ContinuationError("this is no token of a search")
    return path
