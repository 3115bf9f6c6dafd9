"""Answer to an import: components, and everything left out; versions of the export standard."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from rules.quantities.models import Out

__all__ = [
    "ComponentKind",
    "ImportFault",
    "ImportFormat",
    "ImportReport",
    "ImportedComponent",
    "NotStatedField",
    "Standard",
    "UnmappedValue",
]

ComponentKind = Literal["base_holder", "extension", "reducer", "collet", "cutter", "gauge_pin", "retention_knob"]

ImportFormat = Literal["mtconnect_assets", "csv"]

Standard = Literal["1.4", "2.4"]
"""Versions of MTConnect that an export may be written in."""


class UnmappedValue(Out):
    """A value of the document that is not in the component."""

    name: str = Field(description="Element, attribute or column head as written.", examples=["FlangeDiameterMax"])
    value: str = Field(description="As written; a long one is cut short.", examples=["63"])
    reason: str
    line: int | None = Field(description="Line in the document, from 1.")
    column: int | None = Field(description="Column of the table, from 1; null in XML.")


class NotStatedField(Out):
    """A field a check will ask for and that is still empty."""

    field: str = Field(
        description="Field of the component; 'joints' are those of the stack.", examples=["machine_side.tolerance"]
    )
    carried: bool = Field(description="Whether the format has a place for it at all.")


class ImportedComponent(Out):
    """One component and where it comes from."""

    component: dict[str, Any] = Field(
        description="A component as a request of a check takes it; only the fields that are stated.",
        examples=[{"kind": "cutter", "id": "KB-EM8-3", "cutting_diameter_mm": 8}],
    )
    source: str = Field(
        description="Asset it was read from, or that it was a row.", examples=["CuttingToolArchetype KB-EM8-3"]
    )
    line: int
    not_stated: list[NotStatedField] = Field(description="What a check will ask and the document does not say.")
    unmapped: list[UnmappedValue]
    notes: list[str] = Field(description="How something was understood.")


class ImportFault(Out):
    """Why a row, an asset or the rest of a document did not become a component."""

    detail: str
    name: str | None = Field(description="Element, attribute or column head, where one is at fault.")
    line: int | None = Field(description="Line in the document, from 1.")
    column: int | None = Field(description="Column of the table, from 1; null in XML.")


class ImportReport(Out):
    """The answer to an import: what could be read, and what could not."""

    format: ImportFormat
    version: str | None = Field(description="Version of the standard that the document names.", examples=["1.4"])
    components: list[ImportedComponent] = Field(description="In the order of the document.")
    unmapped: list[UnmappedValue] = Field(description="What belongs to no component.")
    faults: list[ImportFault]
    not_listed: int = Field(
        description="Unmapped values and faults beyond the first thousand of each list, counted only."
    )
