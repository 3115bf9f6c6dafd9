"""Any bytes as tool data of a supported format give components or a printable reason, nothing else."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from typing import Final

from rules.exchange.documents import read_document, read_import_map
from rules.exchange.imported import ImportOptions
from rules.exchange.untrusted import UnreadableError
from rules.schema.imports import ImportFormat
from rules.schema.parsing import BadRequestError
from rules.schema.short_form import NotYAMLError
from rules.schema.strict_json import NotJSONError
from service.examples import CSV_EXAMPLE, XML_EXAMPLE
from tests.fuzz.damage import damaged, fuzzed

_XML_WORDS: Final = [
    b"<", b">", b"/>", b"</", b"&lt;", b"&x;", b"&#0;", b"&#x202e;", b"&#55296;", b"<![CDATA[", b"]]>", b"<!--", b"-->",
    b"<?x?>", b"<!DOCTYPE x>", b"<!ENTITY x 'y'>", b"xmlns=''", b"xmlns:a='b'", b"<a:b/>", b"<Measurements>",
    b"code='DC'", b"nominal='8'", b"<x>" * 40, b"<CuttingToolLifeCycle>", b"encoding='UTF-16'",
]  # fmt: skip
_CSV_WORDS: Final = [
    b",", b";", b"\t", b'""', b'","', b"KIND", b"ID", b"DC", b"machine_side.form", b"machine_side.", b"\r\n", b"cutter",
    b"=1+1", b"5,0", b"h6", b"," * 500, b"\n" * 50, b"[mm]", b"(in)", b" [kg]", b"1/2", b"250 g", b"BD_1", b"LB_1",
    b"BHTA_1", b"bd2", b"lb2", b"Shank diameter", b"-", b"N/A", b"Schaft",
]  # fmt: skip
_DIN_WORDS: Final = [
    *_XML_WORDS, b"<Tool>", b"</Tool>", b"<Properties>", b"<Property-Data>", b"<PropertyName source='din_mk'>",
    b"<Value>", b"NSM", b"BLD", b"DIN 4000-89", b"B3", b"J21",
]  # fmt: skip
_DIN: Final = b"""<Tool-Data><Tool><Properties>
<Property-Data><PropertyName source="din_mk">NSM</PropertyName><Value>DIN 4000-89</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">BLD</PropertyName><Value>1</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">J21</PropertyName><Value>KB-D-1</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">B3</PropertyName><Value>90,5</Value></Property-Data>
</Properties></Tool></Tool-Data>"""
_TOOL: Final = (Path(__file__).parents[2] / "demo_data" / "imports" / "measured-tool.xml").read_bytes()
_LIST: Final = b"""ID;KIND;Schaft [in];BD_1;LB_1;BD_2;LB_2;LPR;WT [g];Farbe
KB-1;base_holder;1/2;42;38;50;52;90;250;red
KB-2;cutter;0,5;-;;;;83,5;118;N/A
"""
_MAP: Final = read_import_map(
    b'{"heads": {"Schaft": "DMM", "Farbe": null}, "din_4000": [{"list": "DIN 4000-89", "kind": "base_holder",'
    b' "fields": {"J21": "id", "B3": "LF"}}]}'
)
_OPTIONS: Final = ImportOptions(decimals="comma", map=_MAP)
_P21_WORDS: Final = [
    b"(", b")", b",", b";", b"=", b"$", b"*", b"'", b"''", b"/*", b"*/", b"#1", b"#9999", b"(((", b")))", b"X(", b".T.",
    b"ITEM", b"ITEM_VERSION", b"NUMERICAL_VALUE", b"STRING_VALUE", b"VALUE_LIST", b"UNIT", b"'mm'", b"'in'", b"'12,5'",
    b"'1e999'", b"'-1'", b"1.E99", b"-0.", b"'tool item'", b"'assembly'", b"'wkps'", b"'Ext'", b"71FC193318002",
    b"71EBDBF5060E6", b"71D102AE3B252", b"\\X2\\D800\\X0\\", b"\\S\\", b"\\X\\00", b"ENDSEC;", b"DATA;", b"$," * 300,
]  # fmt: skip
_ZIP_WORDS: Final = [
    b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06", b"PK\x06\x06", b"../", b"/", b"\\", b"\xff\xff", b"\xff\xff\xff\xff",
    b"<item>", b"</item>", b"<p21_file_name>", b"ISO-10303-21;", b"\x01\x00",
]  # fmt: skip

_DEMO: Final = Path(__file__).parents[2] / "demo_data" / "imports"
_P21: Final = [(_DEMO / name).read_bytes() for name in ("drill-in-collet-chuck.p21", "shrink-fit-chuck.p21")]
_ISO_OPTIONS: Final = ImportOptions(map=read_import_map((_DEMO / "iso-13399-map.yaml").read_bytes()))


_UNSEEN: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
"""Control characters, line ends and bidirectional controls (Unicode Standard Annex 9), which no text may have."""


def _package() -> bytes:
    made = io.BytesIO()
    item = "<item><product_id>KB-N32-12</product_id><p21_file_name>a.p21</p21_file_name></item>"
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr(zipfile.ZipInfo("package_assortment.xml"), f"<package_assortment>{item}</package_assortment>")
        archive.writestr(zipfile.ZipInfo("product_data_files/a.p21"), _P21[1])
    return made.getvalue()


def _read(data: bytes, form: ImportFormat, options: ImportOptions | None = None) -> None:
    try:
        report = read_document(data, form, options).report()
    except UnreadableError as error:
        assert error.detail.isprintable()
        assert error.line is None or 1 <= error.line <= data.count(b"\n") + data.count(b"\r") + 1
        return
    told = report.model_dump_json()
    assert len(told) < 3_000_000
    assert not _UNSEEN.search(told)


@fuzzed(damaged([XML_EXAMPLE.encode(), _TOOL], _XML_WORDS), long=300_000)
def test_a_tool_asset_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "mtconnect_assets")


@fuzzed(damaged([CSV_EXAMPLE.encode()], _CSV_WORDS), long=350_000)
def test_a_table_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "csv")


@fuzzed(damaged(_P21, _P21_WORDS), long=250_000)
def test_an_exchange_file_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "iso_13399", _ISO_OPTIONS)


@fuzzed(damaged([_package()], _ZIP_WORDS), long=150_000)
def test_a_package_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "iso_13399_package", _ISO_OPTIONS)


@fuzzed(damaged([_LIST], _CSV_WORDS), long=100_000)
def test_a_list_with_units_and_a_map_is_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "csv", _OPTIONS)


@fuzzed(damaged([_DIN], _DIN_WORDS), long=100_000)
def test_din_4000_names_are_read_or_refused(data: bytes) -> None:
    """Whatever stands in it."""
    _read(data, "mtconnect_assets", _OPTIONS)


@fuzzed(
    damaged([b'{"heads": {"a": "DMM", "b": null}, "outline": "cumulative", "din_4000": []}'], [b"DC", b"null"]),
    long=50_000,
)
def test_a_map_is_read_or_refused(data: bytes) -> None:
    """With a printable reason."""
    try:
        read_import_map(data)
    except (NotJSONError, NotYAMLError) as error:
        assert error.detail.isprintable()
    except BadRequestError as error:
        assert all(fault.detail.isprintable() for fault in error.faults)
