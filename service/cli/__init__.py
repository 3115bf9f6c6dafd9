"""The command line."""

from __future__ import annotations

from typing import Final

__all__ = ["FAULT"]

FAULT: Final = 4
"""Exit code: the program itself failed, and there is no verdict. Known without the server extra."""
