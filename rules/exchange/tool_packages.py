"""Import of ISO 13399 data: one exchange file, or a ZIP package of them with its assortment.

A package is read in memory. Nothing is unpacked to disk, and nothing that a package names elsewhere is fetched.
"""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from lxml import etree

from rules.exchange.imported import NO_OPTIONS, Import, ImportedPart, ImportedStackPart, ImportOptions, fault
from rules.exchange.ready_stacks import stack_of
from rules.exchange.symbols import unmapped
from rules.exchange.tool_data import MAX_ITEMS, read_tool_data
from rules.exchange.tool_data_import import FaultyItemError, component_of
from rules.exchange.untrusted import MAX_BYTES, UnreadableError, line_of, printable, read_xml
from rules.schema.imports import ImportFault, ImportFormat, UnmappedValue

__all__ = ["MAX_ENTRIES", "MAX_INFLATED", "MAX_PACKAGE", "MAX_STACKS", "read_exchange_document", "read_package"]

MAX_STACKS: Final = 500
"""Most stacks of one document; each repeats its components."""
MAX_PACKAGE: Final = 64 * 1024 * 1024
MAX_ENTRIES: Final = 5000
MAX_INFLATED: Final = 256 * 1024 * 1024
"""Most bytes of all entries that are read, counted while they are inflated; one entry may have ``MAX_BYTES``."""

_MAX_ELEMENTS: Final = 100_000
_ASSORTMENT: Final = "package_assortment.xml"
_FOLDER: Final = "product_data_files/"
_CENTRAL: Final = b"PK\x01\x02"
_ENCRYPTED: Final = 0x1 | 0x40 | 0x2000
_CODINGS: Final = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_ZIP: Final = (".zip", b"PK\x03\x04")
_BROKEN: Final = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError, RuntimeError, ValueError)
"""What the library raises for damaged archives."""

_PRODUCT: Final = "product_id"
_CLASSES: Final = ("gtc_generic_class_id", "gtc_vendor_class_id")
_FILES: Final = ("p21_file_name", "p21_file_url")
_CHANGES: Final = frozenset({"p21_value_change_timestamp", "p21_structure_change_timestamp", "gtc_generic_version"})


