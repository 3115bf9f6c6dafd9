"""Strict JSON decoder.

The standard decoder accepts ``NaN``, duplicate keys and ``1e400``. Here they are errors, located by line and column or
by JSON Pointer.

Rejected: encodings other than UTF-8, ``NaN`` and ``Infinity``, numbers beyond a double, duplicate keys, nesting deeper
than :data:`MAX_DEPTH`, lone surrogates, text after the value. A byte order mark is ignored, as RFC 8259 allows.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from json import JSONDecodeError
from typing import Any, Final, NamedTuple

from rules.schema.parsing import FaultCode, pointer, sayable

__all__ = ["MAX_DEPTH", "Member", "NotJSONError", "members_of", "parse_json"]

MAX_DEPTH: Final = 64
"""Deepest nesting of lists and objects; requests need eight levels."""

_MAX_DIGITS: Final = 309
"""Most digits of a double before its decimal point."""

_EXACT: Final = 2**53
"""Bound below which every whole number is exact in a double."""

_BOM: Final = b"\xef\xbb\xbf"
_SURROGATE_ESCAPE: Final = re.compile(rb"\\u[dD][89a-fA-F]")


_TO_ZEROS: Final = bytes.maketrans(b"123456789", b"000000000")
_HUGE: Final = b"0" * 300


class NotJSONError(ValueError):
    """The bytes are not strict JSON.

    ``line`` and ``column`` count from 1, in characters; ``pointer`` is a JSON Pointer. Each is None if not known.
    ``code`` is the kind of fault for programs.
    """

    def __init__(
        self,
        detail: str,
        *,
        line: int | None = None,
        column: int | None = None,
        pointer: str | None = None,
        code: FaultCode = "syntax_error",
    ) -> None:
        self.detail = detail
        self.code = code
        self.line = line
        self.column = column
        self.pointer = pointer
        place = f"line {line}, column {column}: " if line is not None else f"{pointer}: " if pointer else ""
        super().__init__(place + detail)


class _Trap:
    """Marker of an invalid value in the result, until its place is found."""

    def __init__(self, detail: str, code: FaultCode) -> None:
        self.detail = detail
        self.code = code


def parse_json(data: bytes) -> Any:
    """Parse one JSON value of RFC 8259 from bytes.

    Whole numbers exact in a double become ``int``, since ``4.0`` and ``4`` are
    one number in JSON; others become ``float``.

    >>> parse_json(b'{"teeth": 4.0, "mass_kg": 0.25}')
    {'teeth': 4, 'mass_kg': 0.25}
    >>> parse_json(b'{"limits": [1, {"a": 1, "a": 2}]}')
    Traceback (most recent call last):
    rules.schema.strict_json.NotJSONError: /limits/1: the key 'a' is duplicated in one object

    Raises :class:`NotJSONError`.
    """
    data = data.removeprefix(_BOM)
    text = _decode(data)
    if not text.strip(" \t\r\n"):
        raise NotJSONError("the body is empty; a JSON value is expected", code="empty")
    value = _scan(text, careful=_HUGE in data.translate(_TO_ZEROS))
    # Each level has an opening bracket, so few brackets mean shallow nesting.
    if data.count(b"[") + data.count(b"{") > MAX_DEPTH:
        _refuse_depth(value)
    if _SURROGATE_ESCAPE.search(data):
        _refuse_surrogates(value)
    return value


class Member(NamedTuple):
    """Member of an object or list, as text."""

    step: str | int
    """Name, or index in a list."""
    text: str
    line: int
    """Line of the name, from 1; in a list of the value."""


def members_of(data: bytes) -> list[Member] | None:
    """Return the members of an object or a list one by one, so that a fault in one leaves the others readable.

    A name may come twice. The texts are not strict JSON yet; :func:`parse_json` reads each.

    >>> [member.step for member in members_of(b'{"a": NaN, "a": [1]}')]
    ['a', 'a']

    Returns None for any other value. Raises :class:`NotJSONError` where one member cannot be told from the next.
    """
    text = _decode(data.removeprefix(_BOM))
    index = _past_space(text, 0)
    if text[index : index + 1] not in ("{", "["):
        return None
    try:
        return list(_members(text, index))
    except JSONDecodeError as error:
        fault = _trailing_comma(error) or error
        raise NotJSONError(_plain(fault.msg), line=fault.lineno, column=fault.colno) from None
    except RecursionError:
        raise NotJSONError(_TOO_DEEP, code="too_deep") from None


_SPACE: Final = re.compile(r"[ \t\n\r]*")

# Only finds ends; a whole number may have more digits than Python converts.
_ENDS: Final = json.JSONDecoder(parse_int=float)


def _past_space(text: str, index: int) -> int:
    found = _SPACE.match(text, index)
    return found.end() if found else index


def _members(text: str, index: int) -> Iterator[Member]:
    is_object = text[index] == "{"
    closing = "}" if is_object else "]"
    line, counted, number = 1, 0, 0
    index = _past_space(text, index + 1)
    if text[index : index + 1] != closing:
        while True:
            line, counted = line + text.count("\n", counted, index), index
            step: str | int = number
            if is_object:
                if text[index : index + 1] != '"':
                    raise JSONDecodeError("Expecting property name enclosed in double quotes", text, index)
                step, index = _ENDS.raw_decode(text, index)
                index = _past_space(text, index)
                if text[index : index + 1] != ":":
                    raise JSONDecodeError("Expecting ':' delimiter", text, index)
                index = _past_space(text, index + 1)
            _, end = _ENDS.raw_decode(text, index)
            yield Member(step, text[index:end], line)
            index, number = _past_space(text, end), number + 1
            if text[index : index + 1] == closing:
                break
            if text[index : index + 1] != ",":
                raise JSONDecodeError("Expecting ',' delimiter", text, index)
            index = _past_space(text, index + 1)
    index = _past_space(text, index + 1)
    if index < len(text):
        raise JSONDecodeError("Extra data", text, index)


def _decode(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        raise NotJSONError(
            "the text is not UTF-8",
            line=before.count("\n") + 1,
            column=len(before) - before.rfind("\n"),
            code="not_utf8",
        ) from None


class _FoundSomethingError(Exception):
    """A value is invalid; the careful decoder finds its place."""


def _plain_members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise _FoundSomethingError
    return made


def _no_constant(_: str) -> None:
    raise _FoundSomethingError


def _broken_number(digits: str) -> int | float:
    number = float(digits)
    if number.is_integer():
        return int(number) if abs(number) < _EXACT else number
    if not math.isfinite(number):
        raise _FoundSomethingError
    return number


# This decoder parses whole numbers itself, so huge ones are excluded before.
_QUICK: Final = json.JSONDecoder(
    object_pairs_hook=_plain_members, parse_constant=_no_constant, parse_float=_broken_number
)


def _scan(text: str, *, careful: bool) -> Any:
    try:
        if not careful:
            try:
                return _QUICK.decode(text)
            except _FoundSomethingError:
                pass
        return _scan_carefully(text)
    except JSONDecodeError as error:
        fault = _trailing_comma(error) or error
        raise NotJSONError(_plain(fault.msg), line=fault.lineno, column=fault.colno) from None
    except RecursionError:
        raise NotJSONError(_TOO_DEEP, code="too_deep") from None


def _scan_carefully(text: str) -> Any:
    trapped = False

    def trap(detail: str, code: FaultCode) -> _Trap:
        nonlocal trapped
        trapped = True
        return _Trap(detail, code)

    def constant(name: str) -> _Trap:
        return trap(f"{name} is not a JSON number", "not_finite")

    def whole(digits: str) -> int | _Trap:
        if len(digits) > _MAX_DIGITS or not math.isfinite(float(digits)):
            return trap("the number is too large for a double", "number_too_large")
        return int(digits)

    def broken(digits: str) -> int | float | _Trap:
        try:
            return _broken_number(digits)
        except _FoundSomethingError:
            return trap("the number is too large for a double", "number_too_large")

    def members(pairs: list[tuple[str, Any]]) -> dict[str, Any] | _Trap:
        made = dict(pairs)
        return made if len(made) == len(pairs) else trap(_twice(pairs), "duplicate_key")

    decoder = json.JSONDecoder(object_pairs_hook=members, parse_constant=constant, parse_int=whole, parse_float=broken)
    value = decoder.decode(text)
    if trapped:
        _raise_first_trap(value)
    return value


_TOO_DEEP: Final = f"lists and objects are nested more than {MAX_DEPTH} deep"


def _twice(pairs: list[tuple[str, Any]]) -> str:
    seen: set[str] = set()
    for key, _ in pairs:
        if key in seen:
            named = f"the key {key!r}" if sayable(key) else "a key"
            return f"{named} is duplicated in one object"
        seen.add(key)
    raise AssertionError("no key is written twice")


def _trailing_comma(fault: JSONDecodeError) -> JSONDecodeError | None:
    """Return the fault of a comma before the closing bracket, as Python 3.13 and later report it; else None."""
    ends = {"}": ("Expecting property name", "object"), "]": ("Expecting value", "array")}
    expected, kind = ends.get(fault.doc[fault.pos : fault.pos + 1], (None, ""))
    before = fault.doc[: fault.pos].rstrip(" \t\r\n")
    if expected is None or not fault.msg.startswith(expected) or not before.endswith(","):
        return None
    return JSONDecodeError(f"Illegal trailing comma before end of {kind}", fault.doc, len(before) - 1)


def _plain(message: str) -> str:
    """The decoder's message without its Python-specific ending."""
    return message[:1].lower() + message[1:].removesuffix(" at").removesuffix(" starting")


