"""Request of a check: stack with joints, machine, operation and policy."""

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
    """Settings of the joint between two neighbouring components."""

    upper: Identifier = Field(
        description="Component on the spindle side; 'spindle' for the spindle itself.", examples=["c2"]
    )
    lower: Identifier = Field(description="Component on the cutting side.", examples=["em"])
    grip_length_mm: PositiveLength | None = Field(None, description="Clamped length of the shank, mm.", examples=[20])
    projection_mm: Length | None = Field(
        None,
        description="Projection of the lower component from the upper one's face, mm.",
        examples=[30],
    )
    radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Radial stiffness of the joint, N/µm; rigid if absent.", examples=[40]
    )
    tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Tilting stiffness of the joint, N·m/mrad; rigid if absent.", examples=[25]
    )
    clocking_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None, description="Angle of the lower component's mark from the upper one's, degrees.", examples=[90]
    )


class Stack(Model):
    """Components in order, with their joints."""

    id: Identifier | None = Field(None, description="The caller's name for the stack.", examples=["T-0417"])
    description: Text | None = None
    components: list[StackEntry] = Field(
        min_length=1, max_length=MAX_COMPONENTS, description="Components from the spindle side to the cutting side."
    )
    joints: list[Joint] | None = Field(
        None,
        max_length=MAX_COMPONENTS,
        description="Settings of joints; joints without settings may be left out.",
    )


class KnobDemand(Model):
    """Retention knob that the drawbar requires."""

    form: Token | None = Field(None, description="Form designation.", examples=["iso_7388_3_ad"])
    head_angle_deg: Annotated[float, Field(ge=0, le=180)] | None = Field(None, examples=[45])


class Machine(Model):
    """Limits of the machine; limits not stated are not judged."""

    id: Text | None = Field(None, examples=["mill 3"])
    spindle: SpindleSide | None = Field(None, description="Taper of the spindle.")
    retention_knob: KnobDemand | None = Field(None, description="Retention knob that the drawbar requires, if any.")
    max_speed_rpm: SpeedRpm | None = Field(None, description="Highest spindle speed, rpm.", examples=[15000])
    max_tool_mass_kg: Mass | None = Field(None, description="Largest mass of tool with holder, kg.", examples=[8])
    max_tool_length_mm: PositiveLength | None = Field(
        None, description="Largest projection from the gauge line, mm.", examples=[300]
    )
    max_tool_diameter_mm: PositiveLength | None = Field(None, description="Largest tool diameter, mm.", examples=[80])
    max_tilting_moment_n_m: Torque | None = Field(
        None, description="Tool changer's moment limit about the gauge line, N·m.", examples=[12]
    )
    max_torque_n_m: Torque | None = Field(None, description="Spindle torque limit, N·m.", examples=[80])
    max_power_kw: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        None, description="Spindle power limit, kW.", examples=[15]
    )
    spindle_radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Radial stiffness at the gauge line, N/µm; rigid if absent."
    )
    spindle_tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Tilting stiffness at the gauge line, N·m/mrad; rigid if absent."
    )
    coolant_through: bool | None = Field(
        None, description="Whether the spindle supplies through-coolant.", examples=[True]
    )
    spindle_runout: list[RunoutStatement] | None = Field(
        None,
        min_length=1,
        max_length=2,
        description="Runout of a test bar in the spindle, distances from the gauge line; absent for a bench gauge.",
    )
    spindle_runout_law: Literal["limit", "capability", "measured"] | None = Field(
        None, description="Meaning of the runout values, as a component's runout_law; default 'limit'."
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
"""Groups in the table of work materials."""


class Milling(Model):
    """Milling cut for computing force, torque and power; the operation has the feed per tooth."""

    axial_depth_mm: PositiveLength | None = Field(None, description="Axial depth of cut a_p, mm.", examples=[6])
    radial_depth_mm: PositiveLength | None = Field(
        None, description="Radial depth of cut a_e, mm; at most the cutting diameter.", examples=[2]
    )
    work_material: WorkMaterial | None = Field(
        None, description="Work material group of the material table.", examples=["c45"]
    )
    unit_specific_force_mpa: Stress | None = Field(
        None, description="Specific cutting force k_c1.1, MPa, in place of the group's.", examples=[2100]
    )
    thickness_exponent: Annotated[float, Field(ge=0, lt=1)] | None = Field(
        None, description="Chip thickness exponent m_c, in place of the group's.", examples=[0.25]
    )
    radial_force_ratio: Annotated[float, Field(ge=0, le=2)] | None = Field(
        None, description="Ratio of radial to tangential force at the tooth, in place of the group's.", examples=[0.4]
    )
    lead_angle_deg: Annotated[float, Field(ge=5, le=90)] | None = Field(
        None, description="Cutting edge angle κ, degrees; default 90 (square shoulder)."
    )


class Operation(Model):
    """Requirements of the operation; those not stated are not judged."""

    spindle_speed_rpm: SpeedRpm | None = Field(None, description="Programmed spindle speed, rpm.", examples=[12000])
    cutting_speed_m_per_min: CuttingSpeed | None = Field(
        None,
        description="Programmed cutting speed at the cutting diameter, m/min, in place of the spindle speed.",
        examples=[160],
    )
    runout_limit_um: Microns | None = Field(None, description="Runout limit, TIR in µm.", examples=[10])
    runout_limit_at: Literal["gauge_plane", "tip"] | None = Field(
        None, description="Plane of the runout limit; default gauge plane."
    )
    gauge_plane_mm: PositiveLength | None = Field(
        None,
        description="Distance of the gauge plane from the last clamping face, mm, in place of the policy's multiple of"
        " the diameter.",
        examples=[19.05],
    )
    balance_grade: BalanceGrade | None = Field(
        None, description="Required balance quality grade of ISO 21940-11.", examples=["G2.5"]
    )
    feed_per_tooth_mm: Annotated[float, Field(ge=1e-6, le=20)] | None = Field(
        None, description="Feed per tooth, mm.", examples=[0.05]
    )
    milling: Milling | None = Field(None, description="Milling cut, for computing the cutting load.")
    torque_n_m: Torque | None = Field(
        None, description="Largest torque at the cutting tool, N·m, in place of the computed one.", examples=[12]
    )
    axial_pull_n: Force | None = Field(
        None, description="Largest axial pull-out force, N, in place of the computed one.", examples=[400]
    )
    radial_force_n: Force | None = Field(
        None, description="Largest radial force at the tip, N, in place of the computed one.", examples=[250]
    )
    deflection_limit_um: Microns | None = Field(
        None, description="Permissible deflection at the tip under the radial force, µm.", examples=[20]
    )
    coolant: Literal["through", "external", "none"] | None = Field(
        None, description="Coolant supply to the cut.", examples=["through"]
    )


RuleCode = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2,5}-[0-9]{3}$")]

