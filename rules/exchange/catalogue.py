"""Loading of the component catalogue: a folder of files, or one file, read once at start.

Whatever is wrong with one part is its own affair: the part is quarantined with the reason, and the others are in force.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Final, NamedTuple, TypeAlias

from pydantic import Field, TypeAdapter, ValidationError

from rules.exchange.documents import Catalogue, CatalogueError, Quarantined
from rules.parts.aliases import NO_ALIASES, Aliases
from rules.quantities.models import Identifier, Model, Token
from rules.rulebook.source import Problem, read_source
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    InvalidPart,
    Reducer,
    RetentionKnob,
    StackEntry,
)
from rules.schema.parsing import BadRequestError, parse, sayable
from rules.schema.request import Machine
from rules.schema.strict_json import NotJSONError, members_of, parse_json
from rules.stack.chain import Mounted, trouble_of

__all__ = ["MAX_BYTES", "MAX_SLOW_BYTES", "Definition", "Shelf", "entry_of", "load_catalogue", "read_catalogue"]

MAX_BYTES: Final = 32 * 1024 * 1024
"""Largest file of JSON."""

MAX_SLOW_BYTES: Final = 4 * 1024 * 1024
"""Largest file of YAML, of which a second reads 80 kB, or of CSV."""

_LINES: Final = frozenset({".ndjson", ".jsonl"})
_YAML: Final = frozenset({".yaml", ".yml"})
_KNOWN: Final = frozenset({".json", ".csv", *_LINES, *_YAML})
_TEXTS: Final = frozenset({".md"})
"""Files beside the parts that people keep with them."""

_MOST_REASON: Final = 300

_Entry: TypeAlias = StackEntry | Machine
_Kinds: TypeAlias = Annotated[
    BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob | ComponentReference | Machine,
    Field(discriminator="kind"),
]
_ENTRY: Final[TypeAdapter[_Entry]] = TypeAdapter(_Kinds)
_KEY: Final[TypeAdapter[str]] = TypeAdapter(Identifier)


class _Stated(Model):
    """One definition in a file, in order to say what is wrong with it."""

    key: Identifier
    revision: Token | None = None
    component: _Kinds


class Definition(NamedTuple):
    """One definition as read, and its place."""

    key: str
    revision: str | None
    entry: _Entry | InvalidPart
    file: Path
    line: int


@dataclass(slots=True)
class Shelf:
    """The files of a catalogue as read, before anything is resolved."""

    folder: Path
    definitions: list[Definition] = field(default_factory=list)
    nameless: list[Quarantined] = field(default_factory=list)
    """Entries without a usable key, and files."""
    unread: list[str] = field(default_factory=list)
    """Files whose parts are not known."""

    def name_of(self, file: Path) -> str:
        """Return the path within the folder, without what steers a terminal."""
        name = file.name if file == self.folder else os.path.relpath(file, self.folder)
        return "".join(one if one.isprintable() else "·" for one in name)

    def set_aside(self, file: Path, line: int, reason: str, *, whole: bool = False) -> None:
        """Note an entry without a key; ``whole`` if any part may be in what cannot be read."""
        name = self.name_of(file)
        self.nameless.append(Quarantined(name, line, None, None, reason[:_MOST_REASON]))
        if whole and name not in self.unread:
            self.unread.append(name)


def load_catalogue(place: Path, *, strict: bool = False, aliases: Aliases = NO_ALIASES) -> Catalogue:
    """Return the catalogue in a folder and its subfolders, or in one file.

    A JSON or YAML file maps keys to components and machines; a list of components takes their ids for keys. A file of
    lines has a component, a mapping or the report of an import a line, a CSV file a component a line under heads of
    ISO 13399. A definition may have a ``revision``, and then others of its key beside it.

    Parameters
    ----------
    place
        Folder or file.
    strict
        Whether one invalid part makes the whole catalogue invalid.
    aliases
        The shop's own names, which the parts may refer to.

    Raises
    ------
    rules.exchange.documents.CatalogueError
        For a place that cannot be read, and, if strict, with everything that is quarantined.
    """
    shelf = read_catalogue(place)
    catalogue = _in_force(shelf, aliases)
    if strict and catalogue.quarantined:
        raise CatalogueError(
            Problem(
                str(place / one.file) if place.is_dir() else str(place),
                one.line,
                "",
                f"{'' if one.key is None else f'{one.key}: '}{one.reason}",
            )
            for one in catalogue.quarantined
        )
    return catalogue


def read_catalogue(place: Path) -> Shelf:
    """Return what the files of a catalogue hold; raises :class:`~rules.exchange.documents.CatalogueError` for none."""
    shelf = Shelf(place)
    if place.is_file():
        _read_file(place, shelf)
    elif place.is_dir() and os.access(place, os.R_OK | os.X_OK):
        for file in _files(shelf):
            _read_file(file, shelf)
    else:
        raise CatalogueError([Problem(str(place), 0, "", "no folder of that name can be read")])
    return shelf


def _files(shelf: Shelf) -> list[Path]:
    """Return the files to read, in the order of their names; what leads out of the folder is set aside.

    Hidden files and folders are passed over, and a file that a link names once more is read once.
    """
    root = shelf.folder.resolve()
    found: list[Path] = []

    def unreadable(error: OSError) -> None:
        shelf.set_aside(Path(error.filename), 0, f"can't be read: {error.strerror}", whole=True)

    for here, folders, names in os.walk(shelf.folder, onerror=unreadable):
        linked = [name for name in folders if (Path(here) / name).is_symlink()]
        found += [Path(here) / name for name in (*names, *linked) if not name.startswith(".")]
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name not in linked)
    found.sort(key=lambda file: file.relative_to(shelf.folder).parts)
    kept: dict[Path, Path] = {}
    for file in sorted(found, key=Path.is_symlink):
        real = Path(os.path.realpath(file))  # of links in a circle, too
        if not real.is_relative_to(root):
            shelf.set_aside(file, 0, "the link leads out of the folder of the catalogue", whole=True)
        elif not real.is_dir():
            kept.setdefault(real, file)
    return sorted(kept.values(), key=lambda file: file.relative_to(shelf.folder).parts)


def _read_file(file: Path, shelf: Shelf) -> None:
    form = file.suffix.lower()
    if form in _TEXTS:
        return
    if form not in _KNOWN:
        shelf.set_aside(file, 0, "not a JSON, NDJSON, YAML or CSV file by its name")
        return
    limit = MAX_SLOW_BYTES if form in _YAML or form == ".csv" else MAX_BYTES
    try:
        if not file.is_file():
            shelf.set_aside(file, 0, "not a regular file", whole=True)
            return
        if file.stat().st_size > limit:
            shelf.set_aside(file, 0, f"more than {limit >> 20} MiB; divide the file, or use .ndjson", whole=True)
            return
        data = file.read_bytes()
    except OSError as error:
        shelf.set_aside(file, 0, f"can't be read: {error.strerror or error}", whole=True)
        return
    reader = _Reader(file, shelf)
    if form == ".csv":
        reader.read_csv(data)
    elif form in _YAML:
        reader.read_yaml()
    elif form in _LINES:
        for line, text in enumerate(data.removeprefix(b"\xef\xbb\xbf").split(b"\n"), 1):
            if text.strip(b" \t\r"):
                reader.read_json(text, line - 1, whole=False)
    else:
        reader.read_json(data, 0, whole=True)


class _Reader:
    """Reads the definitions of one file."""

    def __init__(self, file: Path, shelf: Shelf) -> None:
        self._file = file
        self._shelf = shelf

    def read_json(self, data: bytes, before: int, *, whole: bool) -> None:
        """Read a mapping, a list, an object with ``components``, or, in a file of lines, one component."""
        try:
            members = members_of(data)
            named = {} if members is None else {one.step: one for one in members}
            if (held := named.get("components")) is not None and not _is_part(held.text):
                self.read_json(held.text.encode(), before + held.line - 1, whole=whole)
                return
            if not whole and "kind" in named:
                self._take(None, parse_json(data), before + 1)
                return
        except (NotJSONError, UnicodeEncodeError) as error:
            line = getattr(error, "line", None) or 1
            # any key may be in a text that cannot be read
            self._shelf.set_aside(self._file, before + line, _words(error), whole=True)
            return
        if members is None:
            self._shelf.set_aside(self._file, before + 1, "expected components by key, or a list of components")
            return
        for one in members:
            key = one.step if isinstance(one.step, str) else None
            try:
                value = parse_json(one.text.encode())
            except (NotJSONError, UnicodeEncodeError) as error:
                self._refuse(key or _id_in(one.text), None, before + one.line, _words(error))
            else:
                self._take(key, value, before + one.line)

    def read_yaml(self) -> None:
        """Read a mapping or a list."""
        source = read_source(self._file)
        broken = {path[0]: one for one, path in source.within.items() if path}
        for problem in source.problems:
            if problem not in source.within or not source.within[problem]:
                self._shelf.set_aside(self._file, problem.line, problem.reason, whole=True)
                return
        entries: Iterable[tuple[str | int, Any]] = ()
        if isinstance(source.value, dict):
            entries = source.value.items()
        elif isinstance(source.value, list):
            entries = enumerate(source.value)
        else:
            self._shelf.set_aside(self._file, 1, "expected components by key, or a list of components")
        left = dict(broken)
        for step, value in entries:
            line = source.lines.at((step,))
            key = step if isinstance(step, str) else None
            if step in broken:
                left.pop(step, None)
                self._refuse(key or _id_of(value), None, broken[step].line, broken[step].reason)
            else:
                self._take(key, value, line)
        for step, problem in left.items():
            self._refuse(step if isinstance(step, str) else None, None, problem.line, problem.reason)

    def read_csv(self, data: bytes) -> None:
        """Read a table."""
        from rules.exchange.component_csv import head_of, read_component_csv
        from rules.exchange.imported import ImportOptions
        from rules.exchange.untrusted import BrokenTableError, UnreadableError, decode, numbered_rows, separator_of

        try:
            found = read_component_csv(data, ImportOptions(strict=True))
        except UnreadableError as error:
            self._shelf.set_aside(self._file, error.line or 0, error.detail, whole=True)
            return
        ids: dict[int, str] = {}
        if found.faults:
            text = decode(data)
            rows = numbered_rows(text, separator_of(text))
            try:
                place = [head_of(name).path == "id" for name in next(rows)[1]].index(True)
                ids.update((line, cells[place].strip()) for line, cells in rows if len(cells) > place)
            except (BrokenTableError, ValueError):
                pass  # the fault of the table says so
        for fault in found.faults:
            key = ids.get(fault.line or 0)
            if key:
                self._refuse(key, None, fault.line or 0, fault.detail)
            else:
                self._shelf.set_aside(self._file, fault.line or 0, fault.detail, whole=True)
        for part in found.parts:
            self._add(part.component.id, None, part.component, part.line)

    def _take(self, key: str | None, value: Any, line: int) -> None:
        """Take one entry; in the report of an import a component has its source beside it."""
        if key is None and isinstance(value, dict) and isinstance(value.get("component"), dict):
            value = value["component"]
        key = _id_of(value) if key is None else key
        if key is None:
            self._shelf.set_aside(self._file, line, "a component in a list needs an id")
            return
        revision = value.get("revision") if isinstance(value, dict) else None
        entry = {name: one for name, one in value.items() if name != "revision"} if revision is not None else value
        try:
            if revision is not None:
                _check_revision(revision)
            made = _ENTRY.validate_python(entry)
            _KEY.validate_python(key)
        except ValidationError:
            self._refuse(key, revision if isinstance(revision, str) else None, line, _reason(key, revision, entry))
        else:
            self._add(key, revision, made, line)

    def _add(self, key: str, revision: str | None, entry: _Entry | InvalidPart, line: int) -> None:
        self._shelf.definitions.append(Definition(key, revision, entry, self._file, line))

    def _refuse(self, key: str | None, revision: str | None, line: int, reason: str) -> None:
        """Quarantine an entry, under its key where it has one that a request could name."""
        if key is None or not sayable(key):
            self._shelf.set_aside(self._file, line, reason)
        else:
            named = revision if revision is None or sayable(revision) else None
            self._add(key, named, InvalidPart(kind="invalid", reason=reason[:_MOST_REASON]), line)


_REVISION: Final[TypeAdapter[str]] = TypeAdapter(Token)


def _check_revision(revision: object) -> None:
    """Raise pydantic's error for what is no revision."""
    _REVISION.validate_python(revision)


