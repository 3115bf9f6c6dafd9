"""Invalid bodies that every route with a JSON body must reject."""

from __future__ import annotations

import gzip
import json
import zlib
from typing import Final

__all__ = ["HOSTILE_JSON", "HOSTILE_TEXTS", "HOSTILE_VALUES"]

_VALID: Final = b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}}'


def _nested(opening: bytes, closing: bytes, depth: int) -> bytes:
    return opening * depth + b"1" + closing * depth


HOSTILE_JSON: Final[dict[str, bytes]] = {
    "nothing": b"",
    "white space": b" \t\r\n" * 100,
    "NUL": b"\x00",
    "NUL behind": _VALID + b"\x00",
    "UTF-16 with mark": _VALID.decode().encode("utf-16"),
    "UTF-16 LE": _VALID.decode().encode("utf-16-le"),
    "UTF-16 BE": _VALID.decode().encode("utf-16-be"),
    "UTF-32": _VALID.decode().encode("utf-32"),
    "UTF-7": '{"stack": "+2D3cAA-"}'.encode("utf-7"),
    "Latin-1": '{"stäck": 1}'.encode("latin-1"),
    "two byte order marks": b"\xef\xbb\xbf\xef\xbb\xbf" + _VALID,
    "overlong slash": b'{"stack": "\xc0\xaf"}',
    "overlong NUL": b'{"stack": "\xe0\x80\x80"}',
    "surrogate as UTF-8": b'{"stack": "\xed\xa0\x80"}',
    "beyond Unicode": b'{"stack": "\xf4\x90\x80\x80"}',
    "cut in a character": b'{"stack": "\xe2\x82',
    "half of a pair in a value": b'{"stack": "\\ud800"}',
    "half of a pair in a key": b'{"\\udfff": 1}',
    "halves the wrong way round": b'{"stack": "\\udc00\\ud800"}',
    "control character in a text": b'{"stack": "a\x01b"}',
    "line end in a text": b'{"stack": "a\nb"}',
    "lists as deep as a well": b"[" * 30_000,
    "closed lists as deep as a well": _nested(b"[", b"]", 15_000),
    "objects as deep as a well": _nested(b'{"stack":', b"}", 3_000),
    "one too deep": _nested(b'{"stack":', b"}", 65),
    "NaN": b'{"stack": NaN}',
    "Infinity": b'{"stack": [Infinity, -Infinity]}',
    "beyond a double": b'{"stack": 1e400}',
    "a number of many digits": b'{"stack": ' + b"9" * 20_000 + b"}",
    "a fraction of many digits": b'{"stack": 0.' + b"1" * 20_000 + b"}",
    "an exponent of many digits": b'{"stack": 1e' + b"9" * 20_000 + b"}",
    "leading zero": b'{"stack": 007}',
    "hexadecimal": b'{"stack": 0x10}',
    "plus": b'{"stack": +1}',
    "no digit before the point": b'{"stack": .5}',
    "underscore": b'{"stack": 1_000}',
    "other digits": '{"stack": ١٢}'.encode(),
    "two equal keys": b'{"stack": 1, "stack": 2}',
    "two equal keys, one in escapes": b'{"stack": 1, "st\\u0061ck": 2}',
    "two equal keys inside": b'{"stack": {"components": [{"id": "a", "id": "b"}]}}',
    "comment": b'{"stack": 1 /* one */}',
    "single quotes": b"{'stack': 1}",
    "comma behind the last": b'{"stack": 1,}',
    "unfinished": _VALID[:-1],
    "two values": _VALID + _VALID,
    "something behind": _VALID + b" x",
    "a list": b"[" + _VALID + b"]",
    "a text": b'"stack"',
    "a number": b"1",
    "null": b"null",
    "true": b"true",
    "an empty object": b"{}",
    "a huge key": b'{"' + b"k" * 50_000 + b'": 1}',
    "many unknown fields": json.dumps({f"stack_{n}": n for n in range(4_000)}).encode(),
    "many alike unknown fields": json.dumps({"stack"[: n % 5] + f"{n:x}" + "stack": n for n in range(3_000)}).encode(),
    "a field of the language": b'{"__proto__": {"stack": 1}, "constructor": {}, "__class__": 1}',
    "a key that turns the reading": '{"\u202estack": 1}'.encode(),
    "a key that steers a terminal": b'{"\\u001b[2Jstack": 1, "\\u0000": 1}',
    "a key of an emoji": '{"\U0001f600": 1}'.encode(),
    "numbers for objects": b'{"stack": 1, "operation": 2, "operations": 3, "alternatives": 4, "stacks": 5}',
    "packed by gzip, not declared": gzip.compress(_VALID),
    "packed by deflate, not declared": zlib.compress(_VALID),
    "XML": b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aa">]><x>&a;</x>',
    "a form": b"stack=1&operation=2",
    "YAML": b"stack:\n  components: &a [*a]\n",
    "pickle": b"\x80\x04\x95\x05\x00\x00\x00\x00\x00\x00\x00\x8c\x01x.",
}
"""Bodies that are invalid for every route with a JSON body."""

HOSTILE_TEXTS: Final[dict[str, str]] = {
    "empty": "",
    "blank": " ",
    "NUL": "a\x00b",
    "escape": "\x1b[2J\x1b]0;x\x07",
    "next line": "a\x85b",
    "line feed": "a\nb",
    "line feed at the end": "a\n",
    "line separator": "a\u2028b",
    "override": "a\u202etxt.exe",
    "isolate": "a\u2066b",
    "mark from right to left": "a\u200fb",
    "Arabic letter mark": "a\u061cb",
    "very long": "a" * 40_000,
    "beyond the first plane": "\U0001f600" * 300,
    "path": "../../../etc/passwd",
    "address": "http://127.0.0.1:9/",
    "template": "${jndi:ldap://127.0.0.1:9/}{{7*7}}%s%n{0}",
    "markup": "<script>alert(1)</script>",
    "statement": "'; DROP TABLE stacks; --",
}
"""Hostile texts, which must be rejected or shown harmlessly."""

HOSTILE_VALUES: Final[tuple[object, ...]] = (
    None,
    True,
    -1,
    0,
    -0.0,
    5e-324,
    1e308,
    -1e308,
    2**53 + 1,
    10**300,
    "",
    "0",
    "NaN",
    "1e9 mm",
    [],
    {},
    [[]],
    {"": None},
    [None] * 500,
    {f"k{n}": {} for n in range(200)},
    *HOSTILE_TEXTS.values(),
)
"""Values of a wrong type or form."""
