"""The shop's five-component stack again and again, each a little unlike all others.

A service keeps the laws of sums that come again; of these stacks none has a sum in common with another, so each is
judged as a stack that was never seen before.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Final

__all__ = ["STACK", "various_bodies"]

STACK: Final = Path(__file__).resolve().parents[2] / "demo_data" / "stacks" / "03-deep-rib-nut-collets.json"

_STEP: Final = 1e-6
"""Relative; far above the last digit of a float, far below what a report shows."""


def various_bodies(count: int, first: int = 0) -> Iterator[bytes]:
    """Yield so many bodies of a check, always the same for the same numbers."""
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
