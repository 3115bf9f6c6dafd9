"""Hostile documents are rejected with a reason; nothing is expanded, fetched or included."""

from __future__ import annotations

import socket
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.exchange.untrusted import MAX_ATTRIBUTES, MAX_BYTES, MAX_DEPTH, MAX_ELEMENTS, UnreadableError, read_xml

_NAMESPACE = "urn:mtconnect.org:MTConnectAssets:1.4"
_OPEN = f'<CuttingTool xmlns="{_NAMESPACE}" assetId="KB-1">'
_CLOSE = "</CuttingTool>"

_LAUGHS = (
    "<!DOCTYPE a [<!ENTITY a0 'ha'>"
    + "".join(f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 12))
    + f"]>{_OPEN}<Description>&a11;</Description>{_CLOSE}"
)
_BLOW_UP = f"<!DOCTYPE a [<!ENTITY a '{'x' * 50_000}'>]>{_OPEN}<Description>{'&a;' * 50_000}</Description>{_CLOSE}"


@pytest.fixture(autouse=True)
def _no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> NoReturn:
        raise AssertionError("something was fetched")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)


@pytest.mark.parametrize(
    "text",
    [
        _LAUGHS,
        _BLOW_UP,
        f'<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]>{_OPEN}<Description>&x;</Description>{_CLOSE}',
        f'<!DOCTYPE a [<!ENTITY x SYSTEM "http://127.0.0.1:9/x">]>{_OPEN}<Description>&x;</Description>{_CLOSE}',
        f'<!DOCTYPE a [<!ENTITY % x SYSTEM "http://127.0.0.1:9/x"> %x;]>{_OPEN}{_CLOSE}',
        f'<!DOCTYPE CuttingTool SYSTEM "http://127.0.0.1:9/x.dtd">{_OPEN}{_CLOSE}',
        f'<!DOCTYPE CuttingTool PUBLIC "-//x//y" "file:///etc/passwd">{_OPEN}{_CLOSE}',
        f'<!DOCTYPE a [<!ATTLIST CuttingTool toolId CDATA "made up">]>{_OPEN}{_CLOSE}',
        f"<!DOCTYPE CuttingTool>{_OPEN}{_CLOSE}",
        f"<!-- quiet -->\n<?pi x?>\n<!DOCTYPE CuttingTool>{_OPEN}{_CLOSE}",
        f"<!doctype CuttingTool>{_OPEN}{_CLOSE}",
    ],
    ids=[
        "billion laughs",
        "quadratic blow-up",
        "file entity",
        "http entity",
        "parameter entity",
        "external subset",
        "public identifier",
        "default attribute",
        "bare",
        "after a comment",
        "small letters",
    ],
)
def test_a_document_type_declaration_is_refused(text: str) -> None:
    """Before anything is parsed, so no entity is ever declared."""
    with pytest.raises(UnreadableError, match="document type declaration") as caught:
        read_cutting_tools(text.encode())
    assert caught.value.cause == "malformed"
    assert caught.value.line == (3 if "quiet" in text else 1)


def test_an_include_is_only_an_element(tmp_path: Path) -> None:
    """XInclude is not acted on; the element is listed as one that is not the standard's."""
    secret = tmp_path / "secret.txt"
    secret.write_text("a secret", encoding="utf-8")
    text = (
        f'{_OPEN}<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="{secret.as_uri()}" parse="text"/>{_CLOSE}'
    )
    report = read_cutting_tools(text.encode(), ImportOptions(kind="collet")).report()
    assert "a secret" not in report.model_dump_json()
    assert [one.name for one in report.components[0].unmapped] == ["include/@href", "include/@parse"]


def test_a_schema_location_is_not_followed() -> None:
    """It is an attribute like others."""
    text = (
        f'<CuttingTool xmlns="{_NAMESPACE}" assetId="KB-1" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
        ' xsi:schemaLocation="urn:x http://127.0.0.1:9/x.xsd"/>'
    )
    (part,) = read_cutting_tools(text.encode(), ImportOptions(kind="collet")).parts
    assert [one.name for one in part.unmapped] == ["schemaLocation"]


def test_a_style_sheet_is_not_followed() -> None:
    """Processing instructions are left out."""
    text = f'<?xml-stylesheet type="text/xsl" href="http://127.0.0.1:9/x.xsl"?>{_OPEN}{_CLOSE}'
    assert len(read_cutting_tools(text.encode(), ImportOptions(kind="collet")).parts) == 1


@pytest.mark.parametrize("depth", [MAX_DEPTH, 10_000])
def test_deep_nesting_is_refused(depth: int) -> None:
    """Whether the library or the limit of the project ends it."""
    with pytest.raises(UnreadableError):
        read_cutting_tools((_OPEN + "<a>" * depth + "</a>" * depth + _CLOSE).encode())


def test_nesting_up_to_the_limit_is_read() -> None:
    """First principles: the root is the first level."""
    nested = MAX_DEPTH - 1
    (part,) = read_cutting_tools(
        (_OPEN + "<a>" * nested + "</a>" * nested + _CLOSE).encode(), ImportOptions(kind="collet")
    ).parts
    assert len(part.unmapped) == 1


