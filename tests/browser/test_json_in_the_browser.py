"""The page parses and edits JSON text as Python does, whatever its layout."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Page

from rules.rulebook.loader import base_request
from service.cli.files import position_of

OpenPage = Callable[..., Page]

TRICKY = {"a/b": {"~": [1, {"µ 😀": '"quoted" \\ \n'}], "": {}}, "list": [[], [[]], None, True, -1.5e-7], "t": "{[,:"}
DOCUMENTS = [base_request("press_in"), base_request("shell_mill"), TRICKY, [], 0]


def _layouts(data: Any) -> Iterator[str]:
    yield json.dumps(data, ensure_ascii=False)
    yield json.dumps(data, indent=2)
    yield json.dumps(data, indent="\t", separators=(" ,", " :  "), ensure_ascii=False)
    yield "\n" + json.dumps(data, separators=(",", ":"), ensure_ascii=False) + " \n"


TEXTS = [text for data in DOCUMENTS for text in _layouts(data)]


def _walk(data: Any, at: str = "") -> Iterator[tuple[str, Any]]:
    yield at, data
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in entries:
        yield from _walk(value, f"{at}/{str(step).replace('~', '~0').replace('/', '~1')}")


def _holder(data: Any, pointer: str) -> tuple[Any, Any]:
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    for step in steps[:-1]:
        data = data[int(step) if isinstance(data, list) else step]
    return data, int(steps[-1]) if isinstance(data, list) else steps[-1]


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    return open_page("/docs")


def test_every_pointer_is_found_where_python_finds_it(page: Page) -> None:
    """Line and column of each key or value are those the command line tells."""
    script = """async texts => {
        const { placesOf, lineAndColumn } = await import("/static/base.js");
        return texts.map(text => [...placesOf(text)].map(([pointer, { key, value }]) => {
            const { line, column } = lineAndColumn(text, (key ?? value)[0]);
            return [pointer, line, column, text.slice(...value)];
        }));
    }"""
    for text, found in zip(TEXTS, page.evaluate(script, TEXTS), strict=True):
        expected = dict(_walk(json.loads(text)))
        assert [entry[0] for entry in found] == list(expected)
        for pointer, line, column, value in found:
            assert (line, column) == position_of(text, pointer)
            assert json.loads(value) == expected[pointer]


def test_a_value_is_changed_and_nothing_else(page: Page) -> None:
    """Set anew, added to an object, taken out of it: the parsed text is what Python makes of the same change."""
    script = """async cases => {
        const { withValue, withoutValue } = await import("/static/base.js");
        return cases.map(([text, pointer, value]) =>
            value === null ? withoutValue(text, pointer) : withValue(text, pointer, value));
    }"""
    cases: list[tuple[str, str, Any]] = []
    for text in TEXTS:
        for pointer, value in _walk(json.loads(text)):
            if pointer and isinstance(_holder(json.loads(text), pointer)[0], dict):
                cases += [(text, pointer, None), (text, pointer, "put")]
            if isinstance(value, dict):
                cases.append((text, f"{pointer}/new~1 one/deeper", 0.25))
    assert len(cases) > 500
    for (text, pointer, value), made in zip(cases, page.evaluate(script, cases), strict=True):
        expected = copy.deepcopy(json.loads(text))
        if pointer.endswith("/deeper"):
            dict(_walk(expected))[pointer.removesuffix("/new~1 one/deeper")]["new/ one"] = {"deeper": value}
        else:
            holder, last = _holder(expected, pointer)
            if value is None:
                del holder[last]
            else:
                holder[last] = value
        assert json.loads(made) == expected, (text, pointer, value)


BROKEN = {"": 0, "{": 1, '{"a" 1}': 5, "[1,]": 3, "[1 2]": 3, "{'a': 1}": 1, "01": 1, '"\t"': 0, "1 x": 2, "[NaN]": 1}
"""Texts and the offset of the first character that cannot be there."""


def test_what_is_not_json_is_refused_where_it_breaks(page: Page) -> None:
    """The grammar of RFC 8259, without the constants that Python's decoder adds to it."""
    script = """async texts => {
        const { placesOf } = await import("/static/base.js");
        return texts.map(text => {
            try { placesOf(text); return null; } catch (error) { return error.offset; }
        });
    }"""
    assert dict(zip(BROKEN, page.evaluate(script, list(BROKEN)), strict=True)) == BROKEN
