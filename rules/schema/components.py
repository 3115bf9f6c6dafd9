"""Models of the components of a stack, one per kind."""

from __future__ import annotations

from copy import copy
from typing import Annotated, Any, Final, Literal

from pydantic import Field

from rules.couplings.designation import ThreadName
from rules.couplings.sides import MachineSide, WorkpieceSide
from rules.quantities.models import (
    Angle,
    Count,
    CuttingSpeed,
    Density,
    Identifier,
    Key,
    Length,
    Mass,
    Microns,
    Model,
    PositiveLength,
    SpeedRpm,
    Stress,
    Text,
    Token,
    Torque,
    Unbalance,
)

__all__ = [
    "ABOUT_LABELS",
    "MAX_DEFINITIONS",
    "WITHDRAWN",
    "BaseHolder",
    "Collet",
    "Component",
    "ComponentReference",
    "Cutter",
    "CutterKind",
    "Definitions",
    "Extension",
    "GaugePin",
    "InvalidPart",
    "Labels",
    "Material",
    "Overlay",
    "PartSource",
    "Profile",
    "ProfilePiece",
    "Reducer",
    "ReferenceTarget",
    "RetentionKnob",
    "Runout",
    "RunoutStatement",
    "StackEntry",
    "StackPart",
    "Status",
    "ToolStatus",
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


AxialOffset = Annotated[float, Field(ge=-5000, le=5000)]
"""Position on the axis, mm; negative behind the datum."""

Inertia = Annotated[float, Field(ge=0, le=1e9)]
"""Moment of inertia, kg·mm²."""

YoungsModulus = Annotated[float, Field(ge=1, le=1500)]
"""Young's modulus, GPa."""

HeadAngle = Annotated[float, Field(ge=0, le=180)]
"""Angle of a face to the axis, degrees."""


class ProfilePiece(Model):
    """Section of the outline: a cylinder, or a cone if the end diameter differs; hollow if a bore is stated."""

    length_mm: PositiveLength = Field(description="Axial length, mm.", examples=[35])
    outer_mm: PositiveLength = Field(description="Outer diameter at the machine-side end, mm.", examples=[44.45])
    outer_end_mm: PositiveLength | None = Field(
        None, description="Outer diameter at the workpiece-side end if different, mm.", examples=[40]
    )
    bore_mm: Length | None = Field(None, description="Bore diameter, mm.", examples=[26])


Profile = Annotated[list[ProfilePiece], Field(max_length=200)]
"""Outline in pieces."""


class RunoutStatement(Model):
    """Runout (total indicator reading), stated or measured at a distance.

    The distance counts outward from the component's workpiece-side face. For a cutting tool or gauge pin it counts from
    the clamping face, for a spindle from its gauge line.
    """

    tir_um: Microns = Field(description="Total indicator reading, µm.", examples=[3])
    at_mm: Length = Field(description="Distance from the face, mm.", examples=[60])
    angle_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None,
        description="Angle of the measured high point from the component's mark, degrees.",
        examples=[40],
    )
    uncertainty_um: Microns | None = Field(
        None, description="Expanded uncertainty (k = 2) of the reading, µm; it adds to the runout."
    )


Tilt = Annotated[float, Field(ge=0, le=10_000)]

RunoutLaw = Literal["limit", "capability", "measured"]

RunoutCharacter = Literal["tilt", "offset"]


class Runout(Model):
    """Runout at one or two planes, and what the values mean."""

    law: RunoutLaw | None = Field(
        None,
        description="Meaning of the values. 'limit' (default): anywhere up to it. 'capability': 95 % of parts are"
        " within it. 'measured': measured on this part, with direction if angles are stated.",
    )
    character: RunoutCharacter | None = Field(
        None, description="Meaning of a single value: 'tilt' (default), or 'offset' for constant eccentricity."
    )
    max_tilt_um_per_m: Tilt | None = Field(
        None, description="Bound of the axis's tilt beside a single value, µm/m; the reading grows by twice that."
    )
    statements: list[RunoutStatement] = Field(
        min_length=1,
        max_length=2,
        description="One plane: offset before it, beyond it tilt about the seat. Two: the axis passes through both.",
    )

    @property
    def is_directed(self) -> bool:
        """Whether the high points are known: a measurement with an angle at each plane."""
        return self.law == "measured" and all(one.angle_deg is not None for one in self.statements)


