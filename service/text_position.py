"""Where in a JSON text the value of a JSON Pointer stands, for people who mend files."""

from __future__ import annotations

import json
import re
from typing import Final, NamedTuple

__all__ = ["Position", "position_of"]

_SPACE: Final = re.compile(r"[ \t\n\r]*")
_DECODER: Final = json.JSONDecoder(parse_int=float)


class Position(NamedTuple):
    """Line and column, both from 1, the column in characters."""

    line: int
    column: int


def position_of(text: str, pointer: str) -> Position:
    """Position of a pointer's value: of the key, where the value is a member of an object.

    ``text`` must be valid JSON; a pointer that leads nowhere ends at the deepest place on its way.

    >>> position_of('{"a": [1,\\n {"b": 2}]}', "/a/1/b")
    Position(line=2, column=3)
    """
    place = start = _skip(text, 0)
    for step in pointer.split("/")[1:]:
        found = _member(text, start, step.replace("~1", "/").replace("~0", "~"))
        if found is None:
            break
        place, start = found
    return Position(text.count("\n", 0, place) + 1, place - text.rfind("\n", 0, place))


def _skip(text: str, index: int) -> int:
    match = _SPACE.match(text, index)
    return match.end() if match else index


def _member(text: str, index: int, step: str) -> tuple[int, int] | None:
    """Where the member of the container at ``index`` shows, and where its value starts."""
    if text[index] not in "[{":
        return None
    is_object, number = text[index] == "{", 0
    index = _skip(text, index + 1)
    while text[index] not in "]}":
        shown, name = index, str(number)
        if is_object:
            name, index = _DECODER.raw_decode(text, index)
            index = _skip(text, _skip(text, index) + 1)
        if name == step:
            return shown, index
        _, index = _DECODER.raw_decode(text, index)
        index = _skip(text, index)
        if text[index] == ",":
            index = _skip(text, index + 1)
        number += 1
    return None
