"""The machine: its spindle and the limits of spindle and changer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.couplings.sides import SpindleSide
from rules.model.components import RunoutStatement
from rules.quantities.models import Mass, Model, PositiveLength, SpeedRpm, Stiffness, Text, Token, Torque

__all__ = ["KnobDemand", "Machine"]


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