def entry_of(value: object) -> StackEntry | InvalidPart:
    """Return a definition of a component as it counts in a catalogue."""
    try:
        made = _ENTRY.validate_python(value)
    except ValidationError:
        return InvalidPart(kind="invalid", reason=_reason("A", None, value))
    if isinstance(made, Machine):
        return InvalidPart(kind="invalid", reason="a machine is not a component")
    return made


def _reason(key: str, revision: object, entry: object) -> str:
    """Return what is wrong with a definition, in the words of the contract and without its values."""
    try:
        parse(_Stated, {"key": key, "component": entry} | ({} if revision is None else {"revision": revision}))
    except BadRequestError as error:
        steps = [(fault.pointer.removeprefix("/component").strip("/"), fault.detail) for fault in error.faults]
        return "; ".join(f"{step}: {detail}" if step else detail for step, detail in steps)[:_MOST_REASON]
    raise AssertionError("a definition that was refused is valid")


def _words(error: Exception) -> str:
    if isinstance(error, NotJSONError):
        return f"{error.pointer.strip('/')}: {error.detail}" if error.pointer else error.detail
    return "the text holds half of a surrogate pair"


def _is_part(text: str) -> bool:
    """Whether what stands under the name components is a part of that key."""
    try:
        value = parse_json(text.encode())
    except (NotJSONError, UnicodeEncodeError):
        return False
    return isinstance(value, dict) and isinstance(value.get("kind"), str)


