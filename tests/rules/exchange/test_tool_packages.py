"""ZIP packages of ISO 13399 data: what the assortment lists is read, and what could do harm is refused."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
from collections.abc import Mapping
from typing import Any, Final

import pytest

from rules.exchange import tool_packages
from rules.exchange.documents import format_of, read_document
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_packages import MAX_ENTRIES, read_package
from rules.exchange.untrusted import MAX_BYTES, UnreadableError
from rules.schema.import_map import ImportMap
from rules.schema.imports import ImportReport
from rules.schema.parsing import parse
from tests.support.exchange_files import ToolFile

_FOLDER: Final = "product_data_files/"
_ASSORTMENT: Final = "package_assortment.xml"


def _tool(name: str = "KB-1", *roles: str, diameter: str = "8") -> bytes:
    file = ToolFile()
    item = file.item(name, *(roles or ("tool item",)))
    file.value(item, "DC" if not roles else "LF", diameter, "mm")
    return file.content()


def _assortment(*products: Mapping[str, str]) -> bytes:
    items = "".join(
        f"<item>{''.join(f'<{name}>{text}</{name}>' for name, text in one.items())}</item>" for one in products
    )
    return f"<package_assortment>{items}</package_assortment>".encode()


def _listed(name: str, file: str | None = None, **more: str) -> dict[str, str]:
    return {"product_id": name, "p21_file_name": file or f"{name}.p21", **more}


def _zip(entries: Mapping[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", compression) as archive:
        for name, content in entries.items():
            archive.writestr(zipfile.ZipInfo(name), content, compression)
    return made.getvalue()


def _report(entries: Mapping[str, bytes], **kinds: Any) -> ImportReport:
    return read_package(_zip(entries), ImportOptions(map=parse(ImportMap, {"kinds": kinds}))).report()


def _refused(data: bytes) -> UnreadableError:
    with pytest.raises(UnreadableError) as found:
        read_package(data)
    assert found.value.detail.isprintable()
    return found.value


# --- what is read --------------------------------------------------------------------------------------------------


def test_the_files_of_the_assortment_are_read() -> None:
    """Each with its file; what else is there is counted, and a date of the assortment is left over."""
    entries = {
        _ASSORTMENT: _assortment(_listed("KB-1", effectivity_active_end_date="2031-12-31"), _listed("KB-2")),
        f"{_FOLDER}KB-1.p21": _tool("KB-1"),
        f"{_FOLDER}KB-2.p21": _tool("KB-2"),
        f"{_FOLDER}KB-3.p21": _tool("KB-3"),
        "pictures/kb-1.png": b"PNG",
        "readme.txt": b"...",
    }
    data = _zip(entries)
    assert format_of(data) == "iso_13399_package"
    report = read_document(data, "iso_13399_package").report()
    assert [(one.component["id"], one.file) for one in report.components] == [
        ("KB-1", f"{_FOLDER}KB-1.p21"),
        ("KB-2", f"{_FOLDER}KB-2.p21"),
    ]
    assert [(one.value, one.file) for one in report.components[0].unmapped] == [("2031-12-31", _ASSORTMENT)]
    assert [(one.name, one.value) for one in report.unmapped] == [(f"{_FOLDER}KB-3.p21", ""), ("other entries", "2")]
    assert report.faults == []


@pytest.mark.parametrize(
    ("listed", "key"),
    [
        ({"gtc_generic_class_id": "COL", "gtc_vendor_class_id": "V1"}, "COL"),
        ({"gtc_vendor_class_id": "V1"}, "V1"),
        ({"gtc_generic_class_id": "COL"}, "KB-1"),
    ],
)
def test_a_class_of_the_assortment_is_a_key_of_the_kind(listed: dict[str, str], key: str) -> None:
    """The generic one, the maker's, and before both the id."""
    entries = {
        _ASSORTMENT: _assortment(_listed("KB-1", **listed)),
        f"{_FOLDER}KB-1.p21": _tool("KB-1", "adaptive item"),
    }
    kinds = {"COL": "extension", "V1": "extension", key: "collet"}
    report = _report(entries, **kinds)
    assert [one.component["kind"] for one in report.components] == ["collet"]


