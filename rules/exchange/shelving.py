"""Writing of imported components into the folder of a catalogue: one file a component, for readable differences.

The file of a component is named by its key, and by its revision where it has one. Fields stand in the order of the
contract, one a line: the same component gives the same bytes.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

from rules.exchange.catalogue import Definition, Shelf, read_catalogue
from rules.exchange.imported import ImportedPart
from rules.schema.components import InvalidPart, StackPart

__all__ = ["Outcome", "Shelved", "as_definition", "shelve"]

Outcome = Literal["new", "unchanged", "replaced", "refused"]


class Shelved(NamedTuple):
    """What became of one component."""

    key: str
    outcome: Outcome
    file: str
    """File within the catalogue that has the component, or that keeps its own."""
    note: str | None = None
    """Why it was refused, or what is to be known of it."""


def as_definition(part: StackPart, revision: str | None = None) -> dict[str, Any]:
    """Return a component as a file of the catalogue states it.

    Parameters
    ----------
    part
        Component.
    revision
        Its revision; None for none.

    Returns
    -------
    dict
        Stated fields in the order of the contract, the revision after kind and id.
    """
    data: dict[str, Any] = _short(part.model_dump(mode="json", exclude_none=True))
    first = {name: data.pop(name) for name in ("kind", "id")}
    return first | ({} if revision is None else {"revision": revision}) | data


def _short(value: Any) -> Any:
    """Return a value with whole numbers written as such, which are the same in JSON."""
    if isinstance(value, dict):
        return {name: _short(member) for name, member in value.items()}
    if isinstance(value, list):
        return [_short(member) for member in value]
    return int(value) if isinstance(value, float) and value.is_integer() and abs(value) < _EXACT else value


_EXACT: Final = 2**53


def shelve(
    parts: Iterable[tuple[str, ImportedPart]], folder: Path, revision: str | None = None, *, replace: bool = False
) -> list[Shelved]:
    """Write components into a catalogue, which is made if it is not there.

    A component that the catalogue has with other data is refused, unless ``replace``; even then where its file has
    more than this component, or where two documents contradict each other.

    Parameters
    ----------
    parts
        Document and component.
    folder
        Folder of the catalogue.
    revision
        Revision of all these components; None for none.
    replace
        Whether other data of the same key and revision are replaced.

    Raises
    ------
    OSError
        For a folder or file that cannot be written.
    rules.exchange.documents.CatalogueError
        For a folder that cannot be read.
    """
    folder.mkdir(parents=True, exist_ok=True)
    keeper = _Keeper(read_catalogue(folder), revision, replace=replace)
    return [keeper.keep(document, part) for document, part in parts]


class _Keeper:
    def __init__(self, shelf: Shelf, revision: str | None, *, replace: bool) -> None:
        self._shelf = shelf
        self._revision = revision
        self._replace = replace
        self._known: dict[str, list[Definition]] = {}
        self._in_file: dict[Path, int] = {}
        self._now: dict[str, tuple[str, dict[str, Any], Shelved]] = {}
        for one in shelf.definitions:
            self._known.setdefault(one.key, []).append(one)
            self._in_file[one.file] = self._in_file.get(one.file, 0) + 1
        self._names = {file.name.casefold(): file for file in self._files()}

    def _files(self) -> Iterator[Path]:
        folder = self._shelf.folder
        yield from sorted(file for file in folder.iterdir() if not file.name.startswith("."))

    def keep(self, document: str, part: ImportedPart) -> Shelved:
        """Write one component, or say why not."""
        key, source = part.component.id, f"{document}:{part.line}"
        data = as_definition(part.component, self._revision)
        if (earlier := self._now.get(key)) is not None:
            if earlier[1] == data:
                return Shelved(key, "unchanged", earlier[2].file)
            return Shelved(key, "refused", earlier[2].file, f"{source} contradicts {earlier[0]} of the same import")
        made = self._kept(key, source, part.component, data)
        self._now[key] = source, data, made
        return made

    def _kept(self, key: str, source: str, part: StackPart, data: Mapping[str, Any]) -> Shelved:
        known = [one for one in self._known.get(key, ()) if one.revision == self._revision]
        if not known:
            return self._new(key, source, data)
        places = ", ".join(f"{self._shelf.name_of(one.file)}:{one.line}" for one in known)
        file = self._shelf.name_of(known[0].file)
        if len(known) > 1:
            return Shelved(key, "refused", file, f"the catalogue defines it more than once: {places}")
        one = known[0]
        if not isinstance(one.entry, InvalidPart) and one.entry == part:
            return Shelved(key, "unchanged", file)
        what = "invalid data" if isinstance(one.entry, InvalidPart) else "other data"
        if not self._replace:
            return Shelved(key, "refused", file, f"{places} has {what} than {source}; --replace takes the new ones")
        if self._in_file[one.file] > 1 or one.file.suffix.lower() != ".json" or one.file.is_symlink():
            return Shelved(key, "refused", file, f"{places} has {what} than {source}; correct it there, beside others")
        _write(one.file, key, data)
        return Shelved(key, "replaced", file)

    def _new(self, key: str, source: str, data: Mapping[str, Any]) -> Shelved:
        others = self._known.get(key, ())
        file = self._shelf.folder / self._name(key)
        name = self._shelf.name_of(file)
        if file.exists() and not self._replace:
            return Shelved(key, "refused", name, f"{name} cannot be read as {key}; --replace writes {source} over it")
        replaced = file.exists()
        _write(file, key, data)
        self._names[file.name.casefold()] = file
        revisions = _in_words([one.revision for one in others])
        note = f"beside {revisions}, so a reference must state its revision" if others else None
        if note is None and self._shelf.unread:
            note = f"defined twice if it is also in what cannot be read: {', '.join(self._shelf.unread[:3])}"
        return Shelved(key, "replaced" if replaced else "new", name, note)

    def _name(self, key: str) -> str:
        """Return the file's name; keys that differ in upper and lower case only get files that differ in more."""
        stem = key if self._revision is None else f"{key}@{_safe(self._revision)}"
        name = f"{stem}.json"
        taken = self._names.get(name.casefold())
        if taken is None or taken.name == name:
            return name
        return f"{stem}~{hashlib.sha256(stem.encode()).hexdigest()[:8]}.json"


_SAFE: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-")


def _safe(revision: str) -> str:
    """Return a revision as part of a file's name.

    >>> _safe("B/2 x")
    'B%2F2%20x'
    """
    return "".join(one if one in _SAFE else "".join(f"%{byte:02X}" for byte in one.encode()) for one in revision)


def _in_words(revisions: Sequence[str | None]) -> str:
    return " and ".join("one without a revision" if one is None else f"revision {one}" for one in revisions)


def _write(file: Path, key: str, data: Mapping[str, Any]) -> None:
    text = json.dumps({key: data}, indent=1, ensure_ascii=False) + "\n"
    # hidden, so that a catalogue never reads half a file
    beside = file.with_name(f".{file.name}.new")
    beside.write_text(text, encoding="utf-8", newline="\n")
    beside.replace(file)