def _id_of(value: Any) -> str | None:
    name = value.get("id") if isinstance(value, dict) else None
    return name if isinstance(name, str) else None


def _id_in(text: str) -> str | None:
    """Return the id of a part that is not strict JSON, if it states one."""
    try:
        members = members_of(text.encode()) or []
        ids = [parse_json(one.text.encode()) for one in members if one.step == "id"]
    except (NotJSONError, UnicodeEncodeError):
        return None
    return ids[0] if len(ids) == 1 and isinstance(ids[0], str) else None


def _in_force(shelf: Shelf, aliases: Aliases) -> Catalogue:
    mounted = _mounted(shelf.definitions, shelf.unread, aliases)
    checked = [
        one._replace(entry=InvalidPart(kind="invalid", reason=reason[:_MOST_REASON]))
        if isinstance(one.entry, ComponentReference) and (reason := trouble_of(one.entry, mounted)) is not None
        else one
        for one in shelf.definitions
    ]
    if any(one is not before for one, before in zip(checked, shelf.definitions, strict=True)):
        mounted = _mounted(checked, shelf.unread, aliases)
    quarantined = sorted(
        [*shelf.nameless, *_invalid(checked, shelf), *_repeated(checked, shelf)],
        key=lambda one: (one.file, one.line, one.key or ""),
    )
    return Catalogue(mounted, _digest(checked, shelf.unread), tuple(quarantined))


