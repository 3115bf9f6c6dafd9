"""Untrusted XML to a tree: nothing is loaded, expanded or included, and no document is large or deep."""

from __future__ import annotations

import re
from typing import Final

from lxml import etree

from rules.exchange.unreadable import UnreadableError, decode, printable

__all__ = ["MAX_ATTRIBUTES", "MAX_DEPTH", "MAX_ELEMENTS", "attributes_of", "line_of", "read_xml"]

MAX_ELEMENTS: Final = 20_000
MAX_ATTRIBUTES: Final = 1000
"""Of one element; the library takes a time that grows with their square."""
MAX_DEPTH: Final = 32
"""Deepest nesting of elements; an asset needs eight."""

_DECLARED: Final = re.compile(r"<\?xml\s[^>]*?encoding\s*=\s*[\"']([^\"'>]*)[\"']")
_UTF_8: Final = frozenset({"utf-8", "utf8", "us-ascii", "ascii"})
_DOCTYPE: Final = re.compile(r"<!DOCTYPE|<!ENTITY", re.IGNORECASE)
_PLACE: Final = re.compile(r", line \d+, column \d+( \(.*\))?$")


def read_xml(data: bytes) -> etree._Element:
    """The root of a document in UTF-8.

    A document type declaration is refused wherever it stands, before anything is parsed: no entity is ever
    declared, so none can be expanded or fetched.  Comments and processing instructions are left out.

    Raises :class:`UnreadableError`.
    """
    text = decode(data)
    if found := _DOCTYPE.search(text):
        raise _at(text, found.start(), "a document type declaration is not allowed")
    declared = _DECLARED.match(text)
    if declared and declared[1].lower() not in _UTF_8:
        raise _at(text, declared.start(1), "the document declares another encoding than UTF-8")
    # Each element opens with one '<' more than it closes with.
    if text.count("<") - text.count("</") > 2 * MAX_ELEMENTS:
        raise UnreadableError(f"a document may hold {MAX_ELEMENTS} elements", cause="unsuitable")
    try:
        root = etree.fromstring(text.encode(), _parser())
    except etree.XMLSyntaxError as error:
        line, column = error.position
        detail = printable(_PLACE.sub("", error.msg or "not well-formed"))
        raise UnreadableError(f"not well-formed: {detail}", line=line or None, column=column or None) from None
    _refuse_excess(root)
    return root


def line_of(element: etree._Element) -> int:
    """Line of an element, from 1."""
    line = getattr(element, "sourceline", None)
    return line if isinstance(line, int) else 1


def attributes_of(element: etree._Element) -> dict[str, str]:
    """Attributes by local name, in the order of the document."""
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


def _refuse_excess(root: etree._Element) -> None:
    level, count, depth = [root], 0, 0
    while level:
        count += len(level)
        depth += 1
        if depth > MAX_DEPTH:
            raise UnreadableError(f"elements are nested more than {MAX_DEPTH} deep", cause="unsuitable")
        if count > MAX_ELEMENTS:
            raise UnreadableError(f"a document may hold {MAX_ELEMENTS} elements", cause="unsuitable")
        if any(len(one.attrib) > MAX_ATTRIBUTES for one in level):
            raise UnreadableError(f"an element may hold {MAX_ATTRIBUTES} attributes", cause="unsuitable")
        level = [child for one in level for child in one]
        if any(not isinstance(one.tag, str) for one in level):
            raise UnreadableError("references to entities are not allowed")


def _at(text: str, index: int, detail: str) -> UnreadableError:
    return UnreadableError(detail, line=text.count("\n", 0, index) + 1, column=index - text.rfind("\n", 0, index))
