"""Exchange structures of ISO 10303-21: what is read, what is refused and where, and each limit."""

from __future__ import annotations

from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.exchange.part21 import (
    MAX_DEPTH,
    MAX_DIGITS,
    MAX_INSTANCES,
    MAX_MEMBERS,
    MAX_STRING,
    BrokenInstanceError,
    ExchangeFile,
    plain_text,
    read_exchange_file,
)
from rules.exchange.untrusted import MAX_BYTES, UnreadableError
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing
from tests.support.exchange_files import escaped, file_of

_SHAPES: Final = {"A": ("one",), "B": ("one", "two")}


def _read(*lines: str) -> ExchangeFile:
    return read_exchange_file(file_of(lines), _SHAPES)


def _refused(data: bytes) -> UnreadableError:
    with pytest.raises(UnreadableError) as found:
        read_exchange_file(data, _SHAPES)
    assert found.value.detail.isprintable()
    return found.value


# --- what is read --------------------------------------------------------------------------------------------------


def test_instances_are_read_in_any_order_and_with_comments_anywhere() -> None:
    """References may lead forward, numbers have gaps, and a comment stands wherever a blank may."""
    file = _read("#20=/* a */B(#7,'it''s') /* ) ' ; */ ;", "/**/#7 = a ( .T. ) ;", "#8=A(());#9=A(X(1.5E3,$,*));")
    assert list(file.instances) == [20, 7, 8, 9]
    assert file.follow(file.instances[20], "one", "A") is file.instances[7]
    assert file.text(file.instances[20], "two") == "it's"
    assert [one.number for one in file.of("A")] == [7, 8, 9]
    assert (file.line_of(file.instances[20]), file.line_of(file.instances[9])) == (7, 9)


def test_complex_instances_are_counted_and_skipped() -> None:
    """They belong to no single entity."""
    file = _read("#1=(A(1)B(2,3));", "#2=A($);")
    assert (file.complex_instances, [one.number for one in file.of("A")]) == (1, [2])


@pytest.mark.parametrize(
    ("written", "text"),
    [
        (r"8\X2\00B0\X0\ collet", "8° collet"),
        (r"\X4\0001F600\X0\!", "\U0001f600!"),
        (r"\X\E9t\X\E9", "été"),
        (r"\S\i", "é"),
        (r"\PB\\S\3", "ł"),
        (r"a\\b", r"a\b"),
        (r"\X2\D83DDE00\X0\\"[:-1], "\U0001f600"),
        ("a''b", "a'b"),
        ("naïve", "naïve"),
        ("long\r\ner", "longer"),
    ],
)
def test_directives_of_a_string_are_decoded(written: str, text: str) -> None:
    """In the three ways of the standard, and as plain UTF-8."""
    assert plain_text(written) == text


@pytest.mark.parametrize(
    "written", [r"\X2\D83D\X0\\"[:-1], r"\X4\00110000\X0\\"[:-1], r"\X2\00E9", r"\Z\\", "\\", r"\X\G0"]
)
def test_broken_directives_are_refused(written: str) -> None:
    """Half a pair, beyond Unicode, not closed, unknown, nothing after a backslash."""
    with pytest.raises(ValueError, match="directive"):
        plain_text(written)


_WORDS = st.text(st.characters(codec="utf-8", exclude_characters="\r\n", exclude_categories=["Cs"]), max_size=20)
_LEAVES = st.one_of(st.none(), _WORDS, st.integers(-9999, 9999), st.floats(-1e6, 1e6))
_VALUES = st.recursive(_LEAVES, lambda inner: st.lists(inner, max_size=4).map(tuple), max_leaves=12)


def _written(value: Any) -> str:
    if value is None:
        return "$"
    if isinstance(value, str):
        return f"'{escaped(value)}'"
    if isinstance(value, tuple):
        return f"({' , '.join(map(_written, value))})"
    return f"{value:.6f}" if isinstance(value, float) else str(value)


