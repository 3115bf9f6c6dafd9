"""The whole runout budget: any plane, every contributor's part in it, clocking, cleanliness and what would do."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, LackingFact, Length, Microns, Model, Out
from rules.schema.report import ContributorReport, Provenance
from rules.schema.request import StackRequest

__all__ = [
    "AskedPlane",
    "BudgetReport",
    "BudgetRequest",
    "ClockingReport",
    "JointTurn",
    "PlaneBudgetReport",
    "PlaneShare",
    "RequiredReport",
    "RequiredRunout",
    "SeatReport",
]


class AskedPlane(Model):
    """A plane the reading is asked for."""

    counted_from: Literal["gauge_line", "last_clamping_face"] = Field(examples=["last_clamping_face"])
    distance_mm: Length = Field(description="Toward the cut.", examples=[25])


class BudgetRequest(StackRequest):
    """A stack as in a check, the planes asked for, and the reading it ought to reach."""

    planes: list[AskedPlane] | None = Field(
        None, max_length=20, description="Planes beside the gauge plane and the cutting tip."
    )
    target_um: Microns | None = Field(
        None,
        description="Total indicator reading to reach with 95 % of assemblies; the operation's limit when left out.",
        examples=[10],
    )


class PlaneShare(Out):
    """One contributor at one plane."""

    name: str
    tir_um: float = Field(description="Its own reading there.")
    share: float = Field(description="Of the mean square reading; negative where a known direction takes away.")
    amplification: float | None = Field(description="Its reading there over the reading it was stated with.")
    p95_if_halved_um: float = Field(description="What 95 % would read at most if this one were half as large.")


class PlaneBudgetReport(Out):
    """The predicted total indicator reading at one plane."""

    name: str = Field(examples=["gauge plane", "tip", "plane 1"])
    z_mm: float = Field(description="From the gauge line.")
    p50_um: float
    p80_um: float
    p95_um: float
    p99_um: float
    best_clocking_um: float
    worst_case_um: float | None
    probability_within_limit: float | None
    contributors: list[PlaneShare]


class SeatReport(Out):
    """How dirt at one seat shows: what to clean twice."""

    component: str
    seat_length_mm: float
    gauge_plane_um_per_um: float | None = Field(description="Reading per µm of dirt at one end of the seat.")
    tip_um_per_um: float | None


class JointTurn(Out):
    """One joint and how far to turn it."""

    joint: str
    positions: int | None = Field(description="Positions the coupling allows; null for any angle, 1 for none.")
    turn_deg: float = Field(description="By how much to turn the lower component, with everything beyond it.")
    leaves_tir_um: float = Field(description="Reading of the measured parts alone that is left.")


class ClockingReport(Out):
    """What turning joints against each other can reach, from the contributors measured with their direction."""

    z_mm: float
    measured_tir_um: float = Field(description="Reading of the measured parts as they stand, or in line if unknown.")
    one_joint: list[JointTurn] = Field(description="Each joint turned alone; only where all clockings are stated.")
    all_joints: list[JointTurn] = Field(
        description="All joints: turns from where they stand where all clockings are stated, else angles from mark to"
        " mark; leaves_tir_um is that of all together."
    )
    marks: bool = Field(description="The angles of all_joints are from mark to mark.")
    exhaustive: bool = Field(description="False when not every indexed position could be tried.")
    p95_after_um: float = Field(description="95 % point after that, with the rest still at random.")


class RequiredRunout(Out):
    """What one contributor must keep."""

    name: str
    stated_tir_um: float
    required_tir_um: float


class RequiredReport(Out):
    """Equal effort: the one factor on everything not measured that just reaches the target."""

    target_um: float
    plane: Annotated[Literal["gauge_plane", "tip"], OPEN]
    factor: float | None = Field(description="Above 1 there is room; null when no factor reaches the target.")
    contributors: list[RequiredRunout]


class BudgetReport(Out):
    """The answer to a budget request."""

    complete: bool
    not_stated: list[LackingFact]
    limit_um: float | None
    limit_at: Annotated[Literal["gauge_plane", "tip"], OPEN]
    planes: list[PlaneBudgetReport]
    contributors: list[ContributorReport]
    seats: list[SeatReport] = Field(description="The most sensitive first.")
    clocking: ClockingReport | None = Field(description="Null with fewer than two contributors of known direction.")
    required: RequiredReport | None = Field(description="Null without a target or with contributors missing.")
    provenance: Provenance
