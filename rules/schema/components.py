"""Components of a stack, one model a kind."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from rules.couplings.sides import MachineSide, WorkpieceSide
from rules.quantities.models import (
    Angle,
    Count,
    CuttingSpeed,
    Density,
    Identifier,
    Length,
    Mass,
    Microns,
    Model,
    PositiveLength,
    SpeedRpm,
    Stress,
    Text,
    Token,
    Unbalance,
)

__all__ = [
    "MAX_DEFINITIONS",
    "BaseHolder",
    "Collet",
    "Component",
    "ComponentReference",
    "Cutter",
    "Definitions",
    "Extension",
    "GaugePin",
    "Material",
    "ProfilePiece",
    "Reducer",
    "RetentionKnob",
    "RunoutStatement",
    "StackEntry",
    "StackPart",
]

Material = Literal[
    "steel",
    "tool_steel",
    "stainless_steel",
    "high_speed_steel",
    "cemented_carbide",
    "tungsten_heavy_alloy",
    "aluminium",
    "titanium",
    "ceramic",
    "cermet",
]


class ProfilePiece(Model):
    """One piece of the outline: a cylinder, or a cone where the end diameter differs; hollow where a bore is given."""

    length_mm: PositiveLength = Field(description="Axial length.", examples=[35])
    outer_mm: PositiveLength = Field(description="Outer diameter at the machine-side end.", examples=[44.45])
    outer_end_mm: PositiveLength | None = Field(
        None, description="Outer diameter at the workpiece-side end, where it differs.", examples=[40]
    )
    bore_mm: Length | None = Field(None, description="Bore diameter along the piece.", examples=[26])


class RunoutStatement(Model):
    """A runout (total indicator reading) promised or measured at a distance.

    The distance counts outward from the component's own workpiece-side face; for a cutter or
    gauge pin from the face that clamps it, for a spindle from its gauge line.
    """

    tir_um: Microns = Field(description="Total indicator reading, µm.", examples=[3])
    at_mm: Length = Field(description="Distance from the face.", examples=[60])
    angle_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None,
        description="Direction of the high point from the component's own mark, of a measured reading.",
        examples=[40],
    )


class Component(Model):
    """What every component has in common."""

    id: Identifier = Field(description="Name within the request.", examples=["bh1"])
    description: Text | None = Field(None, examples=["40 taper holder for press-in collets"])
    part_number: Text | None = Field(None, examples=["LK-40-063"])
    material: Material | None = Field(None, description="Material of the body.", examples=["steel"])
    profile: list[ProfilePiece] | None = Field(
        None,
        max_length=200,
        description="Outline from the machine side to the workpiece side; behind a gauge line it is not drawn.",
    )
    mass_kg: Mass | None = Field(None, description="Mass.", examples=[1.05])
    centre_of_mass_mm: Annotated[float, Field(ge=-5000, le=5000)] | None = Field(
        None,
        description="Axial position of the centre of mass, from the gauge line of a taper or arbor (negative behind"
        " it), else from the machine-side end.",
        examples=[12.5],
    )
    transverse_inertia_kg_mm2: Annotated[float, Field(ge=0, le=1e9)] | None = Field(
        None, description="Moment of inertia about a diameter through the centre of mass, kg·mm².", examples=[950]
    )
    density_kg_m3: Density | None = Field(
        None, description="Density, where the grade's own differs from the table of materials.", examples=[14400]
    )
    youngs_modulus_gpa: Annotated[float, Field(ge=1, le=1500)] | None = Field(
        None, description="Young's modulus, where the grade's own differs from the table.", examples=[580]
    )
    yield_mpa: Stress | None = Field(
        None, description="0.2 % yield stress of this grade and hardness; the table knows it for few.", examples=[1200]
    )
    unbalance_gmm: Unbalance | None = Field(None, description="Residual static unbalance, g·mm.", examples=[4.0])
    max_speed_rpm: SpeedRpm | None = Field(None, description="Highest speed its maker allows.", examples=[18000])
    runout: list[RunoutStatement] | None = Field(
        None,
        min_length=1,
        max_length=2,
        description="One statement: the axis tilts about the middle of the seat. Two: the line through both.",
    )
    runout_character: Literal["tilt", "offset"] | None = Field(
        None, description="'offset' makes a single statement a constant eccentricity; 'tilt' is assumed."
    )
    runout_law: Literal["limit", "capability", "measured"] | None = Field(
        None,
        description="'limit' (assumed): the axis may lie at the stated limit. 'capability': 95 % of parts keep it."
        " 'measured': read on this very part, with its direction where angles are stated.",
    )
    coolant_through: bool | None = Field(None, description="Passes coolant through its body.", examples=[True])


class BaseHolder(Component):
    """Spindle holder."""

    kind: Literal["base_holder"]
    machine_side: MachineSide | None = None
    workpiece_side: WorkpieceSide | None = None
    gauge_length_mm: PositiveLength | None = Field(
        None, description="From the gauge line to the workpiece-side face.", examples=[63]
    )
    seat_length_mm: PositiveLength | None = Field(
        None,
        description="Length of the seat behind the gauge line, where no table tells it.",
        examples=[65.4],
    )


class _Inserted(Component):
    machine_side: MachineSide | None = None
    overall_length_mm: PositiveLength | None = Field(None, description="End to end.", examples=[120])
    gauge_length_mm: PositiveLength | None = Field(
        None,
        description="From the gauge line or contact face to the workpiece-side end, for couplings that have one.",
        examples=[80],
    )


class Extension(_Inserted):
    """Extension: carries the next component further out."""

    kind: Literal["extension"]
    workpiece_side: WorkpieceSide | None = None


class Reducer(_Inserted):
    """Reducer: brings a bore down to a smaller shank or coupling."""

    kind: Literal["reducer"]
    workpiece_side: WorkpieceSide | None = None


class Collet(Component):
    """Collet."""

    kind: Literal["collet"]
    machine_side: MachineSide | None = None
    workpiece_side: WorkpieceSide | None = None
    face_projection_mm: Length | None = Field(
        None,
        description="How far its face stands out of the socket's face; flush when not given.",
        examples=[0.5],
    )


class _Tool(_Inserted):
    straightness_um: Microns | None = Field(
        None, description="Straightness of the shank or pin over its overall length, µm.", examples=[2]
    )
    roundness_um: Microns | None = Field(
        None, description="Out-of-roundness where the indicator touches: it reads as much at most, µm.", examples=[0.5]
    )


class Cutter(_Tool):
    """Cutter."""

    kind: Literal["cutter"]
    cutting_diameter_mm: PositiveLength | None = Field(None, description="Largest cutting diameter.", examples=[6])
    flute_length_mm: PositiveLength | None = Field(None, description="Length of the flutes.", examples=[16])
    teeth: Count | None = Field(None, description="Number of teeth.", examples=[4])
    helix_angle_deg: Angle | None = Field(
        None, description="Helix angle of the flutes to the axis; 0 for straight flutes.", examples=[35]
    )
    max_cutting_speed_m_per_min: CuttingSpeed | None = Field(
        None, description="Highest cutting speed its maker states for this work, m/min.", examples=[180]
    )


class GaugePin(_Tool):
    """Gauge pin or plain rod set in place of the cutter to read the runout."""

    kind: Literal["gauge_pin"]


class RetentionKnob(Component):
    """Retention knob (pull stud) in the end of a steep taper."""

    kind: Literal["retention_knob"]
    form: Token | None = Field(
        None, description="Form designation of ISO 7388-3, or the shop's own.", examples=["iso_7388_3_ad"]
    )
    thread: Token | None = Field(None, description="Thread into the holder.", examples=["M16"])
    head_angle_deg: Annotated[float, Field(ge=0, le=180)] | None = Field(
        None, description="Angle of the gripped face to the axis.", examples=[45]
    )


class ComponentReference(Model):
    """A component that is defined elsewhere: under `components` of the request, or in the mounted catalogue."""

    kind: Literal["reference"]
    of: Identifier = Field(description="Key of the definition; the request's own wins.", examples=["LK-40-063"])
    id: Identifier | None = Field(
        None, description="Name within the stack; the definition's own id when not given.", examples=["bh1"]
    )


StackPart = Annotated[
    BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob, Field(discriminator="kind")
]
"""Any component of a stack."""

StackEntry = Annotated[
    BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob | ComponentReference,
    Field(discriminator="kind"),
]
"""A component of a stack, or where it is defined."""

MAX_DEFINITIONS: Final = 1000

Definitions = Annotated[
    dict[Identifier, StackEntry], Field(max_length=MAX_DEFINITIONS, json_schema_extra={"additionalProperties": False})
]
"""Components by the key that references call them by."""