def _raise_first_trap(value: Any) -> None:
    for steps, one in _walk(value):
        if isinstance(one, _Trap):
            raise NotJSONError(one.detail, pointer=_sayable(steps), code=one.code)
    raise AssertionError("a trap was set and not found")


def _sayable(steps: tuple[str | int, ...]) -> str:
    """Pointer to the deepest place with names that may be repeated."""
    for depth, step in enumerate(steps):
        if isinstance(step, str) and not sayable(step):
            return pointer(steps[:depth])
    return pointer(steps)


def _refuse_depth(value: Any) -> None:
    level = [value]
    for _ in range(MAX_DEPTH):
        level = [
            member
            for one in level
            if isinstance(one, dict | list)
            for member in (one.values() if isinstance(one, dict) else one)
            if isinstance(member, dict | list)
        ]
        if not level:
            return
    raise NotJSONError(_TOO_DEEP, code="too_deep")


def _refuse_surrogates(value: Any) -> None:
    for steps, one in _walk(value):
        if isinstance(one, dict):
            for key in one:
                if not _whole(key):
                    raise NotJSONError(
                        "a key holds half of a surrogate pair", pointer=_sayable(steps), code="lone_surrogate"
                    )
        elif isinstance(one, str) and not _whole(one):
            raise NotJSONError(
                "the text holds half of a surrogate pair", pointer=_sayable(steps), code="lone_surrogate"
            )


def _whole(text: str) -> bool:
    return not any("\ud800" <= character <= "\udfff" for character in text)


def _walk(value: Any) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """All values with their paths, containers first, in text order."""
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), value)]
    while waiting:
        steps, one = waiting.pop()
        yield steps, one
        if isinstance(one, dict):
            waiting.extend(((*steps, key), member) for key, member in reversed(one.items()))
        elif isinstance(one, list):
            waiting.extend(((*steps, index), one[index]) for index in range(len(one) - 1, -1, -1))