Labels = Annotated[dict[Token, Text], Field(max_length=50, json_schema_extra={"additionalProperties": False})]
"""Short texts by name."""

ABOUT_LABELS: Final = "Labels such as tool number, owner, cell or revision; the report repeats them."


ToolStatus = Literal[
    "new", "available", "unavailable", "allocated", "unallocated", "measured", "not_registered", "reconditioned",
    "used", "expired", "tagged_out", "broken", "unknown",
]  # fmt: skip
"""State of a piece in tool management; the words of MTConnect."""

Status = Annotated[list[ToolStatus], Field(min_length=1, max_length=13)]
"""States that hold together."""

WITHDRAWN: Final[tuple[ToolStatus, ...]] = ("broken", "expired", "tagged_out")
"""States that withdraw a piece from use."""


class Component(Model):
    """Fields of every component."""

    id: Identifier = Field(description="Name in the request.")
    description: Text | None = None
    part_number: Text | None = None
    labels: Labels | None = Field(None, description=ABOUT_LABELS)
    status: Status | None = Field(
        None, description="States in tool management; expired, tagged_out and broken withdraw the piece from use."
    )
    material: Material | None = Field(None, description="Material of the body.")
    profile: Profile | None = Field(
        None, description="Outline from machine side to workpiece side, from the gauge line on."
    )
    mass_kg: Mass | None = Field(None, description="Mass.")
    centre_of_mass_mm: AxialOffset | None = Field(
        None,
        description="Centre of mass, mm: from the gauge line of a taper or arbor (negative behind it), else from the"
        " machine-side end.",
    )
    transverse_inertia_kg_mm2: Inertia | None = Field(
        None, description="Transverse moment of inertia about the centre of mass, kg·mm²."
    )
    density_kg_m3: Density | None = Field(None, description="Density, kg/m³, if not that of the table.")
    youngs_modulus_gpa: YoungsModulus | None = Field(
        None, description="Young's modulus, GPa, if not that of the table."
    )
    yield_mpa: Stress | None = Field(None, description="0.2 % proof stress, MPa; the table has few.")
    unbalance_g_mm: Unbalance | None = Field(None, description="Residual static unbalance, g·mm.")
    max_speed_rpm: SpeedRpm | None = Field(None, description="Manufacturer's speed limit, rpm.")
    runout: Runout | None = Field(None, description="Runout of the component.")
    coolant_through: bool | None = Field(None, description="Whether the body has a coolant bore.")


class BaseHolder(Component):
    """Spindle holder."""

    kind: Literal["base_holder"]
    machine_side: MachineSide | None = None
    workpiece_side: WorkpieceSide | None = None
    gauge_length_mm: PositiveLength | None = Field(
        None, description="Length from the gauge line to the workpiece-side face, mm.", examples=[63]
    )
    seat_length_mm: PositiveLength | None = Field(
        None,
        description="Seat length behind the gauge line, mm, if no table has it.",
        examples=[65.4],
    )
    length_compensation: bool | None = Field(None, description="Whether it floats along the axis, for taps.")
    max_torque_n_m: Torque | None = Field(None, description="Torque of its slipping clutch, N·m.")


class _Inserted(Component):
    machine_side: MachineSide | None = None
    overall_length_mm: PositiveLength | None = Field(None, description="Overall length, mm.")
    gauge_length_mm: PositiveLength | None = Field(
        None,
        description="From gauge line or contact face to the workpiece-side end, mm.",
    )


class Extension(_Inserted):
    """Extension."""

    kind: Literal["extension"]
    workpiece_side: WorkpieceSide | None = None


class Reducer(_Inserted):
    """Reducer from a bore to a smaller shank or coupling."""

    kind: Literal["reducer"]
    workpiece_side: WorkpieceSide | None = None


