"""Request and report of a build: a stack read stage by stage as it is put together."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import (
    OPEN,
    Identifier,
    Length,
    MissingQuantity,
    Model,
    Out,
    Pointer,
    PositiveLength,
    Reading,
)
from rules.schema.components import Definitions, RunoutCharacter
from rules.schema.imports import AssembledTool
from rules.schema.reading import Angle, DecisionReport, Instrument, Plane, PlaneReading, ReadingRule
from rules.schema.report import JointEnds, Provenance
from rules.schema.request import MachineEntry, Policy, Stack

__all__ = [
    "BuildAction",
    "BuildReport",
    "BuildRequest",
    "BuildStage",
    "BuildTurn",
    "FinishedReport",
    "MeasuredRunout",
    "MeasuredStatement",
    "Presetter",
    "ReconciledFigure",
    "StageReport",
    "StageVector",
]


BuildAction = Literal["go_on", "turn", "reseat", "replace", "read_again", "compare"]


class BuildStage(Model):
    """Readings after a part was mounted."""

    part: Identifier = Field(
        description="Part that was mounted last. 'spindle' before all parts: its taper or a test bar in it, unless a"
        " part has that id.",
        examples=["extension"],
    )
    planes: list[Plane] = Field(
        min_length=1,
        max_length=2,
        description="Readings on or in that part, distances from the face that clamps it; of the spindle and the holder"
        " from the gauge line. Two planes give its tilt.",
    )
    instrument: Instrument | None = Field(None, description="Indicator of this stage, if not that of the request.")


class Presetter(Model):
    """What the presetter measured on the finished stack."""

    length_mm: PositiveLength | None = Field(None, description="From the gauge line to the tip, mm.", examples=[226.98])
    diameter_mm: PositiveLength | None = Field(None, description="Swing diameter of the edges, mm.", examples=[8.01])
    tir_um: Reading | None = Field(None, description="Runout of the edges, TIR in µm.")
    high_point_deg: Angle | None = Field(None, description="Angle of the largest runout, degrees.")
    tooth_deg: Angle | None = Field(None, description="Angle of one tooth in the same frame, degrees.")


class BuildRequest(Model):
    """Stack, stages from the spindle outward, and what the presetter measured."""

    stack: Stack = Field(description="The finished stack as planned.")
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    machine: MachineEntry | None = Field(None, description="Machine whose spindle holds the stack, if not a bench.")
    policy: Policy | None = Field(None, description="Policy of the prediction; defaults apply if absent.")
    stages: list[BuildStage] = Field(
        [],
        max_length=12,
        description="From the spindle outward; may be empty if presetter or assembled is stated.",
    )
    presetter: Presetter | None = Field(None, description="Measured data of the finished stack.")
    assembled: AssembledTool | None = Field(
        None, description="The finished stack as an assembled tool, from an import; compared with the stack."
    )
    limit_um: Reading | None = Field(None, description="Runout limit of the finished stack, TIR in µm.", examples=[15])
    limit_at_mm: Length | None = Field(
        None, description="Plane of the limit from the last clamping face, mm; the gauge plane if absent."
    )
    instrument: Instrument | None = Field(None, description="Indicator of all stages; its data give the uncertainty.")
    decision_rule: ReadingRule = Field("iso_14253_1_2013", description="Edition of ISO 14253-1.")
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = Field(2, description="Coverage factor k of all U.")


class StageVector(Out):
    """Eccentricity of a part or of all parts so far, at one plane."""

    from_gauge_line_mm: float = Field(description="Plane from the gauge line, mm.")
    eccentricity_um: float = Field(description="Size, µm, half its TIR.")
    direction_deg: float | None = Field(description="Direction, degrees; null if the size is zero.")
    expanded_uncertainty_um: float | None = Field(description="U of the vector along one axis, µm; null if not known.")


class MeasuredStatement(Out):
    """Measured runout at one plane, as a part states it."""

    tir_um: float = Field(description="TIR, µm.")
    at_mm: float = Field(description="Distance from the part's own face, mm.")
    angle_deg: float = Field(description="High point from the mark of the part, degrees.")
    uncertainty_um: float | None = Field(description="U of the TIR, k = 2, µm; null if not known.")


class MeasuredRunout(Out):
    """A part's own runout as its data take it (`runout`)."""

    law: Literal["measured"] = Field(description="Measured on this part.")
    character: RunoutCharacter | None = Field(description="'offset' where its tilt was not read.")
    statements: list[MeasuredStatement] = Field(description="One plane or two.")


