"""Models of the full runout budget: planes, contributors, seats, clocking and required tolerances."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, LackingFact, Microns, Out
from rules.schema.report import ContributorReport, Provenance
from rules.schema.request import AxialPosition, RunoutLimit, StackRequest

__all__ = [
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


class BudgetRequest(StackRequest):
    """Stack as in a check, with additional planes and a runout target."""

    limit: RunoutLimit | None = Field(
        None, description="Runout limit at gauge plane or tip; defaults to the lowest limit of the operations."
    )
    planes: list[AxialPosition] | None = Field(
        None, max_length=20, description="Planes in addition to gauge plane and tip."
    )
    target_um: Microns | None = Field(
        None,
        description="Target for the 95th percentile of the runout, TIR in µm; defaults to the limit.",
        examples=[10],
    )


class PlaneShare(Out):
    """Contributor at one plane."""

    name: str
    tir_um: float = Field(description="Runout of this contributor alone, TIR in µm.")
    share: float = Field(description="Share of the mean square runout; negative if a known direction reduces it.")
    amplification: float | None = Field(description="Runout at this plane divided by the stated runout.")
    p95_if_halved_um: float = Field(description="95th percentile with this contributor halved, TIR in µm.")


class PlaneBudgetReport(Out):
    """Predicted total indicator reading at one plane."""

    name: str = Field(examples=["gauge plane", "tip", "plane 1"])
    z_mm: float = Field(description="Distance from the gauge line, mm.")
    p50_um: float
    p80_um: float
    p95_um: float
    p99_um: float
    best_clocking_um: float
    worst_case_um: float | None
    probability_within_limit: float | None
    contributors: list[PlaneShare]


class SeatReport(Out):
    """Effect of a particle in one seat."""

    component: str
    seat_length_mm: float
    gauge_plane_um_per_um: float | None = Field(
        description="Runout at the gauge plane per µm of a particle at one end of the seat."
    )
    tip_um_per_um: float | None


class JointTurn(Out):
    """Clocking of one joint."""

    joint: str
    positions: int | None = Field(description="Number of positions of the coupling; null for any angle, 1 if fixed.")
    turn_deg: float = Field(description="Angle to turn the lower component with all parts beyond it, degrees.")
    leaves_tir_um: float = Field(description="Remaining runout of the measured parts alone, TIR in µm.")


class ClockingReport(Out):
    """Effect of re-clocking joints, from contributors measured with their direction."""

    z_mm: float
    measured_tir_um: float = Field(
        description="Runout of the measured parts as clocked now, or in line if clocking is unknown; TIR in µm."
    )
    one_joint: list[JointTurn] = Field(description="Each joint re-clocked alone; only if all clockings are stated.")
    all_joints: list[JointTurn] = Field(
        description="All joints re-clocked: turns from the present position if all clockings are stated, else angles"
        " between marks; leaves_tir_um applies to all together."
    )
    marks: bool = Field(description="Whether the angles of all_joints are between marks.")
    exhaustive: bool = Field(description="False if not all indexed positions could be tried.")
    p95_after_um: float = Field(description="95th percentile after re-clocking, other contributors random; TIR in µm.")


class RequiredRunout(Out):
    """Required runout of one contributor."""

    name: str
    stated_tir_um: float
    required_tir_um: float


class RequiredReport(Out):
    """Common factor on all unmeasured contributors that just meets the target."""

    target_um: float
    plane: Annotated[Literal["gauge_plane", "tip"], OPEN]
    factor: float | None = Field(description="Factor; above 1 the target leaves a reserve, null if no factor meets it.")
    contributors: list[RequiredRunout]


class BudgetReport(Out):
    """Report of a runout budget."""

    complete: bool
    not_stated: list[LackingFact]
    limit_um: float | None
    limit_at: Annotated[Literal["gauge_plane", "tip"], OPEN]
    planes: list[PlaneBudgetReport]
    contributors: list[ContributorReport]
    seats: list[SeatReport] = Field(description="Seats, most sensitive first.")
    clocking: ClockingReport | None = Field(
        description="Clocking; null with fewer than two contributors of known direction."
    )
    required: RequiredReport | None = Field(
        description="Required runouts; null without a target or with contributors missing."
    )
    provenance: Provenance
