"""The policy: how strictly the caller wants to be answered."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from rules.quantities.models import Model

__all__ = ["DEFAULT_POLICY", "Policy", "RuleCode", "ThresholdOverrides"]

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
