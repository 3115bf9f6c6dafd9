"""The operation the stack is wanted for: what is asked of it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.model.base import Model
from rules.model.quantities import Microns, PositiveLength, SpeedRpm

__all__ = ["BalanceGrade", "Operation"]

BalanceGrade = Literal["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"]


class Operation(Model):
    """Demands; what is not stated is not judged."""

    spindle_speed_rpm: SpeedRpm | None = Field(None, description="Speed to run at.", examples=[12000])
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
    coolant: Literal["through", "external", "none"] | None = Field(
        None, description="How coolant reaches the cut.", examples=["through"]
    )
