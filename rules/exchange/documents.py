"""Reading of import documents in either format, and of the component catalogue, a folder read once at start."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Final, TypeAlias

from pydantic import Field

from rules.answer.provenance import MountedDigests
from rules.parts.aliases import Aliases
from rules.quantities.models import Identifier, Model
from rules.rulebook.source import Problem, Source, read_source
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackEntry,
)
from rules.schema.parsing import BadRequestError, parse
from rules.schema.request import Machine
from rules.stack.chain import NOTHING_MOUNTED, Mounted

if TYPE_CHECKING:
    from rules.exchange.imported import Import, ImportOptions
    from rules.schema.imports import ImportFormat

__all__ = ["NO_CATALOGUE", "Catalogue", "CatalogueError", "format_of", "load_catalogue", "read_document"]


def format_of(data: bytes) -> ImportFormat:
    """Return the format: XML starts with an angle bracket, a CSV heading never does.

    >>> format_of(b'\\xef\\xbb\\xbf <?xml version="1.0"?>'), format_of(b"ID,KIND")
    ('mtconnect_assets', 'csv')
    """
    begins = data[:1024].removeprefix(b"\xef\xbb\xbf").lstrip()
    return "mtconnect_assets" if begins.startswith(b"<") else "csv"


def read_document(data: bytes, form: ImportFormat, options: ImportOptions | None = None) -> Import:
    """Read a document as the options say; the root element of XML tells what it is.

    Raises :class:`~rules.exchange.untrusted.UnreadableError`.
    """
    # Imported here, as below: a check without a catalogue reads no document.
    from rules.exchange.component_csv import read_component_csv
    from rules.exchange.din_4000_import import ROOT, read_din_4000
    from rules.exchange.imported import NO_OPTIONS
    from rules.exchange.tool_asset_import import cutting_tools_of
    from rules.exchange.untrusted import read_xml

    options = options or NO_OPTIONS
    if form == "csv":
        return read_component_csv(data, options)
    root = read_xml(data)
    read = read_din_4000 if root.tag.rpartition("}")[2] == ROOT else cutting_tools_of
    return read(root, options)


_TREES: Final = frozenset({".json", ".yaml", ".yml"})  # JSON is a subset of YAML


class CatalogueError(ValueError):
    """A catalogue with defects; ``problems`` holds every one found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Every definition of every key, and the SHA-256 of all of them; None for an empty catalogue."""

    definitions: Mounted = NOTHING_MOUNTED
    digest: str | None = None

    @property
    def digests(self) -> MountedDigests:
        """Digests of catalogue and alias file."""
        return MountedDigests(self.digest, self.definitions.aliases.digest)

    def naming(self, aliases: Aliases) -> Catalogue:
        """Return the catalogue with the shop's own names."""
        return Catalogue(self.definitions._replace(aliases=aliases), self.digest)


NO_CATALOGUE: Final = Catalogue()


class _Definition(Model):
    """One definition in a file."""

    key: Identifier
    component: Annotated[
        BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob | ComponentReference | Machine,
        Field(discriminator="kind"),
    ]


_Entry: TypeAlias = StackEntry | Machine


def load_catalogue(folder: Path) -> Catalogue:
    """Read every file of a folder and its subfolders, in the order of their names.

    A JSON or YAML file maps keys to components and machines; a list of components takes their ids for keys. A CSV
    file has a component a line under heads of ISO 13399. One key defined more than once is kept as it is: a reference
    to it is a finding. Raises :class:`CatalogueError` for whatever can't be read or is no component.
    """
    if not folder.is_dir():
        raise CatalogueError([Problem(str(folder), 0, "", "no folder of that name can be read")])
    found: dict[str, list[_Entry]] = {}
    problems: list[Problem] = []
    for file in sorted(folder.rglob("*")):
        if not file.is_file() or file.name.startswith("."):
            continue
        if file.suffix.lower() in _TREES:
            entries: Iterator[tuple[str, _Entry]] = _from_tree(read_source(file), problems)
        elif file.suffix.lower() == ".csv":
            entries = _from_csv(file, problems)
        else:
            problems.append(Problem(str(file), 0, "", "not a JSON, YAML or CSV file by its name"))
            continue
        for key, component in entries:
            found.setdefault(key, []).append(component)
    if problems:
        raise CatalogueError(problems)
    components: dict[str, list[StackEntry]] = {}
    machines: dict[str, list[Machine]] = {}
    for key, definitions in found.items():
        for entry in definitions:
            if isinstance(entry, Machine):
                machines.setdefault(key, []).append(entry)
            else:
                components.setdefault(key, []).append(entry)
    return Catalogue(
        Mounted(MappingProxyType(components), MappingProxyType(machines)), _digest(found) if found else None
    )


def _from_tree(source: Source, problems: list[Problem]) -> Iterator[tuple[str, _Entry]]:
    problems.extend(source.problems)
    if source.problems:
        return
    for step, key, value in _entries(source.value):
        line = source.lines.at((step,))
        if key is None:
            problems.append(Problem(source.file, line, "", "a component in a list needs an id"))
            continue
        try:
            definition = parse(_Definition, {"key": key, "component": value})
        except BadRequestError as error:
            problems.extend(
                Problem(source.file, line, "", f"{key}{fault.pointer.removeprefix('/component')}: {fault.detail}")
                for fault in error.faults
            )
            continue
        yield definition.key, definition.component
    if not isinstance(source.value, dict | list):
        problems.append(Problem(source.file, 1, "", "expected components by key, or a list of components"))


def _from_csv(file: Path, problems: list[Problem]) -> Iterator[tuple[str, StackEntry]]:
    from rules.exchange.component_csv import read_component_csv
    from rules.exchange.imported import ImportOptions
    from rules.exchange.untrusted import UnreadableError

    try:
        found = read_component_csv(file.read_bytes(), ImportOptions(strict=True))
    except UnreadableError as error:
        problems.append(Problem(str(file), error.line or 0, "", error.detail))
        return
    except OSError as error:
        problems.append(Problem(str(file), 0, "", f"can't be read: {error.strerror or error}"))
        return
    problems.extend(Problem(str(file), fault.line or 0, "", fault.detail) for fault in found.faults)
    yield from ((part.component.id, part.component) for part in found.parts)


def _entries(value: Any) -> Iterator[tuple[str | int, str | None, Any]]:
    if isinstance(value, dict):
        yield from ((key, key, entry) for key, entry in value.items())
    elif isinstance(value, list):
        for place, entry in enumerate(value):
            name = entry.get("id") if isinstance(entry, dict) else None
            yield place, name if isinstance(name, str) else None, entry


def _digest(found: dict[str, list[_Entry]]) -> str:
    text = hashlib.sha256()
    for key in sorted(found):
        for entry in found[key]:
            text.update(f"{key}\n{entry.model_dump_json(exclude_unset=True)}\n".encode())
    return text.hexdigest()