def _mounted(definitions: Iterable[Definition], unread: Iterable[str], aliases: Aliases) -> Mounted:
    components: dict[str, list[StackEntry | InvalidPart]] = {}
    machines: dict[str, list[Machine | InvalidPart]] = {}
    revisions: dict[str, list[str | None]] = {}
    for one in definitions:
        if isinstance(one.entry, Machine | InvalidPart):  # what is invalid may be meant for either
            machines.setdefault(one.key, []).append(one.entry)
        if not isinstance(one.entry, Machine):
            components.setdefault(one.key, []).append(one.entry)
            revisions.setdefault(one.key, []).append(one.revision)
    stated = {key: found for key, found in revisions.items() if any(found)}
    return Mounted(
        MappingProxyType(components), MappingProxyType(machines), aliases, MappingProxyType(stated), tuple(unread)
    )


def _invalid(definitions: Iterable[Definition], shelf: Shelf) -> Iterator[Quarantined]:
    for one in definitions:
        if isinstance(one.entry, InvalidPart):
            yield Quarantined(shelf.name_of(one.file), one.line, one.key, one.revision, one.entry.reason)


def _repeated(definitions: Iterable[Definition], shelf: Shelf) -> Iterator[Quarantined]:
    """Yield the definitions that have key and revision of an earlier one; a reference to either is ambiguous."""
    first: dict[tuple[str, str | None, bool], Definition] = {}
    for one in definitions:
        if isinstance(one.entry, InvalidPart):
            continue
        before = first.setdefault((one.key, one.revision, isinstance(one.entry, Machine)), one)
        if before is not one:
            reason = f"defined in {shelf.name_of(before.file)}:{before.line} already; neither can be used"
            yield Quarantined(shelf.name_of(one.file), one.line, one.key, one.revision, reason)


def _digest(definitions: Iterable[Definition], unread: Iterable[str]) -> str | None:
    """Return the digest of everything that an answer can rest on; it does not depend on how files are divided."""
    text = hashlib.sha256()
    ordered = sorted(definitions, key=lambda one: one.key)
    for key, found in groupby(ordered, key=lambda one: one.key):
        for one in found:
            named = key if one.revision is None else f"{key}\x00{one.revision}"
            text.update(f"{named}\n{one.entry.model_dump_json(exclude_unset=True)}\n".encode())
    names = sorted(unread)
    for name in names:
        text.update(f"\x00{name}\n".encode())
    return text.hexdigest() if ordered or names else None