class BuildTurn(Out):
    """Best turn of the joint that was made last."""

    joint: JointEnds
    turn_deg: float = Field(
        description="Turn from the present position, toward larger angles of the readings, degrees."
    )
    leaves_tir_um: float = Field(description="TIR of what is built at the plane of the limit after that turn, µm.")
    tolerance_deg: float | None = Field(
        description="Error of the turn, ±, degrees, at which the stack's p95 reaches the limit; null without one."
    )
    p95_um: float | None = Field(description="p95 of the finished stack after that turn, µm; null if not known.")
    needs_heat: bool = Field(description="Whether the joint has to be heated for it.")


class StageReport(Out):
    """One stage."""

    part: str = Field(description="Part that was mounted last.")
    planes: list[PlaneReading] = Field(description="Readings as in a reading.")
    built: list[StageVector] = Field(description="Axis of what is built, at each plane read and at that of the limit.")
    own: list[StageVector] = Field(
        description="The part's own error with its seat at each plane read; empty where the stage before is not known."
    )
    cause: Annotated[Literal["part", "seat"], OPEN] | None = Field(
        description="Whether repeats show the part itself or its seat; null without repeats or if neither stands out."
    )
    statement: MeasuredRunout | None = Field(description="The part's runout as measured; null if not known.")
    p95_um: float | None = Field(
        description="p95 of the finished stack with this stage as it is, µm; null if not known."
    )
    best_turn: BuildTurn | None = Field(description="Null if the joint cannot be turned or a vector is not known.")
    action: Annotated[BuildAction, OPEN] = Field(
        description="What to do; 'compare' if no limit is stated or nothing is predicted."
    )
    text: str


class ReconciledFigure(Out):
    """Figure of the assembled tool beside that of the stack and the limit of the machine."""

    quantity: Annotated[
        Literal["functional_length", "protruding_length", "cutting_diameter", "largest_diameter", "mass"], OPEN
    ]
    unit: str = Field(description="UCUM code of the unit.", examples=["mm"])
    measured: float = Field(description="As the assembled tool states it.", examples=[140.964])
    predicted: float | None = Field(description="As the stack has it; null if not known.", examples=[141])
    difference: float | None = Field(description="Measured less predicted; null if not known.", examples=[-0.036])
    machine_limit: float | None = Field(description="Limit of the machine; null if it states none.")
    within_machine_limit: bool | None = Field(description="Null if the machine states no limit.")
    lacks: list[Pointer] = Field(description="Request fields that would supply the prediction.")


class FinishedReport(Out):
    """The finished stack against the plan."""

    length_mm: float | None = Field(description="Measured length from the gauge line, mm: the length offset.")
    planned_length_mm: float | None = Field(description="Length as planned, mm.")
    implied_grip_mm: float | None = Field(description="Grip of the last part that the measured length implies, mm.")
    minimum_grip_mm: float | None = Field(description="Stated minimum grip of that joint, mm.")
    grip_is_enough: bool | None = Field(description="Null if either is not known.")
    swing_diameter_mm: float | None = Field(
        description="Diameter that the edges swing, mm: measured, else from eccentricity and angle of the tooth."
    )
    radius_offset_mm: float | None = Field(description="Half of it, mm.")
    decision: DecisionReport | None = Field(
        description="Decision on the presetter's or the last reading; null if none."
    )
    reconciled: list[ReconciledFigure] = Field(description="Figures of the assembled tool; empty without one.")
    spindle_side_agrees: bool | None = Field(
        description="Whether stack and assembled tool have the same coupling to the spindle; null if not known."
    )


class BuildReport(Out):
    """Report of a build."""

    stages: list[StageReport] = Field(description="As in the request.")
    finished: FinishedReport
    not_stated: list[MissingQuantity] = Field(description="Data of the stack missing for a prediction.")
    notes: list[str] = Field(description="Notes on results that could not be determined.")
    cautions: list[str]
    provenance: Provenance
