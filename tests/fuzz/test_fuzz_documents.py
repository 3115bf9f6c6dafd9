"""Any bytes as a tool asset or table give components or a printable reason, nothing else."""

from __future__ import annotations

from typing import Final

from rules.exchange.documents import read_document
from rules.exchange.untrusted import UnreadableError
from rules.schema.imports import ImportFormat
from service.examples import CSV_EXAMPLE, XML_EXAMPLE
from tests.fuzz.damage import damaged, fuzzed

_XML_WORDS: Final = [
    b"<", b">", b"/>", b"</", b"&lt;", b"&x;", b"&#0;", b"&#x202e;", b"&#55296;", b"<![CDATA[", b"]]>", b"<!--", b"-->",
    b"<?x?>", b"<!DOCTYPE x>", b"<!ENTITY x 'y'>", b"xmlns=''", b"xmlns:a='b'", b"<a:b/>", b"<Measurements>",
    b"code='DC'", b"nominal='8'", b"<x>" * 40, b"<CuttingToolLifeCycle>", b"encoding='UTF-16'",
]  # fmt: skip
_CSV_WORDS: Final = [
    b",", b";", b"\t", b'""', b'","', b"KIND", b"ID", b"DC", b"machine_side.form", b"machine_side.", b"\r\n", b"cutter",
    b"=1+1", b"5,0", b"h6", b"," * 500, b"\n" * 50,
]  # fmt: skip


def _read(data: bytes, form: ImportFormat) -> None:
    try:
        report = read_document(data, form, None).report()
    except UnreadableError as error:
        assert error.detail.isprintable()
        assert error.line is None or 1 <= error.line <= data.count(b"\n") + data.count(b"\r") + 1
        return
    told = report.model_dump_json()
    assert len(told) < 3_000_000
    assert all(one.isprintable() for one in told)


@fuzzed(damaged([XML_EXAMPLE.encode()], _XML_WORDS), long=300_000)
def test_a_tool_asset_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "mtconnect_assets")


@fuzzed(damaged([CSV_EXAMPLE.encode()], _CSV_WORDS), long=350_000)
def test_a_table_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "csv")