class Collet(Component):
    """Collet."""

    kind: Literal["collet"]
    machine_side: MachineSide | None = None
    workpiece_side: WorkpieceSide | None = None
    face_projection_mm: Length | None = Field(
        None,
        description="Projection of its face from the socket's face, mm; 0 if absent.",
        examples=[0.5],
    )
    square_mm: PositiveLength | None = Field(None, description="Square that drives a tap, mm; absent for none.")


class _Tool(_Inserted):
    straightness_um: Microns | None = Field(None, description="Straightness over the overall length, µm.")
    roundness_um: Microns | None = Field(None, description="Roundness deviation at the measuring plane, µm.")


CutterKind = Literal["cutter", "drill", "tap", "reamer", "boring_tool"]
"""Kinds of cutting tools; 'cutter' for milling cutters and all others."""


class Cutter(_Tool):
    """Cutting tool."""

    kind: CutterKind
    cutting_diameter_mm: PositiveLength | None = Field(None, description="Largest cutting diameter, mm.", examples=[6])
    flute_length_mm: PositiveLength | None = Field(None, description="Flute length, mm.", examples=[16])
    teeth: Count | None = Field(None, description="Number of teeth.", examples=[4])
    helix_angle_deg: Angle | None = Field(
        None, description="Helix angle, degrees; 0 for straight flutes.", examples=[35]
    )
    max_cutting_speed_m_per_min: CuttingSpeed | None = Field(
        None, description="Manufacturer's cutting speed limit for this material, m/min.", examples=[180]
    )
    corner_radius_mm: Length | None = Field(None, description="Corner radius, mm; half the diameter for a ball nose.")
    rake_angle_deg: Annotated[float, Field(ge=-30, le=40)] | None = Field(None, description="Rake angle, degrees.")
    point_angle_deg: Annotated[float, Field(ge=10, le=180)] | None = Field(
        None, description="Point angle of a drill, degrees."
    )
    pitch_mm: PositiveLength | None = Field(None, description="Thread pitch of a tap, mm.")
    thread: ThreadName | None = Field(
        None, description="Thread that a tap makes, which gives diameter and pitch; not decided where it is not known."
    )
    forms_thread: bool | None = Field(None, description="Whether a tap forms its thread, not cuts it.")
    square_mm: PositiveLength | None = Field(None, description="Square on a tap's shank, mm.")
    max_torque_n_m: Torque | None = Field(None, description="Torque limit, N·m.")


class GaugePin(_Tool):
    """Gauge pin or plain rod in place of the cutting tool, for measuring runout."""

    kind: Literal["gauge_pin"]


class RetentionKnob(Component):
    """Retention knob (pull stud) of a steep taper."""

    kind: Literal["retention_knob"]
    form: Token | None = Field(
        None, description="Form designation of ISO 7388-3, or a shop designation.", examples=["iso_7388_3_ad"]
    )
    thread: ThreadName | None = Field(None, description="Designation of the thread.")
    head_angle_deg: HeadAngle | None = Field(
        None, description="Angle of the gripping face to the axis, degrees.", examples=[45]
    )


PartSource = Literal["request", "catalogue", "standard"]


class ReferenceTarget(Model):
    """Where a referenced component is defined."""

    source: PartSource = Field(
        alias="from",
        description="'request': under `components`. 'catalogue': in the mounted catalogue. 'standard': among the"
        " standard parts.",
    )
    key: Key = Field(description="Key of the definition.", examples=["LK-40-063"])
    revision: Token | None = Field(
        None,
        description="Revision of the catalogue's part; without it the key must have one definition only.",
        examples=["B"],
    )


def _same(model: type[Component], name: str) -> Any:
    """Return the field of a component's model, so that an overlay declares it once more without a second text.

    Its example stands with the component.
    """
    field = copy(model.model_fields[name])
    field.examples = None
    return field


