"""Randomly damaged documents: bytes removed, inserted, repeated or moved."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import Any, Final

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

__all__ = ["damaged", "fuzzed"]

SHORT: Final = 100
"""Inputs of one reader in an ordinary run."""

_ANYWHERE: Final[tuple[bytes, ...]] = (
    b"",
    b"\x00",
    b"\n",
    b"\r",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"\xc0\xaf",
    b"\xed\xa0\x80",
    b"\xf0\x9f\x98\x80",
    "\u202e".encode(),
    "\u2028".encode(),
    b"\x1b[2J",
    b"-1",
    b"1e400",
    b"9" * 400,
    b"0.0000001",
    b"nan",
    b"inf",
    b'"',
    b"'",
    b"\\",
    b" ",
)


def damaged(documents: Sequence[bytes], words: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """One of the documents after up to six damages; words are what means something to its reader."""
    put = st.one_of(st.sampled_from([*words, *_ANYWHERE]), st.binary(max_size=8))
    place = st.integers(0, 2**16)
    kind = st.sampled_from(("replace", "replace", "copy", "repeat"))
    edits = st.lists(st.tuples(kind, place, place, st.integers(0, 60), put), max_size=6)
    return st.builds(_damage, st.sampled_from(list(documents)), edits)


def _damage(document: bytes, edits: Sequence[tuple[str, int, int, int, bytes]]) -> bytes:
    data = document
    for kind, at, other, length, put in edits:
        start = at % (len(data) + 1)
        if kind == "replace":
            data = data[:start] + put + data[start + length :]
        elif kind == "copy":
            source = other % (len(data) + 1)
            data = data[:start] + data[source : source + length] + data[start:]
        else:
            data = data[:start] + data[start : start + length] * (other % 40) + data[start + length :]
    return data[:20_000]


def fuzzed(inputs: st.SearchStrategy[Any], long: int) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Run a test on inputs that are always the same; with --long on so many, of all readers together over a million."""

    def decorate(test: Callable[..., None]) -> Callable[..., None]:
        quiet = settings(
            max_examples=long if "--long" in sys.argv else SHORT,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        return quiet(given(inputs)(test))

    return decorate
