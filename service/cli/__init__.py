"""The command line."""

from __future__ import annotations

from typing import Final

__all__ = ["BAD_INPUT", "FAULT", "PIPE_CLOSED"]

BAD_INPUT: Final = 3
"""Exit code of an invalid request, rulebook, setting or command; these are here to need no other module."""

FAULT: Final = 4
"""Exit code of a program fault, without a verdict."""

PIPE_CLOSED: Final = 141
"""Exit code where the reader closed the output: 128 + SIGPIPE, as in a shell."""
