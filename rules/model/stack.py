"""The stack: components from the spindle side to the cutting side, and what is set at each joint."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rules.model.components import StackEntry
from rules.quantities.models import Identifier, Length, Model, PositiveLength, Stiffness, Text

__all__ = ["MAX_COMPONENTS", "Joint", "Stack"]

MAX_COMPONENTS = 20


class Joint(Model):
    """What is set when two neighbours are joined."""

    upper: Identifier = Field(
        description="Component on the spindle side of the joint; 'spindle' for the spindle itself.", examples=["c2"]
    )
    lower: Identifier = Field(description="Component on the cutting side of the joint.", examples=["em"])
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
