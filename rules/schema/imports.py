"""Report of an import, and the MTConnect versions of an export."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Out

__all__ = [
    "ComponentKind",
    "ImportFault",
    "ImportFormat",
    "ImportProvenance",
    "ImportReport",
    "ImportedComponent",
    "ImportedStack",
    "NotStatedField",
    "Standard",
    "UnmappedValue",
]

ComponentKind = Literal[
    "base_holder", "extension", "reducer", "collet", "cutter", "drill", "tap", "reamer", "boring_tool", "gauge_pin",
    "retention_knob",
]  # fmt: skip

ImportFormat = Literal["mtconnect_assets", "csv", "iso_13399", "iso_13399_package"]

Standard = Literal["1.4", "2.4"]
"""MTConnect versions of an export."""


class UnmappedValue(Out):
    """Value of the document that no component field takes."""

    name: str = Field(description="Element, attribute or column head.", examples=["FlangeDiameterMax"])
    value: str = Field(description="Value as written; long values are truncated.", examples=["63"])
    reason: str
    line: int | None = Field(description="Line number in the document, from 1.")
    column: int | None = Field(description="Column number of the table, from 1; null in XML.")
    file: str | None = Field(description="File of the package; null for a single document.")


class NotStatedField(Out):
    """Field that a check needs and the document lacks."""

    field: str = Field(
        description="Field of the component; 'joints' for fields of the stack's joints.",
        examples=["machine_side.tolerance"],
    )
    carried: bool = Field(description="Whether the format can carry the field.")


class ImportedComponent(Out):
    """Imported component and its source."""

    component: dict[str, Any] = Field(
        description="Component for a check request, with the stated fields only.",
        examples=[{"kind": "cutter", "id": "KB-EM8-3", "cutting_diameter_mm": 8}],
    )
    source: str = Field(description="Asset or row of the component.", examples=["CuttingToolArchetype KB-EM8-3"])
    line: int = Field(description="Line of the document, from 1.")
    file: str | None = Field(description="File of the package; null for a single document.")
    not_stated: list[NotStatedField] = Field(description="Fields that a check needs and the document lacks.")
    unmapped: list[UnmappedValue] = Field(description="Values that no field of a component takes.")
    notes: list[str] = Field(description="Notes on the interpretation.")


class ImportFault(Out):
    """Reason why a row, asset or other part of a document is not a component."""

    detail: str
    name: str | None = Field(description="Faulty element, attribute or column head, if any.")
    line: int | None = Field(description="Line number in the document, from 1.")
    column: int | None = Field(description="Column number of the table, from 1; null in XML.")
    file: str | None = Field(description="File of the package; null for a single document.")


class ImportedStack(Out):
    """Assembly of the document as a request for a check."""

    request: dict[str, Any] = Field(
        description="Check request with the stack: components in order, joints as far as the placements give them.",
        examples=[{"stack": {"id": "KB-T-0301", "components": [{"kind": "cutter", "id": "KB-EM8-3"}]}}],
    )
    description: str | None = Field(description="Description of the assembly, if any.")
    source: str = Field(description="Assembly in the document.", examples=["assembly ITEM #391 KB-T-0301"])
    line: int = Field(description="Line of the document, from 1.")
    file: str | None = Field(description="File of the package; null for a single document.")
    unmapped: list[UnmappedValue] = Field(description="Values of the assembly that the stack does not take.")
    notes: list[str] = Field(description="Notes on the interpretation, such as how a grip length follows.")


class ImportProvenance(Out):
    """The operator's map that the import rests on."""

    map_version: str | None = Field(description="Version that the map states.")
    map_sha256: str = Field(description="SHA-256 of the map, whatever its order and form.")


class ImportReport(Out):
    """Report of an import."""

    format: Annotated[ImportFormat, OPEN]
    version: str | None = Field(description="Version of the standard in the document.", examples=["1.4"])
    components: list[ImportedComponent] = Field(description="Components in the order of the document.")
    stacks: list[ImportedStack] = Field(description="Assemblies of the document as ready stacks.")
    unmapped: list[UnmappedValue] = Field(description="Values outside any component.")
    faults: list[ImportFault] = Field(description="Parts of the document that are no components, with reasons.")
    provenance: ImportProvenance | None = Field(description="Null without a map.")
    not_listed: int = Field(description="Number of unmapped values and faults beyond the first thousand of each list.")
