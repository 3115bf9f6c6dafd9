"""Where a batch is sent, and the names of its form in lines."""

from __future__ import annotations

from typing import Final

__all__ = ["JSON_LINES", "NDJSON", "PATH", "STREAMS"]

PATH: Final = "/v1/check-batches"

NDJSON: Final = "application/x-ndjson"
JSON_LINES: Final = "application/jsonl"

STREAMS: Final = (NDJSON, JSON_LINES)
"""Names of one format, neither of which is registered."""
