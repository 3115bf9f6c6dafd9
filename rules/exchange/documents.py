"""Reading of import documents in either format; the component catalogue as it is in force."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NamedTuple

from rules.answer.provenance import MountedDigests
from rules.parts.aliases import Aliases
from rules.rulebook.source import Problem
from rules.schema.components import InvalidPart
from rules.stack.chain import NOTHING_MOUNTED, Mounted

if TYPE_CHECKING:
    from rules.exchange.imported import Import
    from rules.schema.import_map import ImportMap
    from rules.schema.imports import ComponentKind, ImportFormat

__all__ = ["NO_CATALOGUE", "Catalogue", "CatalogueError", "Quarantined", "format_of", "read_document"]


def format_of(data: bytes) -> ImportFormat:
    """Return the format by the first bytes, which no heading of a CSV has.

    >>> format_of(b'\\xef\\xbb\\xbf <?xml version="1.0"?>'), format_of(b"ID,KIND"), format_of(b"ISO-10303-21;")
    ('mtconnect_assets', 'csv', 'iso_13399')
    """
    if data.startswith(b"PK\x03\x04"):
        return "iso_13399_package"
    begins = data[:1024].removeprefix(b"\xef\xbb\xbf").lstrip()
    if begins.startswith(b"ISO-10303-21"):
        return "iso_13399"
    return "mtconnect_assets" if begins.startswith(b"<") else "csv"


def read_document(
    data: bytes, form: ImportFormat, kind: ComponentKind | None = None, using: ImportMap | None = None
) -> Import:
    """Read the components of a document; ``kind`` is the kind of those whose kind the document does not state.

    ``using`` is the operator's map for ISO 13399 data.

    Raises :class:`~rules.exchange.untrusted.UnreadableError`.
    """
    # Imported here, as below: a check without a catalogue reads no document.
    from rules.exchange.component_csv import read_component_csv
    from rules.exchange.tool_asset_import import read_cutting_tools
    from rules.exchange.tool_packages import read_exchange_document, read_package

    if form == "iso_13399":
        return read_exchange_document(data, kind, using)
    if form == "iso_13399_package":
        return read_package(data, kind, using)
    return read_cutting_tools(data, kind) if form == "mtconnect_assets" else read_component_csv(data, kind)


class CatalogueError(ValueError):
    """A catalogue with defects; ``problems`` holds every one found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Quarantined(NamedTuple):
    """A part that is kept out of the catalogue, or a file without readable parts."""

    file: str
    """Path within the catalogue."""
    line: int
    """From 1; 0 for the file as a whole."""
    key: str | None
    revision: str | None
    reason: str

    def __str__(self) -> str:
        revision = "" if self.revision is None else f" revision {self.revision}"
        return f"{self.file}:{self.line}: {'' if self.key is None else f'{self.key}{revision}: '}{self.reason}"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Every definition of every key, and the SHA-256 of all of them; None for an empty catalogue."""

    definitions: Mounted = NOTHING_MOUNTED
    digest: str | None = None
    quarantined: tuple[Quarantined, ...] = ()
    """What the files hold and no stack can use, in the order of the files."""

    @property
    def count(self) -> int:
        """Number of components and machines that can be used."""
        mounted = self.definitions
        return sum(
            not isinstance(one, InvalidPart)
            for entries in (*mounted.components.values(), *mounted.machines.values())
            for one in entries
        )

    @property
    def digests(self) -> MountedDigests:
        """Digests of catalogue and alias file."""
        return MountedDigests(self.digest, self.definitions.aliases.digest)

    def naming(self, aliases: Aliases) -> Catalogue:
        """Return the catalogue with the shop's own names."""
        return replace(self, definitions=self.definitions._replace(aliases=aliases))


NO_CATALOGUE: Final = Catalogue()
