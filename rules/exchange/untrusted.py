"""Read untrusted text, XML and CSV (RFC 4180) within limits of size and depth.

XML is parsed without external entities, expansion or inclusion.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Final, Literal

from lxml import etree

__all__ = [
    "MAX_ATTRIBUTES",
    "MAX_BYTES",
    "MAX_DEPTH",
    "MAX_ELEMENTS",
    "BrokenTableError",
    "UnreadableError",
    "attributes_of",
    "decode",
    "line_of",
    "numbered_rows",
    "printable",
    "read_xml",
    "separator_of",
]


MAX_BYTES: Final = 4 * 1024 * 1024
"""Largest document, in bytes; the limit on request bodies applies first."""

_UTF_16_32: Final = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff", b"<\x00", b"\x00<")
_LONGEST: Final = 64


class UnreadableError(ValueError):
    """A document that cannot be read.

    ``cause`` is ``"malformed"`` (not text, not well-formed, or dangerous) or ``"unsuitable"`` (readable, but not a
    document of this kind).  ``line`` and ``column`` count from 1, in characters; ``None`` where unknown.
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
    """Return the text of UTF-8 bytes, without byte order marks and marks of zero width.

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
    text = text.translate(_UNSEEN)
    if not text.strip():
        raise UnreadableError("the document is empty")
    return text


_UNSEEN: Final = dict.fromkeys(map(ord, "\ufeff\u200b\u2060"))
"""Byte order marks, also where files were joined, and marks of zero width from web pages: 'h6' must be h6."""


def _position(before: str) -> tuple[int, int]:
    return before.count("\n") + 1, len(before) - before.rfind("\n")


def printable(text: str) -> str:
    """Return a text of the document that is safe to quote: cut short, on one line, without terminal control characters.

    >>> printable("a\\x1b[2Jb")
    'a·[2Jb'
    """
    short = text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
    return "".join(one if one.isprintable() else "·" for one in short)


MAX_ELEMENTS: Final = 20_000
MAX_ATTRIBUTES: Final = 1000
"""Most attributes of one element; the library's time grows with the square of their number."""
MAX_DEPTH: Final = 32
"""Deepest nesting of elements; an asset needs eight."""

_DECLARED: Final = re.compile(r"<\?xml\s[^>]*?encoding\s*=\s*[\"']([^\"'>]*)[\"']")
_UTF_8: Final = frozenset({"utf-8", "utf8", "us-ascii", "ascii"})
_DOCTYPE: Final = re.compile(r"<!DOCTYPE|<!ENTITY", re.IGNORECASE)
_PLACE: Final = re.compile(r", line \d+, column \d+( \(.*\))?$")


def read_xml(data: bytes, most: int = MAX_ELEMENTS) -> etree._Element:
    """Return the root element of a document in UTF-8 with at most so many elements.

    A document type declaration is rejected before parsing, so no entity can be declared, expanded or fetched. Comments
    and processing instructions are ignored.

    Raises :class:`UnreadableError`.
    """
    text = decode(data)
    if found := _DOCTYPE.search(text):
        raise _at(text, found.start(), "a document type declaration is not allowed")
    declared = _DECLARED.match(text)
    if declared and declared[1].lower() not in _UTF_8:
        raise _at(text, declared.start(1), "the document declares another encoding than UTF-8")
    # Each element opens with one '<' more than it closes with.
    if text.count("<") - text.count("</") > 2 * most:
        raise UnreadableError(f"a document may hold {most} elements", cause="unsuitable")
    try:
        root = etree.fromstring(text.encode(), _parser())
    except etree.XMLSyntaxError as error:
        line, column = error.position
        detail = printable(_PLACE.sub("", error.msg or "not well-formed"))
        raise UnreadableError(f"not well-formed: {detail}", line=line or None, column=column or None) from None
    _refuse_excess(root, most)
    return root


def line_of(element: etree._Element) -> int:
    """Return the line of an element, from 1."""
    line = getattr(element, "sourceline", None)
    return line if isinstance(line, int) else 1


def attributes_of(element: etree._Element) -> dict[str, str]:
    """Return the attributes by local name, in the order of the document."""
    return {etree.QName(name).localname: str(value) for name, value in element.attrib.items()}


def _parser() -> etree.XMLParser:
    return etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        attribute_defaults=False,
        huge_tree=False,
        recover=False,
        remove_comments=True,
        remove_pis=True,
        collect_ids=False,
    )


def _refuse_excess(root: etree._Element, most: int) -> None:
    level, count, depth = [root], 0, 0
    while level:
        count += len(level)
        depth += 1
        if depth > MAX_DEPTH:
            raise UnreadableError(f"elements are nested more than {MAX_DEPTH} deep", cause="unsuitable")
        if count > most:
            raise UnreadableError(f"a document may hold {most} elements", cause="unsuitable")
        if any(len(one.attrib) > MAX_ATTRIBUTES for one in level):
            raise UnreadableError(f"an element may hold {MAX_ATTRIBUTES} attributes", cause="unsuitable")
        level = [child for one in level for child in one]
        if any(not isinstance(one.tag, str) for one in level):
            raise UnreadableError("references to entities are not allowed")


def _at(text: str, index: int, detail: str) -> UnreadableError:
    return UnreadableError(detail, line=text.count("\n", 0, index) + 1, column=index - text.rfind("\n", 0, index))


SEPARATORS: Final = ",;\t"

_NAMES: Final = {",": "commas", ";": "semicolons", "\t": "tabs"}


class BrokenTableError(ValueError):
    """A text that is not a valid table from ``line`` on; no row after it can be read."""

    def __init__(self, detail: str, line: int) -> None:
        self.detail = detail
        self.line = line
        super().__init__(f"line {line}: {detail}")


def separator_of(text: str) -> str:
    """Return the separator: the only one of comma, semicolon and tab in the heading line, outside quotes.

    >>> separator_of("ID;KIND;'a,b'"), separator_of('ID\\tKIND\\t"a,b"')
    Traceback (most recent call last):
    rules.exchange.untrusted.UnreadableError: line 1, column 1: the heading line contains commas and semicolons; one \
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
    separators = " and ".join(_NAMES[one] for one in SEPARATORS if one in found) or "no comma, semicolon or tab"
    raise UnreadableError(
        f"the heading line contains {separators}; one separator is expected", cause="unsuitable", line=1, column=1
    )


def numbered_rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows that are not empty, each with its first line number.

    Raises :class:`BrokenTableError` for an unclosed or misplaced quote, and for a cell of more than 131 072 characters,
    the library's limit.
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