def test_a_class_is_that_of_its_product() -> None:
    """Or of the only item of the file, whatever its id."""
    both = ToolFile()
    both.item("KB-1", "adaptive item")
    both.item("KB-2", "adaptive item")
    entries = {
        _ASSORTMENT: _assortment(
            _listed("KB-1", "both.p21", gtc_generic_class_id="COL"),
            _listed("other", "one.p21", gtc_generic_class_id="COL"),
        ),
        f"{_FOLDER}both.p21": both.content(),
        f"{_FOLDER}one.p21": _tool("KB-3", "adaptive item"),
    }
    report = _report(entries, COL="collet")
    assert [one.component["id"] for one in report.components] == ["KB-1", "KB-3"]
    assert [one.name for one in report.faults] == ["KB-2"]


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ({"p21_file_name": "a.p21"}, True),
        ({"p21_file_url": "product_data_files\\a.p21"}, True),
        ({"p21_file_url": "https://kestrel.invalid/data/a.p21"}, True),
        ({"p21_file_name": "A.P21"}, False),
        ({"p21_file_url": "https://kestrel.invalid/data/b.p21"}, False),
        ({"p21_file_name": "../package_assortment.xml"}, False),
        ({}, False),
    ],
)
def test_a_file_is_looked_up_by_its_base_name(named: dict[str, str], found: bool) -> None:
    """In the folder of data files only, case counts, and an address is never followed."""
    entries = {_ASSORTMENT: _assortment({"product_id": "KB-1", **named}), f"{_FOLDER}a.p21": _tool()}
    report = _report(entries)
    assert (len(report.components), len(report.faults)) == ((1, 0) if found else (0, 1))
    if not found:
        assert (report.faults[0].name, report.faults[0].file) == ("KB-1", _ASSORTMENT)
        assert ("fetched" in report.faults[0].detail) == ("p21_file_url" in named)


def test_a_bad_file_costs_only_itself() -> None:
    """Broken, too long, an archive: a fault with file and line; the others are read."""
    bad = {"bad": b"ISO-10303-21;\nnonsense", "long": b" " * (MAX_BYTES + 1), "zip": _zip({"a": b""}), "xml": b"<a/>"}
    entries = {f"{_FOLDER}{name}.p21": content for name, content in bad.items()} | {f"{_FOLDER}KB-1.p21": _tool()}
    report = _report({_ASSORTMENT: _assortment(*(_listed(one) for one in (*bad, "KB-1"))), **entries})
    assert [one.component["id"] for one in report.components] == ["KB-1"]
    assert [one.file for one in report.faults] == [f"{_FOLDER}{name}.p21" for name in bad]
    assert report.faults[0].line == 2
    assert "archive" in report.faults[2].detail


def test_one_part_in_two_files_is_one_if_it_is_the_same() -> None:
    """With other data it is a fault, and the first is kept."""
    names = ("a.p21", "b.p21", "c.p21")
    entries = {_ASSORTMENT: _assortment(*(_listed("KB-1", name) for name in names))}
    entries |= {_FOLDER + name: _tool(diameter=size) for name, size in zip(names, ("8", "8", "9"), strict=True)}
    report = _report(entries)
    assert [one.component["cutting_diameter_mm"] for one in report.components] == [8]
    assert [one.file for one in report.faults] == [f"{_FOLDER}c.p21"]


def test_without_an_assortment_every_data_file_is_read() -> None:
    """And the lack is a fault."""
    report = _report({f"{_FOLDER}b.p21": _tool("KB-2"), f"{_FOLDER}a.p21": _tool("KB-1")})
    assert [one.component["id"] for one in report.components] == ["KB-1", "KB-2"]
    assert [one.name for one in report.faults] == [_ASSORTMENT]


# --- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../a.p21",
        "a/../../b",
        "/etc/passwd",
        "a//b",
        "a\\b",
        "C:a",
        "a/./b",
        "inner.zip",
        "a/inner.ZIP",
        "a\x1bb",
        "a\u202eb",
    ],
)
def test_an_entry_with_an_unsafe_name_refuses_the_package(name: str) -> None:
    """Out of the folder, absolute, another separator, a drive, an archive, unseen characters."""
    _refused(_zip({_ASSORTMENT: _assortment(), name: b""}))


