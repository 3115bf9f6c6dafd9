"""What limits a speed, in words."""

from __future__ import annotations

from typing import Final

from rules.schema.report import SpeedLimit

__all__ = ["cause"]

_CAUSES: Final = {
    "component": "marked on",
    "balance": "balance grade",
    "critical_speed": "share of the critical speed",
    "shrink_fit": "shrink fit",
    "machine": "machine",
    "cutting_speed": "cutting speed of",
}


def cause(limit: SpeedLimit) -> str:
    """Say what limits the speed, and of which part."""
    return f"{_CAUSES[limit.cause]} {limit.component}" if limit.component else _CAUSES[limit.cause]
