"""Result of an import: components with their source, values left out, and fields that a check still needs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, TypeVar, get_args

from rules.couplings.definition import Side, deviation_of
from rules.couplings.sides import COUPLINGS
from rules.exchange.untrusted import printable
from rules.schema.components import CutterKind, StackPart
from rules.schema.import_map import NO_MAP, ImportMap
from rules.schema.imports import (
    AssembledTool,
    ComponentKind,
    Decimals,
    ImportedAssembly,
    ImportedComponent,
    ImportedStack,
    ImportFault,
    ImportFormat,
    ImportProvenance,
    ImportReport,
    NotStatedField,
    ReadAs,
    UnmappedValue,
)

__all__ = [
    "NO_OPTIONS",
    "AssembledPart",
    "Import",
    "ImportOptions",
    "ImportedPart",
    "ImportedStackPart",
    "fault",
    "not_stated",
]


MAX_LISTED: Final = 1000
"""Most entries of one list in a report; a hostile document could produce a million."""

EntryT = TypeVar("EntryT")


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """What the caller says about a document."""

    kind: ComponentKind | None = None
    """Kind of the parts whose kind the document does not state."""
    read_as: ReadAs | None = None
    """What CuttingTools are that may be a cutting tool alone or an assembled tool."""
    decimals: Decimals = "point"
    """Decimal sign of a table."""
    strict: bool = False
    """Whether a wrong value in a table is a fault of its row."""
    map: ImportMap = NO_MAP
    """What codes, classes, items and names mean."""


NO_OPTIONS: Final = ImportOptions()


@dataclass(frozen=True, slots=True)
class ImportedPart:
    """One component and its place in the document."""

    component: StackPart
    source: str
    line: int
    not_stated: tuple[NotStatedField, ...]
    unmapped: tuple[UnmappedValue, ...]
    notes: tuple[str, ...]
    rejected: tuple[UnmappedValue, ...] = ()
    file: str | None = None


@dataclass(frozen=True, slots=True)
class ImportedStackPart:
    """One assembly as a request for a check."""

    request: dict[str, Any]
    description: str | None
    source: str
    line: int
    unmapped: tuple[UnmappedValue, ...]
    notes: tuple[str, ...]
    file: str | None = None


@dataclass(frozen=True, slots=True)
class AssembledPart:
    """One assembled tool and its place in the document."""

    tool: AssembledTool
    source: str
    line: int
    unmapped: tuple[UnmappedValue, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Import:
    """Result of importing one document."""

    format: ImportFormat
    version: str | None
    parts: tuple[ImportedPart, ...]
    unmapped: tuple[UnmappedValue, ...]
    faults: tuple[ImportFault, ...]
    stacks: tuple[ImportedStackPart, ...] = ()
    assembled: tuple[AssembledPart, ...] = ()
    provenance: ImportProvenance | None = None

    def report(self) -> ImportReport:
        """Return the report of the import; long lists are cut, and the entries cut are counted."""
        cut = _Cut()
        return ImportReport(
            format=self.format,
            version=self.version,
            components=[
                ImportedComponent(
                    component=part.component.model_dump(mode="json", exclude_none=True),
                    source=part.source,
                    line=part.line,
                    file=part.file,
                    not_stated=list(part.not_stated),
                    unmapped=cut(part.unmapped),
                    rejected=cut(part.rejected),
                    notes=list(part.notes),
                )
                for part in self.parts
            ],
            stacks=[
                ImportedStack(
                    request=stack.request,
                    description=stack.description,
                    source=stack.source,
                    line=stack.line,
                    file=stack.file,
                    unmapped=cut(stack.unmapped),
                    notes=list(stack.notes),
                )
                for stack in self.stacks
            ],
            assembled=[
                ImportedAssembly(
                    assembled=one.tool.model_dump(mode="json", exclude_none=True),
                    source=one.source,
                    line=one.line,
                    unmapped=cut(one.unmapped),
                    notes=list(one.notes),
                )
                for one in self.assembled
            ],
            unmapped=cut(self.unmapped),
            provenance=self.provenance,
            faults=cut(self.faults),
            not_listed=cut.left_out,
        )


def fault(
    detail: str,
    line: int | None = None,
    column: int | None = None,
    name: str | None = None,
    file: str | None = None,
) -> ImportFault:
    """Return a fault as in the report; ``file`` is that of a package."""
    shown = None if name is None else printable(name)
    return ImportFault(
        detail=detail, name=shown, line=line, column=column, file=None if file is None else printable(file)
    )


class _Cut:
    """Collector of entries: keeps the first of each list and counts the rest."""

    def __init__(self) -> None:
        self.left_out = 0

    def __call__(self, entries: Sequence[EntryT]) -> list[EntryT]:
        self.left_out += max(0, len(entries) - MAX_LISTED)
        return list(entries[:MAX_LISTED])


_BODY: Final = (
    "material",
    "profile",
    "mass_kg",
    "unbalance_g_mm",
    "max_speed_rpm",
    "runout",
    "coolant_through",
)

_TOOL: Final = ("machine_side", "overall_length_mm", "cutting_diameter_mm", "flute_length_mm", "teeth", *_BODY)

_ASKED: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "base_holder": ("machine_side", "workpiece_side", "gauge_length_mm", *_BODY),
        "extension": ("machine_side", "workpiece_side", "overall_length_mm", *_BODY),
        "reducer": ("machine_side", "workpiece_side", "overall_length_mm", *_BODY),
        "collet": ("machine_side", "workpiece_side", *_BODY),
        **dict.fromkeys(get_args(CutterKind), _TOOL),
        "gauge_pin": ("machine_side", "overall_length_mm", *_BODY),
        "retention_knob": ("form", "thread", "head_angle_deg", "mass_kg"),
    }
)
"""Fields that a check needs, by kind; 'machine_side' and 'workpiece_side' include the fields of the coupling."""

_JOINT: Final = "joints.grip_length_mm"
"""Fields set at a joint of the stack, which no document of a single component states."""


def not_stated(part: StackPart, carries: Callable[[str], bool]) -> list[NotStatedField]:
    """Return the empty fields in the order of the contract; ``carries`` are the fields that the format can hold."""
    return [NotStatedField(field=field, carried=carries(field)) for field in _empty(part)]


def _empty(part: StackPart) -> Iterator[str]:
    for field in _ASKED[part.kind]:
        value = getattr(part, field)
        if value is None:
            yield field
        elif field in ("machine_side", "workpiece_side"):
            yield from _empty_in_coupling(value, field)
    if part.kind not in ("base_holder", "retention_knob"):
        yield _JOINT


def _empty_in_coupling(end: Side, side: str) -> Iterator[str]:
    if end.coupling not in COUPLINGS:  # a designation says all that it says
        return
    for field in COUPLINGS[end.coupling].fields_needed(side):
        stated = getattr(end, field)
        if field == "tolerance" and stated is None:
            stated = deviation_of(end)
        if stated is None:
            yield f"{side}.{field}"
