"""CSV text to rows with their line numbers, after RFC 4180, the separator told by the head line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Final

from rules.exchange.unreadable import UnreadableError

__all__ = ["SEPARATORS", "BrokenTableError", "numbered_rows", "separator_of"]

SEPARATORS: Final = ",;\t"

_NAMES: Final = {",": "commas", ";": "semicolons", "\t": "tabs"}


class BrokenTableError(ValueError):
    """From ``line`` on the text is no table, so nothing after it can be told apart."""

    def __init__(self, detail: str, line: int) -> None:
        self.detail = detail
        self.line = line
        super().__init__(f"line {line}: {detail}")


def separator_of(text: str) -> str:
    """The separator: the only one of comma, semicolon and tab in the head line, outside quotes.

    >>> separator_of("ID;KIND;'a,b'"), separator_of('ID\\tKIND\\t"a,b"')
    Traceback (most recent call last):
    rules.exchange.unreadable.UnreadableError: line 1, column 1: the head line holds commas and semicolons; one \
separator is expected

    Raises :class:`UnreadableError` where there is none or more than one.
    """
    found: dict[str, None] = {}
    quoted = False
    for character in text.lstrip("\r\n"):
        if character == '"':
            quoted = not quoted
        elif not quoted and character in "\r\n":
            break
        elif not quoted and character in SEPARATORS:
            found[character] = None
    if len(found) == 1:
        return next(iter(found))
    told = " and ".join(_NAMES[one] for one in SEPARATORS if one in found) or "no comma, semicolon or tab"
    raise UnreadableError(
        f"the head line holds {told}; one separator is expected", cause="unsuitable", line=1, column=1
    )


def numbered_rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that are not empty, each with the line it starts in.

    Raises :class:`BrokenTableError` for a quote that is not closed or stands where none may, and for a cell of more
    than 131 072 characters, the library's limit.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader, None)
        except csv.Error as error:
            raise BrokenTableError(str(error), line) from None
        if row is None:
            return
        if row:
            yield line, row