def _again(value: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(map(_again, value))
    if type(value) is str:
        return plain_text(value)
    return None if value is None else str(value)


def _as_text(value: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(map(_as_text, value))
    return value if value is None or isinstance(value, str) else _written(value)


@given(st.lists(_VALUES, max_size=6))
@settings(max_examples=120, deadline=None)
def test_what_is_written_is_read_back(values: list[Any]) -> None:
    """Any parameters, in any nesting, with any characters."""
    file = _read(f"#1=C({','.join(map(_written, values))});")
    assert _again(file.instances[1].parameters) == tuple(map(_as_text, values))


# --- what is refused -----------------------------------------------------------------------------------------------

_WHOLE: Final = file_of(["#1=A($);"])


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"ISO-10303-28;", 1),
        (b"<?xml version='1.0'?>", 1),
        (file_of(["#1=A('not closed);"]), 7),
        (file_of(["#1=A($); /* not closed *"]), 7),
        (file_of(["#1=A(1 2);"]), 7),
        (file_of(["#1=A(1,);"]), 7),
        (file_of(["#1=A(,1);"]), 7),
        (file_of(["#1=A(1;"]), 7),
        (file_of(["#1=A(1))"]), 7),
        (file_of(["#1=A(1)"]), 8),
        (file_of(["#1=(A(1)"]), 8),
        (file_of(["#1='a';"]), 7),
        (file_of(["#=A(1);"]), 7),
        (file_of(["#1=A(&);"]), 7),
        (file_of(["#1=A($);", "#1=A($);"]), 8),
        (_WHOLE.replace(b"ENDSEC;\nDATA", b"ENDSEC;\nANCHOR;ENDSEC;DATA"), 6),
        (_WHOLE.replace(b"END-ISO", b"SIGNATURE;ENDSEC;END-ISO"), 9),
        (_WHOLE + b"#2=A($);", 10),
        (_WHOLE + b"PK", 10),
        (_WHOLE[:-4], 9),
        (_WHOLE.replace(b"$", b"\x00"), 7),
        (_WHOLE.replace(b"$", b"'\xe9'"), 7),
        (_WHOLE.decode().encode("utf-16"), None),
        (b"", None),
    ],
)
def test_broken_files_are_refused_where_they_break(data: bytes, line: int | None) -> None:
    """With the line."""
    fault = _refused(data)
    assert (fault.cause, fault.line) == ("malformed", line)


@pytest.mark.parametrize(
    ("data", "limit"),
    [
        (b" " * (MAX_BYTES + 1), MAX_BYTES),
        (file_of(f"#{n}=A($);" for n in range(MAX_INSTANCES + 1)), MAX_INSTANCES),
        (file_of([f"#1=A({'(' * MAX_DEPTH}{')' * MAX_DEPTH});"]), MAX_DEPTH),
        (file_of([f"#1=A({'X(' * MAX_DEPTH}{')' * MAX_DEPTH});"]), MAX_DEPTH),
        (file_of([f"#1=A('{'a' * (MAX_STRING + 1)}');"]), MAX_STRING),
        (file_of([f"#1=A({','.join('$' * (MAX_MEMBERS + 1))});"]), MAX_MEMBERS),
        (file_of([f"#1=A({'1' * (MAX_DIGITS + 1)});"]), MAX_DIGITS),
        (file_of([f"#1=A(1.{'1' * MAX_DIGITS});"]), MAX_DIGITS),
        (file_of([f"#{'1' * (MAX_DIGITS + 1)}=A($);"]), MAX_DIGITS),
        (file_of([f"#1=A(#{'1' * (MAX_DIGITS + 1)});"]), MAX_DIGITS),
    ],
    ids=lambda one: str(one) if isinstance(one, int) else "",
)
def test_more_than_a_limit_is_refused(data: bytes, limit: int) -> None:
    """And the limit is named."""
    fault = _refused(data)
    assert fault.cause == "unsuitable"
    assert str(limit) in fault.detail


def test_everything_up_to_its_limit_is_read() -> None:
    """Each limit once, in one file."""
    depth = MAX_DEPTH - 1
    lines = [
        f"#1=A({'(' * depth}{')' * depth});",
        f"#2=A('{'a' * MAX_STRING}');",
        f"#3=A({','.join('$' * MAX_MEMBERS)});",
        f"#4=A({'1' * MAX_DIGITS});",
        f"#{'9' * (MAX_DIGITS - 1)}=A($);",
    ]
    lines += [f"#{n}=A($);" for n in range(100, 95 + MAX_INSTANCES)]
    assert len(_read(*lines).instances) == MAX_INSTANCES


@pytest.mark.parametrize(
    "inside",
    ["'" * 1_000_001, "/*" + "*" * 1_000_000, "/*" + "/" * 1_000_000, "1" * 1_000_000, "A" * 1_000_000, "(" * 100_000],
    ids=["quotes", "stars", "slashes", "digits", "letters", "parentheses"],
)
def test_a_million_of_one_character_is_refused(inside: str) -> None:
    """Without running long: each is gone through once."""
    _refused(file_of([f"#1=A({inside}"]))


def test_the_work_is_counted_before_it_is_done() -> None:
    """By the length of the file, so that a long one out of a small package is read in another process."""
    data = file_of(["#1=A($);"]) + b" " * 10_000
    with allowing(Allowance(100_000)), pytest.raises(TooMuchWorkError):
        read_exchange_file(data, _SHAPES)


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        (["#1=B(#9,$);"], "one"),
        (["#1=B(#2,$);", "#2=B($,$);"], "one"),
        (["#1=B('#2',$);", "#2=A($);"], "one"),
        (["#1=B(#2);", "#2=A($);"], "one"),
        (["#1=B(#2,$);", "#2=(A($)B($,$));"], "one"),
    ],
    ids=["dangling", "another entity", "no reference", "too few parameters", "complex"],
)
def test_a_reference_that_cannot_be_followed_is_told(lines: list[str], name: str) -> None:
    """With the line of the instance where it stands."""
    file = _read(*lines)
    with pytest.raises(BrokenInstanceError) as found:
        file.follow(file.instances[1], name, "A")
    assert found.value.line == 7
