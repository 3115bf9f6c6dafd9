"""Bytes are split into the same lines, however they arrive."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.batch.stream import LineSplitter

BOM = b"\xef\xbb\xbf"


def _lines(pieces: list[bytes], limit: int = 1000) -> list[bytes | None]:
    splitter = LineSplitter(limit)
    return [*(line for piece in pieces for line in splitter.feed(piece)), *splitter.end()]


@pytest.mark.parametrize(
    ("data", "lines"),
    [
        (b"", []),
        (b"\n", [b""]),
        (b"a", [b"a"]),
        (b"a\n", [b"a"]),
        (b"a\nb", [b"a", b"b"]),
        (b"a\r\n\r\nb\r\n", [b"a", b"", b"b"]),
        (b"a\rb\n\r", [b"a\rb", b""]),
        (BOM + b"a\n" + BOM + b"b", [b"a", BOM + b"b"]),
        (BOM, [b""]),
        (b"\x00\n\xff", [b"\x00", b"\xff"]),
        (b"12345\n123456\r\n1\n", [b"12345", None, b"1"]),
        (b"1\n" + b"x" * 50, [b"1", None]),
        (b"x" * 50 + b"\n1", [None, b"1"]),
        (b"x" * 50 + b"\n" + BOM, [None, BOM]),
    ],
)
@pytest.mark.parametrize("step", [1, 2, 3, 7, 100])
def test_lines_end_at_line_feeds(data: bytes, lines: list[bytes | None], step: int) -> None:
    """The last one may end without; a carriage return belongs to the end; a line beyond the limit comes out as None."""
    assert _lines([data[at : at + step] for at in range(0, len(data), step)], limit=5) == lines


@given(data=st.lists(st.sampled_from([b"\n", b"\r", BOM, b"a", b"bcd", b"e" * 9])).map(b"".join), cuts=st.data())
def test_where_the_bytes_are_cut_makes_no_difference(data: bytes, cuts: st.DataObject) -> None:
    """The lines are those of the whole, overlong ones among them."""
    at = sorted(cuts.draw(st.lists(st.integers(0, len(data)), max_size=6)))
    pieces = [data[start:end] for start, end in zip([0, *at], [*at, len(data)], strict=True)]
    whole = data.removeprefix(BOM).split(b"\n")
    # behind the last line feed there is a line only if something stands there
    last = whole.pop() if not data or data.endswith(b"\n") else None
    expected = [line if len(line) <= 8 else None for line in (line.removesuffix(b"\r") for line in whole)]
    assert last in (None, b"")
    assert _lines(pieces, limit=8) == expected


def test_an_overlong_line_is_told_before_it_ends_and_is_not_held() -> None:
    """Once it is too long, whatever comes up to its end is passed over."""
    splitter = LineSplitter(10)
    told = [line for _ in range(1000) for line in splitter.feed(b"x" * 100)]
    assert told == [None]
    assert list(splitter.feed(b"\nab\n")) == [b"ab"]