@pytest.mark.parametrize(("count", "fits"), [(MAX_ELEMENTS - 1, True), (MAX_ELEMENTS, False), (10**6, False)])
def test_many_elements_are_refused(count: int, fits: bool) -> None:
    """First principles: the root counts, too."""
    data = (_OPEN + "<a/>" * count + _CLOSE).encode()
    if fits:
        assert len(read_xml(data)) == count
        return
    with pytest.raises(UnreadableError) as caught:
        read_xml(data)
    assert caught.value.cause == "unsuitable"


def test_a_huge_attribute_is_cut_short_in_the_answer() -> None:
    """What is repeated of a document is short."""
    text = f'<CuttingTool xmlns="{_NAMESPACE}" assetId="KB-1" toolId="{"x" * 1_000_000}"/>'
    (part,) = read_cutting_tools(text.encode(), ImportOptions(kind="collet")).parts
    assert [(one.name, len(one.value)) for one in part.unmapped] == [("toolId", 64)]


def _with_attributes(count: int) -> bytes:
    names = " ".join(f'a{n}="1"' for n in range(count - 1))
    return f'<CuttingTool xmlns="{_NAMESPACE}" assetId="KB-1" {names}/>'.encode()


def test_many_attributes_are_read() -> None:
    """As many as one element may hold, each listed."""
    report = read_cutting_tools(_with_attributes(MAX_ATTRIBUTES), ImportOptions(kind="collet")).report()
    assert len(report.components[0].unmapped) == MAX_ATTRIBUTES - 1
    assert report.not_listed == 0


@pytest.mark.parametrize("count", [MAX_ATTRIBUTES + 1, 100_000])
def test_more_attributes_are_refused(count: int) -> None:
    """To look at each takes the library a time that grows with their square."""
    with pytest.raises(UnreadableError) as caught:
        read_cutting_tools(_with_attributes(count), ImportOptions(kind="collet"))
    assert caught.value.cause == "unsuitable"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (f"<?xml version='1.0' encoding='UTF-16'?>{_OPEN}{_CLOSE}".encode("utf-16"), "UTF-16"),
        (f"{_OPEN}{_CLOSE}".encode("utf-16-be"), "UTF-16"),
        (f"{_OPEN}{_CLOSE}".encode("utf-32"), "UTF-16"),
        (f"<?xml version='1.0' encoding='ISO-8859-1'?>{_OPEN}\xe9{_CLOSE}".encode("latin-1"), "not UTF-8"),
        (f"<?xml version='1.0' encoding='ISO-8859-1'?>{_OPEN}{_CLOSE}".encode(), "another encoding"),
        (f"<?xml version='1.0' encoding='utf-16'?>{_OPEN}{_CLOSE}".encode(), "another encoding"),
        (f"<?xml version='1.0' encoding='UTF-7'?>{_OPEN}{_CLOSE}".encode(), "another encoding"),
        (f"{_OPEN}\x00{_CLOSE}".encode(), "NUL"),
        (f"{_OPEN}\x01{_CLOSE}".encode(), "not well-formed"),
        (f"{_OPEN}&x;{_CLOSE}".encode(), "not well-formed"),
        (f"{_OPEN}&#0;{_CLOSE}".encode(), "not well-formed"),
        (_OPEN.encode(), "not well-formed"),
        (_OPEN[:20].encode(), "not well-formed"),
        (f"{_OPEN}</a>".encode(), "not well-formed"),
        (f"{_OPEN}{_CLOSE}{_OPEN}{_CLOSE}".encode(), "not well-formed"),
        (b"<CuttingTool a='1' a='2'/>", "not well-formed"),
        (b"<m:CuttingTool/>", "not well-formed"),
        (b"KIND,ID", "not well-formed"),
        (b"<" * 1000, "not well-formed"),
        (f"{_OPEN}{'x' * MAX_BYTES}{_CLOSE}".encode(), "bytes"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, words: str) -> None:
    """One kind of error, whatever the library says."""
    with pytest.raises(UnreadableError, match=words):
        read_cutting_tools(data)


@pytest.mark.parametrize("declared", ["", "<?xml version='1.0' encoding='utf-8'?>", "<?xml version='1.0'?>\n"])
def test_a_byte_order_mark_of_utf_8_is_passed_over(declared: str) -> None:
    """Some editors write one."""
    data = b"\xef\xbb\xbf" + f"{declared}{_OPEN}{_CLOSE}".encode()
    assert len(read_cutting_tools(data, ImportOptions(kind="collet")).parts) == 1


_WHOLE = (
    f"{_OPEN}<CuttingToolLifeCycle><ProcessSpindleSpeed maximum='900'/><Measurements><Weight units='GRAM'>9</Weight>"
    f"<ShankDiameter nominal='8'>8</ShankDiameter></Measurements></CuttingToolLifeCycle>{_CLOSE}"
).encode()


@pytest.mark.parametrize("length", range(0, len(_WHOLE), 7))
def test_a_truncated_document_is_refused(length: int) -> None:
    """No half of a document is taken for the whole."""
    with pytest.raises(UnreadableError):
        read_cutting_tools(_WHOLE[:length])


@given(at=st.integers(0, len(_WHOLE) - 1), put=st.binary(max_size=6), drop=st.integers(0, 12))
def test_a_damaged_document_never_breaks_the_reader(at: int, put: bytes, drop: int) -> None:
    """An import, or an error that says why."""
    with suppress(UnreadableError):
        report = read_cutting_tools(_WHOLE[:at] + put + _WHOLE[at + drop :], ImportOptions(kind="collet")).report()
        assert report.format == "mtconnect_assets"
