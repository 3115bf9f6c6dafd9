"""Request of a check: stack, machine, operation and policy."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from rules.couplings.sides import SpindleSide
from rules.quantities.models import (
    CuttingSpeed,
    Force,
    Identifier,
    Length,
    Mass,
    Microns,
    Model,
    PositiveLength,
    SpeedRpm,
    Stiffness,
    Stress,
    Text,
    Token,
    Torque,
)
from rules.schema.components import Definitions, RunoutStatement, StackEntry

__all__ = [
    "DEFAULT_POLICY",
    "MAX_COMPONENTS",
    "NO_OPERATION",
    "BalanceGrade",
    "CheckRequest",
    "Joint",
    "Machine",
    "Milling",
    "Operation",
    "Policy",
    "Stack",
    "StackRequest",
]


MAX_COMPONENTS = 20


class Joint(Model):
    """What is set when two neighbours are joined."""

    upper: Identifier = Field(
        description="Component on the spindle side of the joint, or 'spindle' itself.", examples=["collet-2"]
    )
    lower: Identifier = Field(description="Component on the cutting side of the joint.", examples=["end-mill"])
    grip_length_mm: PositiveLength | None = Field(None, description="Length of shank really held.", examples=[20])
    projection_mm: Length | None = Field(
        None,
        description="How far the lower component sticks out of the upper one's face.",
        examples=[30],
    )
    radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Stiffness of the joint against a radial force, N/µm; rigid when not given.", examples=[40]
    )
    tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Stiffness of the joint against tilting, N·m/mrad; rigid when not given.", examples=[25]
    )
    clocking_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None, description="Angle of the lower component's mark from the upper one's.", examples=[90]
    )


class Stack(Model):
    """An ordered list of components with its joints."""

    id: Identifier | None = Field(None, description="The caller's name for the stack.", examples=["T-0417"])
    description: Text | None = None
    components: list[StackEntry] = Field(
        min_length=1, max_length=MAX_COMPONENTS, description="From the spindle side to the cutting side."
    )
    joints: list[Joint] | None = Field(
        None,
        max_length=MAX_COMPONENTS,
        description="Settings of joints; a joint between neighbours may be left out.",
    )


class KnobDemand(Model):
    """The retention knob that the drawbar grips."""

    form: Token | None = Field(None, description="Form designation the drawbar takes.", examples=["iso_7388_3_ad"])
    head_angle_deg: Annotated[float, Field(ge=0, le=180)] | None = Field(None, examples=[45])


class Machine(Model):
    """What the machine states of itself; what it does not state is not judged."""

    id: Text | None = Field(None, examples=["mill 3"])
    spindle: SpindleSide | None = Field(None, description="The spindle's taper.")
    retention_knob: KnobDemand | None = Field(None, description="The knob its drawbar needs, if it needs one.")
    max_speed_rpm: SpeedRpm | None = Field(None, description="Largest spindle speed.", examples=[15000])
    max_tool_mass_kg: Mass | None = Field(None, description="Largest mass of tool with holder.", examples=[8])
    max_tool_length_mm: PositiveLength | None = Field(
        None, description="Largest projection from the gauge line.", examples=[300]
    )
    max_tool_diameter_mm: PositiveLength | None = Field(None, description="Largest diameter.", examples=[80])
    max_tilting_moment_n_m: Torque | None = Field(
        None, description="Largest moment of the tool's weight about the gauge line, N·m.", examples=[12]
    )
    max_torque_n_m: Torque | None = Field(None, description="Largest torque of the spindle, N·m.", examples=[80])
    max_power_kw: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        None, description="Largest power of the spindle, kW.", examples=[15]
    )
    spindle_radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Stiffness at the gauge line against a radial force, N/µm; rigid when not given."
    )
    spindle_tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Stiffness at the gauge line against tilting, N·m/mrad; rigid when not given."
    )
    coolant_through: bool | None = Field(None, description="Supplies coolant through the spindle.", examples=[True])
    spindle_runout: list[RunoutStatement] | None = Field(
        None,
        min_length=1,
        max_length=2,
        description="Runout of a test bar in the spindle, from the gauge line; left out on a bench gauge.",
    )
    spindle_runout_law: Literal["limit", "capability", "measured"] | None = Field(
        None, description="As a component's runout_law; 'limit' is assumed."
    )


BalanceGrade = Literal["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"]

WorkMaterial = Literal[
    "s235",
    "e295",
    "c45",
    "c60",
    "16mncr5",
    "42crmo4",
    "x5crni18_10",
    "grey_cast_iron_250",
    "wrought_aluminium",
    "cast_aluminium",
    "ti6al4v",
]
"""Groups of the table of work materials."""


class Milling(Model):
    """A milling cut, from which force, torque and power follow; the feed per tooth stands in the operation."""

    axial_depth_mm: PositiveLength | None = Field(None, description="Axial depth of cut a_p.", examples=[6])
    radial_depth_mm: PositiveLength | None = Field(
        None, description="Radial depth of cut a_e, at most the cutting diameter.", examples=[2]
    )
    work_material: WorkMaterial | None = Field(
        None, description="Group of the work material, by the table of work materials.", examples=["c45"]
    )
    unit_specific_force_mpa: Stress | None = Field(
        None, description="Specific cutting force k_c1.1 of the caller's own, in place of the group's.", examples=[2100]
    )
    thickness_exponent: Annotated[float, Field(ge=0, lt=1)] | None = Field(
        None, description="Exponent m_c of the chip thickness, in place of the group's.", examples=[0.25]
    )
    radial_force_ratio: Annotated[float, Field(ge=0, le=2)] | None = Field(
        None, description="Radial over tangential force at the tooth, in place of the group's.", examples=[0.4]
    )
    lead_angle_deg: Annotated[float, Field(ge=5, le=90)] | None = Field(
        None, description="Angle of the cutting edge to the feed, κ; 90° (a square shoulder) when not given."
    )


class Operation(Model):
    """Demands; what is not stated is not judged."""

    spindle_speed_rpm: SpeedRpm | None = Field(None, description="Speed to run at.", examples=[12000])
    cutting_speed_m_per_min: CuttingSpeed | None = Field(
        None, description="Cutting speed at the cutting diameter, where the speed is asked so.", examples=[160]
    )
    runout_limit_um: Microns | None = Field(
        None, description="Largest total indicator reading accepted, µm.", examples=[10]
    )
    runout_limit_at: Literal["gauge_plane", "tip"] | None = Field(
        None, description="Where the limit holds; the gauge plane when not given."
    )
    gauge_plane_mm: PositiveLength | None = Field(
        None,
        description="Distance of the gauge plane from the last clamping face, in place of the policy's multiple of"
        " the diameter.",
        examples=[19.05],
    )
    balance_grade: BalanceGrade | None = Field(
        None, description="Balance quality grade of ISO 21940-11.", examples=["G2.5"]
    )
    feed_per_tooth_mm: Annotated[float, Field(ge=1e-6, le=20)] | None = Field(
        None, description="Feed per tooth, mm.", examples=[0.05]
    )
    milling: Milling | None = Field(None, description="The cut, where its load is to be computed.")
    torque_n_m: Torque | None = Field(
        None, description="Largest torque at the cutter, in place of the computed one, N·m.", examples=[12]
    )
    axial_pull_n: Force | None = Field(
        None, description="Largest pull out of the clamp, in place of the computed one, N.", examples=[400]
    )
    radial_force_n: Force | None = Field(
        None, description="Largest force across the axis at the tip, in place of the computed one, N.", examples=[250]
    )
    deflection_limit_um: Microns | None = Field(
        None, description="Largest deflection of the tip under that force, µm.", examples=[20]
    )
    coolant: Literal["through", "external", "none"] | None = Field(
        None, description="How coolant reaches the cut.", examples=["through"]
    )


RuleCode = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2,5}-[0-9]{3}$")]

ThresholdOverrides = dict[RuleCode, dict[str, float]]
"""Rule code -> threshold name -> value."""


class Policy(Model):
    """How undecided rules and warnings count, and which thresholds differ from the rulebook's."""

    on_undecided: Literal["review", "fail"] = Field(
        "review", description="What an undecided rule does to the verdict. It never passes."
    )
    on_warning: Literal["review", "fail"] = Field("review", description="What a warning does to the verdict.")
    gauge_plane_diameters: Annotated[float, Field(ge=0, le=50)] = Field(
        3.0,
        description="Distance of the gauge plane from the last clamping face in cutter diameters;"
        " 3 is common practice.",
    )
    flute_bending_ratio: Annotated[float, Field(ge=0.3, le=1)] = Field(
        0.8,
        description="Diameter that bends like the fluted part of a cutter, over its outer diameter; 0.8 after"
        " Kops and Vo (1990), from memory.",
    )
    slip_fit: Literal["maximum", "mean"] = Field(
        "maximum", description="Which clearance of a slip fit counts as runout: the largest by its limits, or the mean."
    )
    thresholds: ThresholdOverrides | None = Field(
        None,
        description="Thresholds of rules to change, by rule code and threshold name; the report lists them.",
        examples=[{"OVH-010": {"max_ratio": 5}}],
    )


DEFAULT_POLICY: Final = Policy()


class StackRequest(Model):
    """A stack, and optionally what is asked of it, on which machine, judged how strictly."""

    stack: Stack
    components: Definitions | None = Field(None, description="Components defined once, for references to name.")
    operation: Operation | None = Field(None, description="Demands; left out, only the stack itself is judged.")
    machine: Machine | None = Field(None, description="The machine; left out, its limits are not judged.")
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")


class CheckRequest(StackRequest):
    """A stack to check, and optionally what is asked of it, on which machine, judged how strictly."""

    with_assembly: bool | None = Field(
        None, description="Ask for the work instruction, too; it costs about a quarter of a check.", examples=[True]
    )


NO_OPERATION: Final = Operation.model_validate({})
"""An operation that states nothing."""
