"""Text that somebody sent, as it may be shown."""

from __future__ import annotations

__all__ = ["printable"]


def printable(text: str) -> str:
    """The text on one line, with a dot for each character that steers a terminal or turns the direction of reading.

    >>> printable("a\\x1b[2J\\u202eb")
    'a·[2J·b'
    """
    return "".join(one if one.isprintable() else "·" for one in text)