ThresholdOverrides = dict[RuleCode, dict[str, float]]
"""Threshold values by rule code and threshold name."""


class Policy(Model):
    """Effect of undecided rules and warnings on the verdict, and changed thresholds."""

    on_undecided: Literal["review", "fail"] = Field(
        "review", description="Verdict of a stack with an undecided rule; never pass."
    )
    on_warning: Literal["review", "fail"] = Field("review", description="Verdict of a stack with a warning.")
    gauge_plane_diameters: Annotated[float, Field(ge=0, le=50)] = Field(
        3.0,
        description="Distance of the gauge plane from the last clamping face in cutting diameters;"
        " 3 is common practice.",
    )
    flute_bending_ratio: Annotated[float, Field(ge=0.3, le=1)] = Field(
        0.8,
        description="Equivalent bending diameter of the fluted part divided by its outer diameter; 0.8 after"
        " Kops and Vo (1990), from memory.",
    )
    slip_fit: Literal["maximum", "mean"] = Field(
        "maximum", description="Clearance of a slip fit that counts as runout: maximum by its limits, or mean."
    )
    thresholds: ThresholdOverrides | None = Field(
        None,
        description="Changed thresholds by rule code and threshold name; the report lists them.",
        examples=[{"OVH-010": {"max_ratio": 5}}],
    )


DEFAULT_POLICY: Final = Policy()


class StackRequest(Model):
    """Stack, with optional operation, machine and policy."""

    stack: Stack
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    operation: Operation | None = Field(
        None, description="Requirements of the operation; if absent, only the stack itself is judged."
    )
    machine: Machine | None = Field(None, description="Machine; if absent, its limits are not judged.")
    policy: Policy | None = Field(
        None, description="Treatment of warnings, undecided rules and thresholds; defaults apply if absent."
    )


class CheckRequest(StackRequest):
    """Stack to check, with optional operation, machine and policy."""

    with_assembly: bool | None = Field(
        None,
        description="Whether to include the work instruction; adds a quarter to the computing time.",
        examples=[True],
    )


NO_OPERATION: Final = Operation.model_validate({})
"""An operation without requirements."""
