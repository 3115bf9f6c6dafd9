"""The libraries an audit reads: found, told apart by kind, and identified by digest."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, Literal, TypeAlias

__all__ = ["MAX_DOCUMENT_BYTES", "STANDARD_INPUT", "AuditInputError", "Kind", "Library", "find_libraries"]

STANDARD_INPUT: Final = "standard input"

MAX_DOCUMENT_BYTES: Final = 64 * 1024 * 1024
"""Largest ``.json`` file: it is read whole, where lines are read one after the other."""

Kind: TypeAlias = Literal["lines", "document"]

_KINDS: Final[dict[str, Kind]] = {".ndjson": "lines", ".jsonl": "lines", ".json": "document"}


class AuditInputError(ValueError):
    """The audit can't begin: something named on the command line is not there or not fit."""


@dataclass(frozen=True, slots=True)
class Library:
    """One file of stacks, or standard input."""

    name: str
    """As it is told: the way given on the command line, fit for any text."""
    path: Path | None
    kind: Kind
    size: int | None
    """Bytes; None where that shows only at the end."""

    def open(self) -> BinaryIO:
        """The bytes from the beginning."""
        return sys.stdin.buffer if self.path is None else self.path.open("rb")

    def sha256(self) -> str:
        """Digest of all bytes of a file."""
        if self.path is None:
            raise ValueError("standard input has no digest before it is read")
        with self.path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


def find_libraries(names: Sequence[str], taken: Iterable[Path] = ()) -> list[Library]:
    """Every library named, folders opened up; files the audit itself writes are passed over in folders.

    Raises :class:`AuditInputError`.
    """
    own = {path.resolve() for path in taken}
    found = list(_named(names, own))
    if not found:
        raise AuditInputError(f"no library (.ndjson, .jsonl, .json) lies in {', '.join(names)}")
    paths = [library.path and library.path.resolve() for library in found]
    for place, path in enumerate(paths):
        if path in paths[:place]:
            raise AuditInputError(f"{found[place].name} is named more than once")
    return found


def _named(names: Sequence[str], own: set[Path]) -> Iterator[Library]:
    for name in names:
        path = Path(name)
        if name == "-":
            yield Library(STANDARD_INPUT, None, "lines", None)
        elif path.is_dir():
            for file in sorted(path.rglob("*")):
                hidden = any(part.startswith(".") for part in file.relative_to(path).parts)
                if file.suffix.lower() in _KINDS and file.is_file() and not hidden and file.resolve() not in own:
                    yield _library(file)
        elif path.suffix.lower() not in _KINDS:
            raise AuditInputError(f"{name}: a library is an .ndjson, .jsonl or .json file, or a folder of them")
        elif path.resolve() in own:
            raise AuditInputError(f"{name}: the audit would write over its own library")
        else:
            yield _library(path)


def _library(path: Path) -> Library:
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except OSError as error:
        raise AuditInputError(f"{path}: {error.strerror}") from None
    kind = _KINDS[path.suffix.lower()]
    if kind == "document" and size > MAX_DOCUMENT_BYTES:
        raise AuditInputError(
            f"{path}: more than {MAX_DOCUMENT_BYTES >> 20} MiB of .json are better given as .ndjson, a stack a line"
        )
    return Library(str(path).encode("utf-8", "replace").decode(), path, kind, size)
