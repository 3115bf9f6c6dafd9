"""The operation the stack is wanted for: what is asked of it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import CuttingSpeed, Force, Microns, Model, PositiveLength, SpeedRpm, Stress, Torque

__all__ = ["BalanceGrade", "Milling", "Operation", "WorkMaterial"]

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
