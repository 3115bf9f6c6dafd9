"""Request and report of a search in an inventory."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import Field

from rules.quantities.models import Identifier, Length, Model, Out, PositiveLength
from rules.schema.components import StackEntry
from rules.schema.report import Provenance, SpeedLimit, Summary, Verdict
from rules.schema.request import Machine, Operation, Policy

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


MAX_INVENTORY: Final = 200
"""Different components a search may choose from."""

MAX_SEARCH_LENGTH: Final = 6
"""Components of a stack from holder to tool; a retention knob is not counted."""

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
    """How far the tip must stand out, after every shank is set as the grip setting says."""

    measured_from: Literal["gauge_line", "last_clamping_face"] = Field(
        "gauge_line", description="The gauge line of the spindle, or the face that clamps the tool itself."
    )
    at_least_mm: Length | None = Field(None, description="Shortest projection that reaches.", examples=[150])
    at_most_mm: Length | None = Field(None, description="Longest projection accepted.", examples=[200])


class ClearanceZone(Model):
    """A length of the stack, counted from the tip, in which no part may be wider than a radius."""

    from_mm: Length = Field(0.0, description="Where the zone begins, from the tip toward the spindle.")
    to_mm: PositiveLength = Field(description="Where the zone ends, from the tip toward the spindle.", examples=[70])
    radius_mm: PositiveLength = Field(description="Largest radius allowed within it.", examples=[10])


class Requirement(Model):
    """What the stack is wanted for, beyond what the operation asks."""

    cutters: list[Identifier] | None = Field(
        None,
        min_length=1,
        max_length=MAX_INVENTORY,
        description="Keys of the cutters or gauge pins that will do; every cutter of the inventory when not given.",
        examples=[["KB-EM8-3"]],
    )
    projection: Projection | None = None
    clearance: list[ClearanceZone] | None = Field(
        None,
        min_length=1,
        max_length=50,
        description="Zones that all hold, in any order: the envelope of the stack by the distance from the tip.",
    )
    grip: GripSetting = Field(
        "to_reach",
        description="How deep straight shanks are set. 'longest': as deep as shank and bore allow. 'shortest': the"
        " least grip that is stated or usual. 'to_reach': as deep as they go, and drawn out no further than the"
        " projection needs, the joint nearest the spindle first; from the last clamping face, the tool alone.",
    )
    max_components: Annotated[int, Field(ge=2, le=MAX_SEARCH_LENGTH)] = Field(
        5, description="Longest stack, from holder to tool; a retention knob is not counted."
    )


class Page(Model):
    """How much work one answer may cost; what is left over is continued."""

    judged_at_most: Annotated[int, Field(ge=1, le=MAX_JUDGED)] = Field(
        250, description="Stacks judged in full before the answer is given."
    )
    results_at_most: Annotated[int, Field(ge=1, le=MAX_RESULTS)] = Field(
        50, description="Stacks found before the answer is given."
    )


class SearchRequest(Model):
    """An inventory and what is wanted of it: which stacks go together and do the job?"""

    components: Inventory | None = Field(
        None, description="The inventory: components by key. Each may be used as often as `stock` says."
    )
    stock: Stock | None = Field(
        None,
        description="Pieces on hand, by key; one of each that is not named. A key of the mounted catalogue named here"
        " belongs to the inventory, too.",
        examples=[{"KB-P12-8": 2}],
    )
    whole_catalogue: bool = Field(False, description="Search the whole mounted catalogue beside `components`.")
    requirement: Requirement | None = Field(None, description="Left out, every stack that goes together is found.")
    operation: Operation | None = Field(None, description="Demands; left out, only the stacks themselves are judged.")
    machine: Machine | None = Field(
        None,
        description="The machine; left out, its limits are not judged. Retention knobs of the inventory are tried where"
        " it states the knob its drawbar takes.",
    )
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")
    accept: Literal["pass", "review"] = Field(
        "review", description="The worst verdict that is kept. What fails is never kept."
    )
    rank_by: list[RankCriterion] | None = Field(
        None,
        min_length=1,
        max_length=6,
        description="What decides first, second and so on; when not given: verdict, runout_p95, projection, stiffness,"
        " components, mass.",
        examples=[["verdict", "projection"]],
    )
    page: Page | None = None
    continuation: (
        Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,100}$", description="Token of the page before.")] | None
    ) = Field(
        None,
        description="Token of the page before; the rest of the request must be the same but for `page`.",
    )


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
