"""Reading of import documents and of the map for them; the component catalogue as it is in force."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple

from rules.answer.provenance import MountedDigests
from rules.parts.aliases import Aliases
from rules.rulebook.source import Problem
from rules.schema.components import InvalidPart
from rules.stack.chain import NOTHING_MOUNTED, Mounted

if TYPE_CHECKING:
    from rules.exchange.imported import Import, ImportOptions
    from rules.schema.import_map import ImportMap
    from rules.schema.imports import ImportFormat

__all__ = [
    "MAP_OF",
    "NO_CATALOGUE",
    "Catalogue",
    "CatalogueError",
    "Quarantined",
    "format_of",
    "import_map_of",
    "read_document",
    "read_import_map",
]


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


def read_document(data: bytes, form: ImportFormat, options: ImportOptions | None = None) -> Import:
    """Read a document as the options say; the root element of XML tells what it is.

    Provenance names the map if it states anything that the format uses.

    Raises :class:`~rules.exchange.untrusted.UnreadableError`.
    """
    # Imported here, as below: a check without a catalogue reads no document.
    from rules.exchange.component_csv import read_component_csv
    from rules.exchange.din_4000_import import ROOT, read_din_4000
    from rules.exchange.imported import NO_OPTIONS
    from rules.exchange.tool_asset_import import cutting_tools_of
    from rules.exchange.tool_packages import read_exchange_document, read_package
    from rules.exchange.untrusted import read_xml
    from rules.schema.imports import ImportProvenance

    options = options or NO_OPTIONS
    if form == "iso_13399":
        found = read_exchange_document(data, options)
    elif form == "iso_13399_package":
        found = read_package(data, options)
    elif form == "csv":
        found = read_component_csv(data, options)
    else:
        root = read_xml(data)
        read = read_din_4000 if root.tag.rpartition("}")[2] == ROOT else cutting_tools_of
        found = read(root, options)
    using = options.map
    if not any(getattr(using, name) for name in MAP_OF[found.format]):
        return found
    return replace(found, provenance=ImportProvenance(map_version=using.version, map_sha256=using.digest))


MAP_OF: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "mtconnect_assets": ("codes", "kinds"),
        "csv": ("codes", "kinds", "heads", "outline"),
        "iso_13399": ("codes", "classes", "kinds", "outline"),
        "iso_13399_package": ("codes", "classes", "kinds", "outline"),
        "din_4000": ("codes", "kinds", "outline", "din_4000"),
    }
)
"""Fields of the operator's map that the import of a format uses."""


def read_import_map(data: bytes) -> ImportMap:
    """Return a map from JSON or YAML; a ``$schema`` at the top, for editors, is ignored.

    Raises :class:`~rules.schema.strict_json.NotJSONError`, :class:`~rules.schema.short_form.NotYAMLError` or
    :class:`~rules.schema.parsing.BadRequestError`.
    """
    from rules.schema.short_form import read_yaml
    from rules.schema.strict_json import parse_json

    return import_map_of(parse_json(data) if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{") else read_yaml(data))


def import_map_of(value: object) -> ImportMap:
    """Return a map from its plain value; raises :class:`~rules.schema.parsing.BadRequestError`.

    A head or property that means neither a symbol nor a field is a fault; a client, which has no tables, cannot know.
    """
    from rules.exchange.component_csv import is_known_name
    from rules.schema.import_map import ImportMap
    from rules.schema.parsing import BadRequestError, Fault, parse, pointer

    if isinstance(value, dict):
        value = {name: one for name, one in value.items() if name != "$schema"}
    made = parse(ImportMap, value)
    targets: list[tuple[tuple[str | int, ...], str | None]] = [
        (("heads", name), target) for name, target in made.heads.items()
    ]
    for number, one in enumerate(made.din_4000):
        targets += [(("din_4000", number, "fields", name), target) for name, target in one.fields.items()]
    detail = "neither a symbol nor a field of a component"
    wrong = [way for way, target in targets if target is not None and not is_known_name(target)]
    if wrong:
        raise BadRequestError(Fault(pointer(way), detail, "unknown_key") for way in wrong)
    return made


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
