"""A body in multipart/form-data (RFC 7578), taken apart in memory and within limits.

The framework's reader needs another package, writes large parts to disk and does not work in another process.
"""

from __future__ import annotations

from collections.abc import Mapping
from email.message import Message
from email.parser import BytesHeaderParser
from typing import Final, NamedTuple

from service.operations.problems import ProblemError

__all__ = ["FORM", "FormPart", "boundary_of", "form_parts"]

FORM: Final = "multipart/form-data"

MAX_PARTS: Final = 8
MAX_HEAD_BYTES: Final = 4096
"""Longest head of a part."""

_BINARY: Final = frozenset({"", "7bit", "8bit", "binary"})


class FormPart(NamedTuple):
    """One field of a form: its media type as sent, empty if it has none, and its content."""

    media_type: str
    content: bytes


def boundary_of(content_type: str) -> str:
    """Return the boundary that a Content-Type names; raises :class:`ProblemError` if it names none.

    >>> boundary_of('multipart/form-data; boundary="a b"')
    'a b'
    """
    message = Message()
    message["content-type"] = content_type
    boundary = message.get_param("boundary")
    if not isinstance(boundary, str) or not 1 <= len(boundary) <= 70 or not boundary.isascii():
        raise _broken("its Content-Type names no boundary")
    return boundary


def form_parts(body: bytes, boundary: str, names: tuple[str, ...]) -> Mapping[str, FormPart]:
    """Return the fields of a form by name; raises :class:`ProblemError` for any other field and for a broken form."""
    pieces = (b"\r\n" + body).split(b"\r\n--" + boundary.encode("ascii"), MAX_PARTS + 2)
    if len(pieces) < 2 or not pieces[-1].startswith(b"--"):
        detail = f"it has more than {MAX_PARTS} parts" if len(pieces) > MAX_PARTS + 2 else "it does not end as it must"
        raise _broken(detail)
    found: dict[str, FormPart] = {}
    for piece in pieces[1:-1]:
        padding, _, rest = piece.partition(b"\r\n")
        head, blank, content = (b"\r\n" + rest).partition(b"\r\n\r\n")
        if padding.strip(b" \t") or not blank or len(head) > MAX_HEAD_BYTES:
            raise _broken("a part has no head, or one that is too long")
        name, part = _part(head.lstrip(b"\r\n"), content)
        if name not in names:
            raise _broken(f"its fields are {' and '.join(names)}")
        if name in found:
            raise _broken(f"the field {name} is there twice")
        found[name] = part
    return found


def _part(head: bytes, content: bytes) -> tuple[str, FormPart]:
    message = BytesHeaderParser().parsebytes(head + b"\r\n\r\n")
    name = message.get_param("name", header="content-disposition")
    if str(message.get("content-transfer-encoding", "")).strip().lower() not in _BINARY:
        raise _broken("a part has a transfer encoding; parts are sent as they are")
    declared = message.get_content_type() if "content-type" in message else ""
    return name if isinstance(name, str) else "", FormPart(declared, content)


def _broken(detail: str) -> ProblemError:
    return ProblemError("malformed-document", f"The form cannot be read: {detail}.")
