"""The work instruction of a stack: how to build it, what to read, what to sign, how to take it apart."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.quantities.models import Out, Pointer

__all__ = [
    "AcceptanceReport",
    "AssemblyAction",
    "AssemblyReport",
    "AssemblyStep",
    "AssemblyValue",
    "RecordField",
]

AssemblyAction = Literal[
    "inspect",
    "clean",
    "fit",
    "join",
    "set",
    "change",
    "heat",
    "cool",
    "clamp",
    "check",
    "seat",
    "measure",
    "record",
    "open",
    "remove",
    "stop",
]
"""What is done in a step; 'stop' says that something must not be done, and why."""


class AssemblyValue(Out):
    """A number of this stack that a step is about."""

    name: str = Field(examples=["grip length"])
    unit: str | None = Field(description="Null for a count.", examples=["mm"])
    value: float | None = Field(description="What to set or to read; null where only bounds are known.")
    at_least: float | None
    at_most: float | None


class AssemblyStep(Out):
    """One step of the work."""

    number: int
    action: AssemblyAction
    components: list[str] = Field(description="Ids of the components in hand.")
    joint: str | None = Field(description="The joint it belongs to, spindle side first.", examples=["c1/ext"])
    text: str
    values: list[AssemblyValue]
    caution: list[str] = Field(description="What can hurt or go wrong in this step.")
    at: list[Pointer]
    not_stated: list[Pointer] = Field(description="Request fields that would make the step more exact.")
    from_maker: list[str] = Field(
        description="What only the maker of the part can state: no open standard gives it.",
        examples=[["tightening torque of the nut"]],
    )


class AcceptanceReport(Out):
    """Where the finished assembly is read and when the reading is good."""

    limit_at: Literal["gauge_plane", "tip"]
    plane_mm: float | None = Field(description="Where the indicator touches, from the gauge line.")
    counted_from: Literal["last_clamping_face"]
    face_of: str | None = Field(description="The component whose workpiece-side face that is.")
    distance_mm: float | None = Field(description="Of the plane from that face.")
    limit_um: float | None
    expected_p50_um: float | None = Field(description="Half of such assemblies read less; null where not complete.")
    expected_p95_um: float | None = Field(description="95 % of such assemblies read less.")
    rule: str = Field(description="When to accept and when to refuse, in words.")


class RecordField(Out):
    """A blank of the record, to be filled in by whoever did the work."""

    name: str = Field(examples=["grip length"])
    joint: str | None
    unit: str | None
    target: float | None = Field(description="What it should be, where the stack tells.")
    at_least: float | None
    at_most: float | None


class AssemblyReport(Out):
    """The work instruction, derived from the joints of this very stack."""

    buildable: bool = Field(description="False when a step says stop: then the stack cannot be finished as it stands.")
    steps: list[AssemblyStep]
    acceptance: AcceptanceReport
    record: list[RecordField]
    disassembly: list[AssemblyStep] = Field(description="Outermost joint first.")
