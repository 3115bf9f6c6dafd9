"""Models of the full runout budget: planes, contributors, seats, clocking and required tolerances."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Microns, MissingQuantity, Out
from rules.schema.report import ContributorReport, JointEnds, OperationRunout, PlaneReport, Provenance
from rules.schema.request import AxialPosition, RunoutLimit, StackRequest

__all__ = [
    "BudgetContributor",
    "BudgetReport",
    "BudgetRequest",
    "ClockingReport",
    "JointTurn",
    "RequiredAlone",
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


class BudgetContributor(ContributorReport):
    """Contributor with its lever and its effect at every plane of the budget."""

    stated_tir_um: float = Field(description="Stated runout, TIR in µm: outermost of two, tilt bound's over 100 mm.")
    amplification: dict[str, float] = Field(
        description="Runout divided by the stated runout, by plane; empty if 0 µm is stated."
    )
    p95_if_halved_um: dict[str, float] = Field(
        description="95th percentile with this contributor halved by plane, TIR in µm; empty if a contributor is not"
        " known."
    )


class SeatReport(Out):
    """Effect of a particle in one seat."""

    id: str = Field(description="Stable name of the seat.", examples=["seat:holder/collet"])
    joint: JointEnds = Field(description="Joint of the seat; the lower component tilts in it.")
    lever_mm: float = Field(description="Mean diameter of the contact face, else length of the seat, mm.")
    tir_um_per_um: dict[str, float] = Field(description="Highest TIR per µm of a particle in the seat by plane, µm/µm.")


class JointTurn(Out):
    """Clocking of one joint."""

    joint: JointEnds
    positions: int | None = Field(description="Number of positions of the coupling; null for any angle, 1 if fixed.")
    turn_deg: float = Field(description="Angle to turn the lower component with all parts beyond it, degrees.")
    leaves_tir_um: float = Field(description="Remaining runout of the measured parts alone, TIR in µm.")


class ClockingReport(Out):
    """Effect of re-clocking joints, from contributors measured with their direction."""

    plane: Annotated[Literal["gauge_plane", "tip"], OPEN] = Field(description="Plane of the angles and readings.")
    contributors: list[str] = Field(description="Ids of the contributors with a known direction.")
    measured_tir_um: float = Field(
        description="Runout of the measured parts as clocked now, or in line if clocking is unknown; TIR in µm."
    )
    one_joint: list[JointTurn] = Field(description="Each joint re-clocked alone; only if all clockings are stated.")
    all_joints: list[JointTurn] = Field(
        description="All joints re-clocked: turns from the present position if all clockings are stated, else angles"
        " between marks; leaves_tir_um applies to all together."
    )
    marks: bool = Field(description="Whether the angles of all_joints are between marks.")
    off_by_5_deg_tir_um: float = Field(
        description="Largest runout left if each joint that is set by hand is 5° off, TIR in µm."
    )
    after_reseating_p95_um: float | None = Field(
        description="95th percentile of what is left once the holder was reseated, TIR in µm; null if the"
        " repeatability of its taper is not known."
    )
    exhaustive: bool = Field(description="False if not all indexed positions could be tried.")
    p95_after_um: float | None = Field(
        description="95th percentile after re-clocking, other contributors random, TIR in µm; null if a contributor is"
        " not known."
    )


class RequiredRunout(Out):
    """Required runout of one contributor."""

    id: str = Field(description="Id of the contributor.")
    stated_tir_um: float = Field(description="Stated runout, TIR in µm.")
    required_tir_um: float = Field(description="Required runout, TIR in µm.")


class RequiredAlone(Out):
    """Required runout of one contributor, all others as stated."""

    id: str = Field(description="Id of the contributor.")
    stated_tir_um: float = Field(description="Stated runout, TIR in µm.")
    required_tir_um: float | None = Field(description="Required runout, TIR in µm; null if even 0 is not enough.")


class RequiredReport(Out):
    """Common factor on all unmeasured contributors that just meets the target."""

    target_um: float = Field(description="Target of the request, TIR in µm.")
    plane: Annotated[Literal["gauge_plane", "tip"], OPEN]
    factor: float | None = Field(description="Factor; above 1 the target leaves a reserve, null if no factor meets it.")
    contributors: list[RequiredRunout]
    one_alone: list[RequiredAlone] = Field(
        description="What each contributor alone would have to hold, the least change first: which part to replace."
    )


class BudgetReport(Out):
    """Report of a runout budget."""

    complete: bool = Field(description="False if a contributor is not known; the true runout is then larger.")
    not_stated: list[MissingQuantity]
    limit: OperationRunout | None = Field(description="Runout limit; null if none is stated.")
    planes: list[PlaneReport] = Field(
        description="Gauge plane, tip and the planes of the request, as far as they have a position."
    )
    contributors: list[BudgetContributor] = Field(description="Known contributors from the spindle side.")
    seats: list[SeatReport] = Field(description="Seats, most sensitive first.")
    clocking: ClockingReport | None = Field(
        description="Clocking; null with fewer than two contributors of known direction."
    )
    required: RequiredReport | None = Field(
        description="Required runouts; null without a target or with contributors missing."
    )
    provenance: Provenance
