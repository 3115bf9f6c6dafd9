"""Bytes to text, and the one error for documents that cannot be read at all."""

from __future__ import annotations

from typing import Final, Literal

__all__ = ["MAX_BYTES", "UnreadableError", "decode", "printable"]

MAX_BYTES: Final = 4 * 1024 * 1024
"""Largest document read; an operator's limit on bodies comes before it."""

_UTF_16_32: Final = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff", b"<\x00", b"\x00<")
_LONGEST: Final = 64


class UnreadableError(ValueError):
    """A document of which nothing can be used.

    ``cause`` tells ``"malformed"`` (not text, not well-formed, or dangerous) from ``"unsuitable"`` (readable,
    but no document of this kind).  ``line`` and ``column`` count from 1, in characters; ``None`` where unknown.
    """

    def __init__(
        self,
        detail: str,
        *,
        cause: Literal["malformed", "unsuitable"] = "malformed",
        line: int | None = None,
        column: int | None = None,
    ) -> None:
        self.detail = detail
        self.cause = cause
        self.line = line
        self.column = column
        super().__init__(detail if line is None else f"line {line}, column {column}: {detail}")


def decode(data: bytes) -> str:
    """The text of UTF-8 bytes, without a byte order mark in front.

    Raises :class:`UnreadableError` for anything else, for NUL and for more than :data:`MAX_BYTES`.
    """
    if len(data) > MAX_BYTES:
        raise UnreadableError(f"a document may hold {MAX_BYTES} bytes", cause="unsuitable")
    if data.startswith(_UTF_16_32):
        raise UnreadableError("the text is UTF-16 or UTF-32; UTF-8 is expected")
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line, column = _position(data[: error.start].decode("utf-8"))
        raise UnreadableError("the text is not UTF-8", line=line, column=column) from None
    if (at := text.find("\x00")) >= 0:
        line, column = _position(text[:at])
        raise UnreadableError("the text holds a NUL character", line=line, column=column)
    if not text.strip():
        raise UnreadableError("the document is empty")
    return text


def _position(before: str) -> tuple[int, int]:
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def printable(text: str) -> str:
    """A text of the document as it may be repeated: cut short, on one line, nothing that steers a terminal.

    >>> printable("a\\x1b[2Jb")
    'a·[2Jb'
    """
    short = text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
    return "".join(one if one.isprintable() else "·" for one in short)
