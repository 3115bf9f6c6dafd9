"""The position of a JSON Pointer in the text."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.schema.parsing import pointer
from service.cli.files import position_of

TEXT = '{"stack": {\n  "id": "a",\n  "list": [ 1,\n [2 , {"x/y": {}}]]\n}}'


@pytest.mark.parametrize(
    ("where", "line", "column"),
    [
        ("", 1, 1),
        ("/stack", 1, 2),
        ("/stack/id", 2, 3),
        ("/stack/list/0", 3, 13),
        ("/stack/list/1", 4, 2),
        ("/stack/list/1/1/x~1y", 4, 8),
        ("/stack/list/7", 3, 3),
        ("/stack/nothing/here", 1, 2),
        ("/stack/id/deeper", 2, 3),
    ],
)
def test_pointers_lead_to_line_and_column(where: str, line: int, column: int) -> None:
    """A member shows at its key, an entry at its value, a pointer that leads nowhere at its deepest place."""
    assert position_of(TEXT, where) == (line, column)


def _ways(value: Any, way: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    yield way, value
    for step, inner in (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    ):
        yield from _ways(inner, (*way, step))


values = st.recursive(
    st.none() | st.integers() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=12,
)


@settings(derandomize=True, deadline=None)
@given(values, st.sampled_from([None, 0, 3]))
def test_every_place_is_found(value: object, indent: int | None) -> None:
    """At the place told for a pointer stands the key, or the value itself."""
    text = json.dumps(value, indent=indent)
    lines = text.split("\n")
    for way, inner in _ways(value):
        line, column = position_of(text, pointer(way))
        rest = "\n".join([lines[line - 1][column - 1 :], *lines[line:]])
        shown = way[-1] if way and isinstance(way[-1], str) else inner
        assert json.JSONDecoder().raw_decode(rest)[0] == shown
