"""Report of an import, and the MTConnect versions of an export."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from rules.couplings.sides import MachineSide
from rules.quantities.models import OPEN, Identifier, Mass, Model, Out, PositiveLength, SpeedRpm, Text
from rules.schema.components import Status

__all__ = [
    "AssembledTool",
    "ComponentKind",
    "Decimals",
    "ImportFault",
    "ImportFormat",
    "ImportProvenance",
    "ImportReport",
    "ImportedAssembly",
    "ImportedComponent",
    "ImportedStack",
    "NotStatedField",
    "ReadAs",
    "Standard",
    "ToolLife",
    "ToolLocation",
    "UnmappedValue",
]

ComponentKind = Literal[
    "base_holder", "extension", "reducer", "collet", "cutter", "drill", "tap", "reamer", "boring_tool", "gauge_pin",
    "retention_knob",
]  # fmt: skip

ImportFormat = Literal["mtconnect_assets", "csv", "iso_13399", "iso_13399_package", "din_4000"]

Decimals = Literal["point", "comma"]
"""Sign between whole and decimal places."""

ReadAs = Literal["cutter", "assembled"]
"""What a CuttingTool is that may be a cutting tool alone or an assembled tool."""

Standard = Literal["1.4", "2.4"]
"""MTConnect versions of an export."""

LifeFigure = Annotated[float, Field(ge=0, le=1e9)]


class ToolLife(Model):
    """Life counter of a tool, as stated."""

    type: Literal["minutes", "part_count", "wear"] | None = Field(None, description="What is counted.")
    counts: Literal["up", "down"] | None = Field(None, description="Up to the limit, or down to zero.")
    value: LifeFigure | None = Field(None, description="Present count.", examples=[38])
    initial: LifeFigure | None = Field(None, description="Count at the start.")
    warning: LifeFigure | None = Field(None, description="Count that gives a warning.")
    limit: LifeFigure | None = Field(None, description="Count at the end of life.", examples=[45])


class ToolLocation(Model):
    """Place of a tool."""

    type: Text | None = Field(None, description="Kind of place.", examples=["pot"])
    name: Text = Field(description="Name or number of the place.", examples=["14"])


class AssembledTool(Model):
    """Assembled and measured tool as one piece; nothing is known of its joints, runout, grip and stiffness."""

    id: Identifier = Field(description="Name of the tool.", examples=["KB-T-0077"])
    serial: Text | None = Field(None, description="Serial number.")
    part_number: Text | None = None
    description: Text | None = None
    spindle_side: MachineSide | None = Field(None, description="Coupling to the spindle.")
    functional_length_mm: PositiveLength | None = Field(
        None, description="From the gauge line to the cutting point, mm.", examples=[140.98]
    )
    protruding_length_mm: PositiveLength | None = Field(None, description="From the gauge line to the tip, mm.")
    body_diameter_max_mm: PositiveLength | None = Field(None, description="Largest body diameter, mm.")
    body_length_max_mm: PositiveLength | None = Field(None, description="Longest body length, mm.")
    cutting_diameter_mm: PositiveLength | None = Field(None, description="Largest cutting diameter, mm.")
    mass_kg: Mass | None = Field(None, description="Mass of the whole tool.")
    max_speed_rpm: SpeedRpm | None = Field(None, description="Stated speed limit, rpm.")
    status: Status | None = Field(None, description="States in tool management.")
    life: Annotated[list[ToolLife], Field(min_length=1, max_length=3)] | None = Field(
        None, description="Life counters."
    )
    location: ToolLocation | None = Field(None, description="Where the tool is.")


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
    rejected: list[UnmappedValue] = Field(description="Wrong values, left out of the component.")
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


class ImportedAssembly(Out):
    """Imported assembled tool and its source."""

    assembled: dict[str, Any] = Field(
        description="Assembled tool for a build request, with the stated fields only.",
        examples=[{"id": "KB-T-0077", "functional_length_mm": 109.982, "cutting_diameter_mm": 50.01}],
    )
    source: str = Field(description="Asset of the tool.", examples=["CuttingTool KB-T-0077"])
    line: int = Field(description="Line of the document, from 1.")
    unmapped: list[UnmappedValue] = Field(description="Values that no field of an assembled tool takes.")
    notes: list[str] = Field(description="Notes on the interpretation.")


class ImportReport(Out):
    """Report of an import."""

    format: Annotated[ImportFormat, OPEN]
    version: str | None = Field(description="Version of the standard in the document.", examples=["1.4"])
    components: list[ImportedComponent] = Field(description="Components in the order of the document.")
    stacks: list[ImportedStack] = Field(description="Assemblies of the document as ready stacks.")
    assembled: list[ImportedAssembly] = Field(description="Assembled tools, each measured as one piece.")
    unmapped: list[UnmappedValue] = Field(description="Values outside any component.")
    faults: list[ImportFault] = Field(description="Parts of the document that are no components, with reasons.")
    provenance: ImportProvenance | None = Field(description="Null if the import rests on no map.")
    not_listed: int = Field(description="Number of entries beyond the first thousand of each list.")
