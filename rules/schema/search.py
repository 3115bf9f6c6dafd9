"""Request and report of a search of an inventory for stacks that do a job."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Identifier, Length, Model, Out, PositiveLength
from rules.schema.components import StackEntry
from rules.schema.report import Estimate, JointEnds, PlaneReport, Provenance, SpeedLimit, Summary, Verdict
from rules.schema.request import Datum, MachineEntry, Operations, Policy

__all__ = [
    "MAX_INVENTORY",
    "MAX_SEARCH_LENGTH",
    "ClearanceZone",
    "CutOrders",
    "JointSetting",
    "LeftOut",
    "NearMiss",
    "Page",
    "Projection",
    "RankCriterion",
    "Reason",
    "RefusedStacks",
    "Requirement",
    "SearchCounts",
    "SearchReport",
    "SearchRequest",
    "SearchResult",
]


MAX_INVENTORY: Final = 2_000
"""Most different components in a search."""

MAX_SEARCH_LENGTH: Final = 6
"""Most components of a stack from holder to tool, without the retention knob."""

MAX_JUDGED: Final = 1000
MAX_RESULTS: Final = 200

RankCriterion = Literal["verdict", "runout_p95", "projection", "stiffness", "components", "mass"]

GripSetting = Literal["longest", "shortest", "to_reach"]

Inventory = Annotated[
    dict[Identifier, StackEntry], Field(max_length=MAX_INVENTORY, json_schema_extra={"additionalProperties": False})
]

Stock = Annotated[
    dict[Identifier, Annotated[int, Field(ge=0, le=1000)]],
    Field(max_length=MAX_INVENTORY, json_schema_extra={"additionalProperties": False}),
]


class Projection(Model):
    """Required projection of the tip, with every shank set by the grip setting."""

    datum: Datum = Field(
        "gauge_line", description="Datum of the projection: the spindle's gauge line or the last clamping face."
    )
    at_least_mm: Length | None = Field(None, description="Minimum projection, mm.", examples=[150])
    at_most_mm: Length | None = Field(None, description="Maximum projection, mm.", examples=[200])


class ClearanceZone(Model):
    """Zone along the stack with a maximum radius."""

    from_mm: Length = Field(0.0, description="Start of the zone, mm from the tip toward the spindle.")
    to_mm: PositiveLength = Field(description="End of the zone, mm from the tip toward the spindle.", examples=[70])
    radius_mm: PositiveLength = Field(description="Maximum radius in the zone, mm.", examples=[10])


class Requirement(Model):
    """Requirements of the search in addition to the operation."""

    cutters: list[Identifier] | None = Field(
        None,
        min_length=1,
        max_length=MAX_INVENTORY,
        description="Keys of suitable cutting tools or gauge pins; default all cutting tools of the inventory.",
        examples=[["KB-EM8-3"]],
    )
    projection: Projection | None = Field(None, description="Required projection.")
    clearance: list[ClearanceZone] | None = Field(
        None,
        min_length=1,
        max_length=50,
        description="Clearance zones, in any order; all apply.",
    )
    grip: GripSetting = Field(
        "to_reach",
        description="Grip length of straight shanks. 'longest': as deep as shank and bore allow. 'shortest': the"
        " minimum"
        " grip, stated or usual. 'to_reach': as deep as possible for the required projection; the joint nearest the"
        " spindle is drawn out first, or the tool alone if the projection counts from the last clamping face.",
    )
    max_components: Annotated[int, Field(ge=2, le=MAX_SEARCH_LENGTH)] = Field(
        5, description="Most components from holder to tool, without the retention knob."
    )


class Page(Model):
    """Work limit of one page."""

    judged_at_most: Annotated[int, Field(ge=1, le=MAX_JUDGED)] = Field(
        250, description="Most stacks judged on the page."
    )
    results_at_most: Annotated[int, Field(ge=1, le=MAX_RESULTS)] = Field(50, description="Most results on the page.")


class SearchRequest(Model):
    """Inventory and requirements of a search."""

    components: Inventory | None = Field(
        None, description="Inventory: components by key, each available as often as `stock` states."
    )
    stock: Stock | None = Field(
        None,
        description="Quantities on hand by key; default 1. A key of the mounted catalogue adds that component to the"
        " inventory.",
        examples=[{"KB-P12-8": 2}],
    )
    whole_catalogue: bool = Field(
        False, description="Whether to search the whole mounted catalogue in addition to `components`."
    )
    requirement: Requirement | None = Field(
        None, description="Requirements; if absent, every stack that fits together is found."
    )
    operations: Operations | None = Field(
        None, description="Operations that a stack must do; if absent, only the stacks themselves are judged."
    )
    machine: MachineEntry | None = Field(
        None,
        description="Machine; if absent, its limits are not judged. Retention knobs of the inventory are tried if the"
        " machine states the one it requires.",
    )
    policy: Policy | None = Field(
        None, description="Treatment of warnings, undecided rules and thresholds; defaults apply if absent."
    )
    accept: Literal["pass", "review"] = Field(
        "review", description="Lowest verdict of a result; failed stacks are never results."
    )
    rank_by: list[RankCriterion] | None = Field(
        None,
        min_length=1,
        max_length=6,
        description="Ranking criteria in order of priority; default verdict, runout_p95, projection, stiffness,"
        " components, mass.",
        examples=[["verdict", "projection"]],
    )
    page: Page | None = Field(None, description="Page of the results.")
    continuation: (
        Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,100}$", description="Token of the previous page.")] | None
    ) = Field(
        None,
        description="Token of the previous page; only `page` may differ from the previous request.",
    )


_CHECK = "Judged request for POST /v1/checks, with all components written out."


class SearchCounts(Out):
    """Counts of the search. Over all pages: orders_possible = orders_cut + judged."""

    parts: int = Field(description="Number of different components searched.")
    orders_possible: int = Field(
        description="Number of possible orders of the stock, regardless of fit, times the knobs to try; the same on"
        " every page."
    )
    orders_cut: int = Field(description="Number of orders ruled out early on this page; see `cut`.")
    judged: int = Field(description="Number of stacks judged on this page.")
    kept: int = Field(description="Number of judged stacks that are results.")
    refused: int = Field(description="Number of judged stacks that are not results; see `refused_by`.")


class CutOrders(Out):
    """Orders ruled out early for one reason."""

    code: str = Field(
        description="Code of the rule that a part, joint or knob always breaks, or REQ for a requirement of the"
        " request. An order counts once, by the first reason from the tool upward.",
        examples=["COL-010"],
    )
    title: str
    orders: int = Field(description="Number of stacks ruled out early.")


class RefusedStacks(Out):
    """Judged stacks that are not results for one reason."""

    code: str = Field(examples=["RUN-010"])
    title: str
    stacks: int = Field(description="Number of stacks with this reason, alone or among others.")
    alone: int = Field(description="Number of stacks with this reason only.")


class Reason(Out):
    """Reason why a stack is not a result."""

    code: str = Field(examples=["RUN-010"])
    title: str
    message: str


class JointSetting(Out):
    """Grip setting of a straight shank."""

    joint: JointEnds
    grip_length_mm: float = Field(description="Grip length, mm.")
    longest_mm: float = Field(description="Maximum grip length, mm.")
    shortest_mm: float = Field(description="Minimum grip length, stated or usual, mm.")
    drawn_out_mm: float = Field(description="Difference from the maximum grip length, mm.")
    projection_mm: float | None = Field(description="Projection of the lower component from the upper one, mm.")


class SearchResult(Out):
    """Stack that fits together and does the job."""

    place: int = Field(description="Rank on this page, from 1.")
    components: list[str] = Field(description="Inventory keys from the spindle side; a retention knob last.")
    joints: list[JointSetting] = Field(description="Settings of straight shanks, from the spindle side.")
    verdict: Verdict = Field(description="Verdict of the check; at best 'review' if a requirement is undecided.")
    not_known: list[Annotated[Literal["projection", "clearance"], OPEN]] = Field(
        description="Requirements undecided for lack of component data."
    )
    summary: Summary
    codes: list[str] = Field(description="Rule codes of the findings.")
    undecided_codes: list[str] = Field(description="Rule codes of undecided rules.")
    tip_from_gauge_line_mm: float | None = Field(description="Distance of the tip from the gauge line, mm.")
    tip_from_last_clamping_face_mm: float | None = Field(
        description="Distance of the tip from the last clamping face, mm."
    )
    planes: list[PlaneReport] = Field(description="Predicted runout at the planes, as in a check.")
    runout_complete: bool = Field(description="False if a contributor is not known; the true runout is then larger.")
    governing_speed: SpeedLimit | None = Field(description="Lowest speed limit; null if none is known.")
    speed_complete: bool = Field(description="False if a speed limit is not known.")
    mass_kg: float | None
    tip_stiffness_n_per_um: Estimate | None = Field(description="Radial stiffness at the tip, N/µm.")
    bending_frequency_hz: Estimate | None = Field(description="Lowest natural frequency in bending, Hz.")
    rank_key: list[float | None] = Field(
        description="Sort key: one number per criterion in the order of `ranked_by`; smaller is better, null last, ties"
        " by `components`. It merges the results of several pages."
    )
    check: dict[str, Any] = Field(description=_CHECK)


class NearMiss(Out):
    """Closest alternative, with the reasons why it is not a result."""

    components: list[str]
    reasons: list[Reason] = Field(description="All reasons.")
    tip_from_gauge_line_mm: float | None = Field(description="Distance of the tip from the gauge line, mm.")
    check: dict[str, Any] = Field(description=_CHECK)


class LeftOut(Out):
    """Excluded component."""

    key: str = Field(description="Key of the component in the inventory.")
    code: str | None = Field(
        description="Code of the rule that the part always breaks; null if it was not searched.",
        examples=["SPD-010"],
    )
    reason: str


class SearchReport(Out):
    """Report of a search, or one page of it."""

    counts: SearchCounts
    items: list[SearchResult] = Field(
        description="Results, ranked within this page. Later pages may have better ones: merge by `rank_key`."
    )
    ranked_by: list[Annotated[RankCriterion, OPEN]] = Field(description="Criteria of the ranking, first to last.")
    cut: list[CutOrders] = Field(description="Orders ruled out early by reason, most first.")
    refused_by: list[RefusedStacks] = Field(description="Judged stacks that are not results by reason, most first.")
    nearest: list[NearMiss] = Field(
        description="Closest alternatives, fewest reasons first; only if a search in one page finds nothing."
    )
    left_out: list[LeftOut] = Field(description="Components left out, with reasons.")
    complete: bool = Field(description="Whether this is the last page.")
    next: str | None = Field(description="`continuation` of the next page; null on the last page.")
    notes: list[str] = Field(description="Notes on the limits of the search.")
    cautions: list[str]
    provenance: Provenance