def read_exchange_document(data: bytes, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read the components and assemblies of one exchange file.

    Raises :class:`~rules.exchange.untrusted.UnreadableError`.
    """
    found = _Found(options)
    found.read(data, None, {})
    return found.result("iso_13399")


def read_package(data: bytes, options: ImportOptions = NO_OPTIONS) -> Import:
    """Read the exchange files that the assortment of a ZIP package lists; a bad file costs only itself.

    Raises :class:`~rules.exchange.untrusted.UnreadableError` for what is no archive, for one that is encrypted or holds
    links, other archives, unsafe or repeated names, and beyond the limits.
    """
    archive = _Archive(data)
    if not archive.has(_ASSORTMENT) and not archive.data_files():
        detail = f"the archive has neither {_ASSORTMENT} nor exchange files in {_FOLDER}"
        raise UnreadableError(detail, cause="unsuitable")
    found = _Found(options)
    products = _products(archive, found)
    wanted: dict[str, dict[str, _Product]] = {}
    for product in products:
        name = _file_of(product, archive, found)
        if name is not None:
            wanted.setdefault(name, {}).setdefault(product.id, product)
    if not archive.has(_ASSORTMENT):
        wanted = {name: {} for name in archive.data_files()}
    for name, listed in wanted.items():
        try:
            found.read(archive.read(name), name, listed)
        except _TooMuchError:
            raise
        except UnreadableError as error:
            found.faults.append(fault(error.detail, error.line, error.column, name, name))
    for name in archive.data_files():
        if name not in wanted:
            found.left.append(unmapped(name, "", "the assortment does not list it", None))
    if others := archive.count - len(archive.data_files()) - archive.has(_ASSORTMENT):
        detail = "only the assortment and the data files that it lists are read"
        found.left.append(unmapped("other entries", str(others), detail, None))
    return found.result("iso_13399_package")


# --- components of several files -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Product:
    """One line of the assortment."""

    id: str
    line: int
    stated: Mapping[str, str]

    @property
    def classes(self) -> tuple[str, ...]:
        return tuple(self.stated[name] for name in _CLASSES if name in self.stated)

    def left_over(self) -> Iterator[UnmappedValue]:
        for name, text in self.stated.items():
            if name not in (_PRODUCT, *_CLASSES, *_FILES) and name not in _CHANGES:
                yield unmapped(name, text, "a component has no field for it", self.line, file=_ASSORTMENT)


@dataclass(slots=True)
class _Found:
    """What the files of one document gave so far."""

    options: ImportOptions
    parts: dict[str, ImportedPart] = field(default_factory=dict)
    stacks: list[ImportedStackPart] = field(default_factory=list)
    left: list[UnmappedValue] = field(default_factory=list)
    faults: list[ImportFault] = field(default_factory=list)

    def read(self, data: bytes, file: str | None, products: Mapping[str, _Product]) -> None:
        """Read one exchange file; ``products`` are those that the assortment says it holds, by id."""
        held = read_tool_data(data)
        here = {"file": None if file is None else printable(file)}
        alone = next(iter(products.values())) if len(products) == 1 and len(held.items) == 1 else None
        made: dict[int, ImportedPart] = {}
        whole = {one.item.number for one in held.assemblies}
        used: set[str] = set()
        for item in held.items:
            if item.number in whole:
                continue
            product = products.get(item.id, alone)
            try:
                if "assembly" in item.roles:
                    raise FaultyItemError(fault("the assembly lists no pieces", item.line, name=item.id))
                part = component_of(item, self.options, () if product is None else product.classes)
            except FaultyItemError as error:
                self.faults.append(error.fault.model_copy(update=here))
                continue
            if product is not None:
                part = replace(part, unmapped=(*part.unmapped, *product.left_over()))
            made[item.number] = self._add(part, used, here["file"])
        for assembly in held.assemblies:
            if len(self.stacks) == MAX_STACKS:
                detail = f"only the first {MAX_STACKS} assemblies are read as stacks"
                self.faults.append(fault(detail, assembly.line, file=file))
                break
            try:
                stack = replace(stack_of(assembly, made), file=here["file"])
            except FaultyItemError as error:
                self.faults.append(error.fault.model_copy(update=here))
                continue
            stack = replace(stack, unmapped=tuple(one.model_copy(update=here) for one in stack.unmapped))
            self.stacks.append(stack)
        self.left += [unmapped(one.name, one.text, "it describes no item", one.line, file=file) for one in held.values]
        self.faults += [fault(detail, line, file=file) for detail, line in held.broken]

    def _add(self, part: ImportedPart, used: set[str], file: str | None) -> ImportedPart:
        """Keep a component; the id of another item of its file gets a number, that of another file a fault."""
        written = part.component.id
        own, copies = written, 1
        while own in used:
            copies += 1
            own = f"{written[:58]}-{copies}"
        used.add(own)
        if own != written:
            note = f"another item of the file has the id {written}; this one is called {own}"
            part = replace(part, component=part.component.model_copy(update={"id": own}), notes=(*part.notes, note))
        left = tuple(one if one.file else one.model_copy(update={"file": file}) for one in part.unmapped)
        part = replace(part, file=file, unmapped=left)
        known = self.parts.setdefault(own, part)
        if known is not part and known.component != part.component:
            detail = f"{own} is in {known.file}, line {known.line}, with other data"
            self.faults.append(fault(detail, part.line, name=own, file=file))
        if len(self.parts) > MAX_ITEMS:
            raise _TooMuchError(f"a package may hold {MAX_ITEMS} components", cause="unsuitable")
        return part

    def result(self, form: ImportFormat) -> Import:
        """Return the import."""
        return Import(
            form,
            None,
            tuple(self.parts.values()),
            tuple(self.left),
            tuple(self.faults),
            tuple(self.stacks),
        )


# --- assortment ----------------------------------------------------------------------------------------------------


def _products(archive: _Archive, found: _Found) -> list[_Product]:
    if not archive.has(_ASSORTMENT):
        detail = f"{_ASSORTMENT} is missing: every data file is read, without classes"
        found.faults.append(fault(detail, name=_ASSORTMENT))
        return []
    try:
        root = read_xml(archive.read(_ASSORTMENT), _MAX_ELEMENTS)
    except UnreadableError as error:
        raise UnreadableError(
            f"{_ASSORTMENT}: {error.detail}", cause=error.cause, line=error.line, column=error.column
        ) from None
    if etree.QName(root).localname != "package_assortment":
        raise UnreadableError(f"{_ASSORTMENT}: not an assortment", cause="unsuitable", line=line_of(root), column=1)
    products: list[_Product] = []
    for item in root:
        stated = {
            etree.QName(one).localname: text for one in item if len(one) == 0 and (text := (one.text or "").strip())
        }
        if etree.QName(item).localname != "item" or _PRODUCT not in stated:
            detail = "an entry of the assortment is no item with a product_id"
            found.faults.append(fault(detail, line_of(item), file=_ASSORTMENT))
            continue
        products.append(_Product(stated[_PRODUCT], line_of(item), stated))
    return products


def _file_of(product: _Product, archive: _Archive, found: _Found) -> str | None:
    """Return the data file of a product; a fault where the package has none."""
    named = [product.stated[name] for name in _FILES if name in product.stated]
    for one in named:
        base = one.replace("\\", "/").rsplit("/", 1)[-1]
        if base and archive.has(_FOLDER + base):
            return _FOLDER + base
    elsewhere = any("://" in one for one in named)
    detail = (
        "the package names an address instead of a file; nothing is fetched"
        if elsewhere
        else f"the package has no file {printable(named[0])}"
        if named
        else "the assortment names no data file"
    )
    found.faults.append(fault(detail, product.line, name=product.id, file=_ASSORTMENT))
    return None


# --- archive -------------------------------------------------------------------------------------------------------


class _Archive:
    """A ZIP archive in memory, whose entries are all harmless by their names and kinds."""

    def __init__(self, data: bytes) -> None:
        if len(data) > MAX_PACKAGE:
            raise UnreadableError(f"a package may hold {MAX_PACKAGE} bytes", cause="unsuitable")
        # Before the library builds an object for each entry.
        if data.count(_CENTRAL) > MAX_ENTRIES:
            raise UnreadableError(f"a package may hold {MAX_ENTRIES} entries", cause="unsuitable")
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(data))
        except _BROKEN:
            raise UnreadableError("the package is not a ZIP archive that can be read") from None
        self._entries: dict[str, zipfile.ZipInfo] = {}
        self._inflated = 0
        for entry in self._archive.infolist():
            self._refuse_unsafe(entry)
            self._entries[entry.filename] = entry
        self.count = sum(not one.endswith("/") for one in self._entries)

    def has(self, name: str) -> bool:
        """Whether there is an entry of this name."""
        return name in self._entries

    def data_files(self) -> Sequence[str]:
        """Return the names of the exchange files, in order."""
        return sorted(one for one in self._entries if one.startswith(_FOLDER) and one.lower().endswith(".p21"))

    def read(self, name: str) -> bytes:
        """Return the content of an entry; raises :class:`UnreadableError` beyond the limits and for damage."""
        try:
            with self._archive.open(self._entries[name]) as entry:
                content = entry.read(MAX_BYTES + 1)
        except _BROKEN:
            raise UnreadableError("the entry is damaged") from None
        self._inflated += len(content)
        if self._inflated > MAX_INFLATED:
            raise _TooMuchError(f"the entries of a package may hold {MAX_INFLATED} bytes", cause="unsuitable")
        if len(content) > MAX_BYTES:
            raise UnreadableError(f"a document may hold {MAX_BYTES} bytes", cause="unsuitable")
        if content.startswith(_ZIP[1]):
            raise UnreadableError("the entry is an archive of its own")
        return content

    def _refuse_unsafe(self, entry: zipfile.ZipInfo) -> None:
        name = entry.orig_filename
        steps = name.rstrip("/").split("/")
        kind = stat.S_IFMT(entry.external_attr >> 16)
        reason = (
            "is encrypted"
            if entry.flag_bits & _ENCRYPTED
            else "is a link or a device"
            if kind not in (0, stat.S_IFREG, stat.S_IFDIR)
            else "has an unsafe name"
            if {"", ".", ".."} & set(steps) or "\\" in name or ":" in name or not name.isprintable()
            else "is an archive of its own"
            if name.lower().endswith(_ZIP[0])
            else "is there twice"
            if name in self._entries
            else "is compressed in an unknown way"
            if entry.compress_type not in _CODINGS
            else None
        )
        if reason is not None:
            raise UnreadableError(f"the entry {printable(name)} {reason}")


class _TooMuchError(UnreadableError):
    """A package beyond its limit as a whole, which no file of it can be blamed for."""
