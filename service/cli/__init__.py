"""The command line."""

from __future__ import annotations

from typing import Final

__all__ = ["BAD_INPUT", "FAULT", "PIPE_CLOSED", "examples"]

BAD_INPUT: Final = 3
"""Exit code of an invalid request, rulebook, setting or command; these are here to need no other module."""

FAULT: Final = 4
"""Exit code of a program fault, without a verdict."""

PIPE_CLOSED: Final = 141
"""Exit code where the reader closed the output: 128 + SIGPIPE, as in a shell."""


def examples(*pairs: tuple[str, str]) -> str:
    """Return the examples for the end of a help text: a command and what it does in each line.

    >>> print(examples(("stackgauge token", "a new token")))
    examples:
      stackgauge token    a new token
    """
    wide = max(len(command) for command, _ in pairs)
    return "\n".join(["examples:", *(f"  {command:{wide}}    {what}" for command, what in pairs)])
