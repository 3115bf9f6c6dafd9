"""Searching an inventory for the stacks that do a job: the report."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from rules.model.report import Provenance, Summary, Verdict
from rules.model.report_mechanics import SpeedLimit
from rules.model.search import RankCriterion
from rules.quantities.models import Out

__all__ = [
    "CutOrders",
    "JointSetting",
    "LeftOut",
    "NearMiss",
    "Reason",
    "RefusedStacks",
    "SearchCounts",
    "SearchReport",
    "SearchResult",
]

_CHECK = "The stack as a request of POST /v1/checks, with its components written out: the very request that was judged."


class SearchCounts(Out):
    """How the orders of the inventory divide. Of all pages together: orders_possible = orders_cut + judged."""

    parts: int = Field(description="Different components searched.")
    orders_possible: int = Field(
        description="Ways to put a holder first, a wanted tool last, and any extensions, reducers and collets between"
        " them, with what is on hand and no regard to fit; times the knobs to try. The same on every page."
    )
    orders_cut: int = Field(description="Orders given up on this page before they were judged; see `cut`.")
    judged: int = Field(description="Stacks judged in full on this page.")
    kept: int = Field(description="Of those, the results of this page.")
    refused: int = Field(description="Of those, the others; see `refused_by`.")


class CutOrders(Out):
    """Orders that share a reason for which they were given up unjudged."""

    code: str = Field(
        description="Rule that refuses a part, a joint or a knob whatever stands around it; or REQ, what the request"
        " itself asks. An order counts once, by what is met first from the tool upward.",
        examples=["COL-010"],
    )
    title: str
    orders: int


class RefusedStacks(Out):
    """Stacks that share a reason for which they were judged and not kept."""

    code: str = Field(examples=["RUN-010"])
    title: str
    stacks: int = Field(description="Stacks refused for it, among other reasons or alone.")
    alone: int = Field(description="Of those, the stacks refused for nothing else.")


class Reason(Out):
    """One reason why a stack is not kept."""

    code: str = Field(examples=["RUN-010"])
    title: str
    message: str


class JointSetting(Out):
    """How deep a straight shank is set."""

    upper: str
    lower: str
    grip_length_mm: float
    longest_mm: float = Field(description="As deep as shank and bore allow.")
    shortest_mm: float = Field(description="The least grip stated, else the usual one.")
    drawn_out_mm: float = Field(description="How much less than the longest it was set.")
    projection_mm: float | None = Field(description="How far the lower component then stands out of the upper one.")


class SearchResult(Out):
    """A stack that goes together and does the job."""

    place: int = Field(description="Rank on this page, from 1.")
    components: list[str] = Field(description="Keys in the inventory, from the spindle side; a retention knob last.")
    joints: list[JointSetting] = Field(description="Straight shanks only, from the spindle side.")
    verdict: Verdict = Field(
        description="That of the check; 'review' at best where something of the requirement is not known."
    )
    not_known: list[Literal["projection", "clearance"]] = Field(
        description="Parts of the requirement that nothing in the components decides."
    )
    summary: Summary
    codes: list[str] = Field(description="Codes of the findings.")
    undecided: list[str] = Field(description="Codes of the rules that could not be decided.")
    projection_mm: float | None = Field(description="Of the tip from the gauge line.")
    tool_projection_mm: float | None = Field(description="Of the tip from the last clamping face.")
    runout_p95_um: float | None = Field(
        description="At the gauge plane; null where a contributor is not known, since the sum would be too small."
    )
    governing_speed: SpeedLimit | None
    speed_complete: bool = Field(description="False when a limit of the speed is not known.")
    mass_kg: float | None
    tip_stiffness_n_per_um: float | None
    bending_frequency_hz: float | None = Field(description="The first one.")
    rank_key: list[float | None] = Field(
        description="One number a criterion in the order of `ranked_by`, smaller is better and null comes last. Ties go"
        " by `components`. Results of several pages are merged by it."
    )
    check: dict[str, Any] = Field(description=_CHECK)


class NearMiss(Out):
    """A stack that comes near to what is wanted, and why it is not kept."""

    components: list[str]
    reasons: list[Reason] = Field(description="Everything that stands against it.")
    projection_mm: float | None = Field(description="Of the tip from the gauge line.")
    check: dict[str, Any] = Field(description=_CHECK)


class LeftOut(Out):
    """A key that no stack of the search may hold."""

    key: str
    code: str | None = Field(
        description="Rule that refuses the part whatever stands around it; null where it was not searched at all.",
        examples=["SPD-010"],
    )
    reason: str


class SearchReport(Out):
    """The answer to a search, or one page of it."""

    counts: SearchCounts
    results: list[SearchResult] = Field(
        description="Ranked within this page. A later page may hold a better one: merge by `rank_key`."
    )
    ranked_by: list[RankCriterion]
    cut: list[CutOrders] = Field(description="Most orders first.")
    refused_by: list[RefusedStacks] = Field(description="Most stacks first.")
    nearest: list[NearMiss] = Field(
        description="Where a whole search in one page finds nothing: what comes nearest, fewest reasons first."
    )
    left_out: list[LeftOut]
    complete: bool = Field(description="Whether this is the last page.")
    continuation: str | None = Field(description="Token for the next page; null on the last.")
    notes: list[str]
    cautions: list[str]
    provenance: Provenance