def test_two_entries_of_one_name_refuse_the_package() -> None:
    """Readers would disagree which one holds."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("a", b"1")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("a", b"2")
    assert "twice" in _refused(made.getvalue()).detail


@pytest.mark.parametrize("mode", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFSOCK])
def test_links_and_devices_refuse_the_package(mode: int) -> None:
    """Whatever they lead to."""
    entry = zipfile.ZipInfo("a.p21")
    entry.external_attr = (mode | 0o777) << 16
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr(entry, b"/etc/passwd")
    assert "link" in _refused(made.getvalue()).detail


def _with_flag(data: bytes, at: int, value: int) -> bytes:
    """The archive with another word in both heads of its first entry, counted from the local one."""
    central = data.rindex(b"PK\x01\x02")
    changed = bytearray(data)
    struct.pack_into("<H", changed, at, value)
    struct.pack_into("<H", changed, central + at + 2, value)
    return bytes(changed)


def test_encryption_and_unknown_compression_refuse_the_package() -> None:
    """Before anything is read."""
    data = _zip({_ASSORTMENT: _assortment()})
    assert "encrypted" in _refused(_with_flag(data, 6, 1)).detail
    assert "compressed" in _refused(_with_flag(data, 8, 12)).detail


def test_no_archive_and_half_an_archive_are_refused() -> None:
    """Damage in the directory refuses the package, damage in an entry the entry."""
    data = _zip({f"{_FOLDER}a.p21": _tool()}, zipfile.ZIP_STORED)
    for broken in (b"", b"PK\x03\x04", b"PK\x05\x06" + bytes(18), data[:-30], b"x" * 100):
        _refused(broken)
    report = read_package(data.replace(b"KB-1", b"KB-7")).report()
    assert [one.file for one in report.faults] == [None, f"{_FOLDER}a.p21"]


def test_more_entries_than_allowed_are_refused_before_they_are_listed() -> None:
    """The library would make an object of each."""
    fault = _refused(b"PK\x03\x04" + b"PK\x01\x02" * (MAX_ENTRIES + 1))
    assert str(MAX_ENTRIES) in fault.detail
    entries = {_ASSORTMENT: _assortment(), **{f"{n}": b"" for n in range(MAX_ENTRIES - 1)}}
    assert len(read_package(_zip(entries)).report().unmapped) == 1


def test_a_bomb_is_not_inflated_beyond_its_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """One entry is cut at its limit, and all together at theirs, whatever their heads say."""
    names = [f"{n}.p21" for n in range(5)]
    entries = {_ASSORTMENT: _assortment(*(_listed(one, one) for one in names))}
    entries |= {_FOLDER + one: bytes(5 * MAX_BYTES) for one in names}
    data = _zip(entries)
    assert len(data) < 150_000
    report = read_package(data).report()
    assert [str(MAX_BYTES) in one.detail for one in report.faults] == [True] * 5
    monkeypatch.setattr(tool_packages, "MAX_INFLATED", 3 * MAX_BYTES)
    assert str(3 * MAX_BYTES) in _refused(data).detail


def test_a_package_has_a_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """As it is sent."""
    monkeypatch.setattr(tool_packages, "MAX_PACKAGE", 100)
    assert _refused(_zip({_ASSORTMENT: _assortment()}) + bytes(100)).cause == "unsuitable"


@pytest.mark.parametrize("content", [b"<other/>", b"<!DOCTYPE a><package_assortment/>", b"<a", b"\xff", b"<a/>" * 2])
def test_an_assortment_that_cannot_be_read_refuses_the_package(content: bytes) -> None:
    """It says what the package holds."""
    assert _ASSORTMENT in _refused(_zip({_ASSORTMENT: content})).detail


def test_an_entry_of_the_assortment_without_an_id_is_a_fault() -> None:
    """The others are read."""
    listed = _assortment({"p21_file_name": "a.p21"}, _listed("KB-1"))
    report = _report({_ASSORTMENT: listed, f"{_FOLDER}KB-1.p21": _tool()})
    assert (len(report.components), len(report.faults)) == (1, 1)