class Overlay(Model):
    """Fields laid over a referenced component; null takes a field away."""

    description: Text | None = _same(Cutter, "description")
    part_number: Text | None = _same(Cutter, "part_number")
    labels: Labels | None = _same(Cutter, "labels")
    status: Status | None = _same(Cutter, "status")
    machine_side: MachineSide | None = _same(Cutter, "machine_side")
    workpiece_side: WorkpieceSide | None = _same(Extension, "workpiece_side")
    material: Material | None = _same(Cutter, "material")
    profile: Profile | None = _same(Cutter, "profile")
    mass_kg: Mass | None = _same(Cutter, "mass_kg")
    centre_of_mass_mm: AxialOffset | None = _same(Cutter, "centre_of_mass_mm")
    transverse_inertia_kg_mm2: Inertia | None = _same(Cutter, "transverse_inertia_kg_mm2")
    density_kg_m3: Density | None = _same(Cutter, "density_kg_m3")
    youngs_modulus_gpa: YoungsModulus | None = _same(Cutter, "youngs_modulus_gpa")
    yield_mpa: Stress | None = _same(Cutter, "yield_mpa")
    unbalance_g_mm: Unbalance | None = _same(Cutter, "unbalance_g_mm")
    max_speed_rpm: SpeedRpm | None = _same(Cutter, "max_speed_rpm")
    runout: Runout | None = _same(Cutter, "runout")
    coolant_through: bool | None = _same(Cutter, "coolant_through")
    gauge_length_mm: PositiveLength | None = _same(Extension, "gauge_length_mm")
    seat_length_mm: PositiveLength | None = _same(BaseHolder, "seat_length_mm")
    overall_length_mm: PositiveLength | None = _same(Extension, "overall_length_mm")
    face_projection_mm: Length | None = _same(Collet, "face_projection_mm")
    straightness_um: Microns | None = _same(Cutter, "straightness_um")
    roundness_um: Microns | None = _same(Cutter, "roundness_um")
    cutting_diameter_mm: PositiveLength | None = _same(Cutter, "cutting_diameter_mm")
    flute_length_mm: PositiveLength | None = _same(Cutter, "flute_length_mm")
    teeth: Count | None = _same(Cutter, "teeth")
    helix_angle_deg: Angle | None = _same(Cutter, "helix_angle_deg")
    max_cutting_speed_m_per_min: CuttingSpeed | None = _same(Cutter, "max_cutting_speed_m_per_min")
    corner_radius_mm: Length | None = _same(Cutter, "corner_radius_mm")
    rake_angle_deg: Annotated[float, Field(ge=-30, le=40)] | None = _same(Cutter, "rake_angle_deg")
    point_angle_deg: Annotated[float, Field(ge=10, le=180)] | None = _same(Cutter, "point_angle_deg")
    pitch_mm: PositiveLength | None = _same(Cutter, "pitch_mm")
    forms_thread: bool | None = _same(Cutter, "forms_thread")
    square_mm: PositiveLength | None = _same(Cutter, "square_mm")
    max_torque_n_m: Torque | None = _same(Cutter, "max_torque_n_m")
    length_compensation: bool | None = _same(BaseHolder, "length_compensation")
    form: Token | None = _same(RetentionKnob, "form")
    thread: ThreadName | None = Field(None, description="Thread of a retention knob, or that a tap makes.")
    head_angle_deg: HeadAngle | None = _same(RetentionKnob, "head_angle_deg")


class ComponentReference(Model):
    """Reference to a component of the request, the mounted catalogue or the standards, with own fields laid over it."""

    kind: Literal["reference"]
    of: ReferenceTarget
    id: Identifier | None = Field(
        None, description="Name in the stack; defaults to the definition's id.", examples=["bh1"]
    )
    overlay: Overlay | None = Field(
        None, alias="with", description="Fields of this piece that replace or complete those of the definition."
    )


class InvalidPart(Model):
    """In place of a definition whose data cannot be used. No request states one."""

    kind: Literal["invalid"]
    reason: str


StackPart = Annotated[
    BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob, Field(discriminator="kind")
]
"""Any component of a stack."""

StackEntry = Annotated[
    BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin | RetentionKnob | ComponentReference,
    Field(discriminator="kind"),
]
"""A component of a stack, or a reference to one."""

MAX_DEFINITIONS: Final = 1000

Definitions = Annotated[
    dict[Identifier, StackEntry], Field(max_length=MAX_DEFINITIONS, json_schema_extra={"additionalProperties": False})
]
"""Component definitions by key."""
