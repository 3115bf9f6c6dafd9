"""Variants of the shop's five-component stack, all slightly different.

The service caches the laws of sums. No two of these stacks have a sum in common, so each is judged without the cache.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Final

__all__ = ["STACK", "various_bodies"]

STACK: Final = Path(__file__).resolve().parents[2] / "demo_data" / "stacks" / "03-deep-rib-nut-collets.json"

_STEP: Final = 1e-6
"""Relative change: far above the precision of a float, far below the resolution of a report."""


def various_bodies(count: int, first: int = 0) -> Iterator[bytes]:
    """Yield this number of check bodies, identical for identical numbers."""
    stated = json.loads(STACK.read_bytes())
    for number in range(first, first + count):
        factor = 1.0 + _STEP * number
        request = json.loads(json.dumps(stated))
        for part in request["stack"]["components"]:
            for reading in part.get("runout", {"statements": ()})["statements"]:
                reading["tir_um"] *= factor
            if "unbalance_g_mm" in part:
                part["unbalance_g_mm"] *= factor
        yield json.dumps(request, separators=(",", ":")).encode()
