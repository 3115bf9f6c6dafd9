"""The command line."""

from __future__ import annotations

from typing import Final

__all__ = ["FAULT"]

FAULT: Final = 4
"""Exit code of a program fault, without a verdict; defined here to need no server extra."""
