"""What an import read: validated components with their provenance, and everything left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from rules.exchange.unreadable import printable
from rules.schema.components import StackPart
from rules.schema.imports import (
    ImportedComponent,
    ImportFault,
    ImportFormat,
    ImportReport,
    NotStatedField,
    UnmappedValue,
)

__all__ = ["Import", "ImportedPart", "fault"]

MAX_LISTED: Final = 1000
"""Entries of one list in a report; a hostile document could ask for a million."""

EntryT = TypeVar("EntryT")


@dataclass(frozen=True, slots=True)
class ImportedPart:
    """One component and where it comes from."""

    component: StackPart
    source: str
    line: int
    not_stated: tuple[NotStatedField, ...]
    unmapped: tuple[UnmappedValue, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Import:
    """Everything one document gave."""

    format: ImportFormat
    version: str | None
    parts: tuple[ImportedPart, ...]
    unmapped: tuple[UnmappedValue, ...]
    faults: tuple[ImportFault, ...]

    def report(self) -> ImportReport:
        """The same for programs and people; long lists are cut, and what was cut is counted."""
        cut = _Cut()
        return ImportReport(
            format=self.format,
            version=self.version,
            components=[
                ImportedComponent(
                    component=part.component.model_dump(mode="json", exclude_none=True),
                    source=part.source,
                    line=part.line,
                    not_stated=list(part.not_stated),
                    unmapped=cut(part.unmapped),
                    notes=list(part.notes),
                )
                for part in self.parts
            ],
            unmapped=cut(self.unmapped),
            faults=cut(self.faults),
            not_listed=cut.left_out,
        )


def fault(detail: str, line: int | None = None, column: int | None = None, name: str | None = None) -> ImportFault:
    """A fault, worded for the report."""
    return ImportFault(detail=detail, name=None if name is None else printable(name), line=line, column=column)


class _Cut:
    """Keeps the first entries of every list and counts the rest."""

    def __init__(self) -> None:
        self.left_out = 0

    def __call__(self, entries: Sequence[EntryT]) -> list[EntryT]:
        self.left_out += max(0, len(entries) - MAX_LISTED)
        return list(entries[:MAX_LISTED])
