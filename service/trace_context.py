"""The ``traceparent`` header: which trace a request belongs to (W3C Trace Context, Recommendation of 2021)."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

__all__ = ["TraceContext", "trace_context"]

# Later versions may add fields behind a further dash (section 3.2.4 of the Recommendation).
_SHAPE: Final = re.compile(rb"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-[0-9a-f]{2}(-.*)?", re.DOTALL)


class TraceContext(NamedTuple):
    """The identity of the caller's span."""

    trace_id: str
    """32 hexadecimal digits."""
    parent_id: str
    """16 hexadecimal digits."""


def trace_context(header: bytes) -> TraceContext | None:
    """Read a ``traceparent``; None for one that the Recommendation calls invalid.

    The service calls nobody, so there is nothing to hand the context on to, and the Recommendation defines no header
    of an answer: the identity is told in the log alone.
    """
    match = _SHAPE.fullmatch(header.strip(b" \t"))
    if match is None:
        return None
    version, trace, parent, more = match.groups()
    if version == b"ff" or (version == b"00" and more is not None):
        return None
    if not trace.strip(b"0") or not parent.strip(b"0"):
        return None
    return TraceContext(trace.decode(), parent.decode())
