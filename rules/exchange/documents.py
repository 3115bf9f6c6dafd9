"""A document of either format to an import, the format told by the caller or by what the text begins with."""

from __future__ import annotations

from rules.exchange.component_csv import read_component_csv
from rules.exchange.cutting_tool_xml import read_cutting_tools
from rules.exchange.imported import Import
from rules.schema.imports import ComponentKind, ImportFormat

__all__ = ["format_of", "read_document"]


def format_of(data: bytes) -> ImportFormat:
    """XML begins with an angle bracket, and no head line of a table does.

    >>> format_of(b'\\xef\\xbb\\xbf <?xml version="1.0"?>'), format_of(b"ID,KIND")
    ('mtconnect_assets', 'csv')
    """
    begins = data[:1024].removeprefix(b"\xef\xbb\xbf").lstrip()
    return "mtconnect_assets" if begins.startswith(b"<") else "csv"


def read_document(data: bytes, form: ImportFormat, kind: ComponentKind | None = None) -> Import:
    """Read the components of a document; ``kind`` says what those are of which the document does not say it.

    Raises :class:`~rules.exchange.unreadable.UnreadableError`.
    """
    return read_cutting_tools(data, kind) if form == "mtconnect_assets" else read_component_csv(data, kind)
