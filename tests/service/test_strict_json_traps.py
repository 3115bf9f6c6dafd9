"""Ambiguous JSON is rejected with its place; all other JSON is read unchanged."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.schema.strict_json import MAX_DEPTH, NotJSONError, parse_json

DEEPEST = b"[" * MAX_DEPTH + b"]" * MAX_DEPTH


@pytest.mark.parametrize(
    ("data", "line", "column"),
    [
        pytest.param(b'{"a": 1,\n "b" 2}', 2, 6, id="no colon"),
        pytest.param(b'{"a": 1} {}', 1, 10, id="text after the value"),
        pytest.param(b'{"a": 1,}', 1, 8, id="comma before the brace"),
        pytest.param(b'{"a": [1 ,\n\t]}', 1, 10, id="comma before the bracket, a line above"),
        pytest.param(b"[1,}", 1, 4, id="brace for a bracket"),
        pytest.param(b"[,]", 1, 2, id="comma alone"),
        pytest.param(b"{'a': 1}", 1, 2, id="single quotes"),
        pytest.param(b"[01]", 1, 3, id="leading zero"),
        pytest.param(b"[1.]", 1, 3, id="point without digits"),
        pytest.param(b"[+1]", 1, 2, id="plus sign"),
        pytest.param(b'["a\tb"]', 1, 4, id="control character in text"),
        pytest.param(b'{"a"\n:\xff}', 2, 2, id="not UTF-8"),
        pytest.param('{"ä": 1}'.encode("latin-1"), 1, 3, id="latin-1"),
        pytest.param('{"a": 1}'.encode("utf-16"), 1, 1, id="UTF-16"),
        pytest.param(b'"\xed\xa0\x80"', 1, 2, id="surrogate in raw bytes"),
        pytest.param("\u00a01".encode(), 1, 1, id="space that is none of JSON's"),
        pytest.param('["éé" é]'.encode(), 1, 7, id="columns count characters"),
    ],
)
def test_unreadable_text_is_refused_by_line_and_column(data: bytes, line: int, column: int) -> None:
    """A fault of the text carries line and column, both from 1."""
    with pytest.raises(NotJSONError) as caught:
        parse_json(data)
    assert (caught.value.line, caught.value.column, caught.value.pointer) == (line, column, None)


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        pytest.param(b'{"a": [0, NaN]}', "/a/1", id="NaN"),
        pytest.param(b'{"a": -Infinity}', "/a", id="infinity"),
        pytest.param(b"[1e400]", "/0", id="exponent beyond a double"),
        pytest.param(b"[-1e400]", "/0", id="negative beyond a double"),
        pytest.param(b"[" + b"9" * 400 + b"]", "/0", id="whole number beyond a double"),
        pytest.param(b"[" + b"9" * 5000 + b"]", "/0", id="whole number beyond Python's limit of digits"),
        pytest.param(b"[" + b"9" * 400 + b".5]", "/0", id="broken number beyond a double"),
        pytest.param(b'{"a": {"b": 1, "c": 2, "b": 3}}', "/a", id="equal keys"),
        pytest.param(b'{"a": 1, "\\u0061": 2}', "", id="keys equal once unescaped"),
        pytest.param(b'{"x/y~z": [NaN]}', "/x~1y~0z/0", id="escapes in the pointer"),
        pytest.param(b'{"a": "\\ud800"}', "/a", id="half of a surrogate pair"),
        pytest.param(b'{"a": ["\\uDC00\\ud800"]}', "/a/0", id="surrogates the wrong way round"),
        pytest.param(b'{"a": {"\\ud800": 1}}', "/a", id="half of a surrogate pair in a key"),
        pytest.param(b'{"a": {"\\ud800": NaN}}', "/a", id="fault below a key that can't be told"),
        pytest.param(b'{"a": {"' + b"k" * 100 + b'": NaN}}', "/a", id="fault below a key too long to tell"),
    ],
)
def test_unreliable_values_are_refused_by_pointer(data: bytes, pointer: str) -> None:
    """A fault of a value carries the JSON Pointer to it, or to the object that holds the equal keys."""
    with pytest.raises(NotJSONError) as caught:
        parse_json(data)
    assert (caught.value.pointer, caught.value.line) == (pointer, None)


@pytest.mark.parametrize("data", [b"", b" \r\n\t", b"\xef\xbb\xbf"])
def test_an_empty_body_is_refused(data: bytes) -> None:
    """Nothing at all is said to be empty rather than malformed."""
    with pytest.raises(NotJSONError, match="empty"):
        parse_json(data)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"[" + DEEPEST + b"]", id="lists, one too many"),
        pytest.param(b'{"a":' * (MAX_DEPTH + 1) + b"1" + b"}" * (MAX_DEPTH + 1), id="objects, one too many"),
        pytest.param(b"[" * 100_000, id="deep enough to exhaust the stack"),
        pytest.param(b"[" * 100_000 + b"]" * 100_000, id="deep and closed"),
    ],
)
def test_deep_nesting_is_refused(data: bytes) -> None:
    """Nesting beyond the limit is refused, however deep."""
    with pytest.raises(NotJSONError, match="nested"):
        parse_json(data)


def test_nesting_at_the_limit_passes() -> None:
    """The limit itself is allowed, beside many shallow brackets too."""
    assert parse_json(DEEPEST) == json.loads(DEEPEST)
    assert parse_json(b"[" + b"[],{}," * 100 + b"1]")[-1] == 1


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (b"\xef\xbb\xbf[1]", [1]),
        (b"4.0", 4),
        (b"1e2", 100),
        (b"-0.0", 0),
        (b"0.25", 0.25),
        (b"1e308", 1e308),
        (b'"\\ud83d\\ude00"', "\U0001f600"),
        (b'"\\u0000"', "\x00"),
        (b'{"a": {"a": 1}, "b": {"a": 1}}', {"a": {"a": 1}, "b": {"a": 1}}),
    ],
)
def test_what_json_allows_passes(data: bytes, value: object) -> None:
    """A byte order mark, whole pairs of surrogates and equal keys in different objects are no faults."""
    assert parse_json(data) == value


@pytest.mark.parametrize(("data", "kind"), [(b"4.0", int), (b"4.5", float), (b"1e308", float), (b"4", int)])
def test_whole_numbers_are_integers(data: bytes, kind: type) -> None:
    """JSON knows one kind of number, so 4.0 will do where a whole number is wanted."""
    assert type(parse_json(data)) is kind


def test_the_answer_never_echoes_a_long_key() -> None:
    """A key of any length is written twice without being repeated in the fault."""
    key = "k" * 10_000
    with pytest.raises(NotJSONError) as caught:
        parse_json(f'{{"{key}": 1, "{key}": 2}}'.encode())
    assert len(str(caught.value)) < 200


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@settings(derandomize=True, deadline=None)
@given(values, st.booleans())
def test_every_value_comes_back(value: object, ascii_only: bool) -> None:
    """What a plain encoder writes is read back equal."""
    assert parse_json(json.dumps(value, ensure_ascii=ascii_only).encode()) == value


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.binary() | st.text(alphabet='[]{}",:0123456789.eE+-\\u dNaIfty\ud7ff').map(lambda s: s.encode()))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Whatever arrives: a value that JSON can hold, or a fault; never another exception."""
    try:
        value = parse_json(data)
    except NotJSONError:
        return
    assert parse_json(json.dumps(value, allow_nan=False).encode()) == value
    assert not isinstance(value, float) or math.isfinite(value)
