"""Comparing alternatives for one operation: the request and the report."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Identifier, Model, Out
from rules.schema.components import Definitions
from rules.schema.report import PlaneReport, Provenance, Severity, SpeedLimit, Summary, Verdict
from rules.schema.request import Machine, Operation, Policy, Stack

__all__ = [
    "MAX_ALTERNATIVES",
    "MAX_IN_ALL_PAIRS",
    "Alternative",
    "AlternativeReport",
    "ComparedFinding",
    "ComparisonReport",
    "ComparisonRequest",
    "CriterionName",
    "CriterionReport",
    "ReadsLess",
]

MAX_ALTERNATIVES = 50

MAX_IN_ALL_PAIRS = 12
"""So many alternatives are set against each other in every pair; more are set against the first only."""

CriterionName = Literal[
    "runout_p95",
    "runout_worst_case",
    "projection",
    "speed_limit",
    "stiffness",
    "joints",
    "errors",
    "warnings",
    "undecided",
]


class Alternative(Model):
    """One way to build the tool."""

    name: Identifier = Field(description="What the report calls it.", examples=["press-in"])
    stack: Stack


class ComparisonRequest(Model):
    """Alternatives for one operation on one machine, judged equally strictly."""

    alternatives: list[Alternative] = Field(
        min_length=2,
        max_length=MAX_ALTERNATIVES,
        description="A name used again gets a number in the report: the second 'a' is called 'a#2'.",
    )
    components: Definitions | None = Field(None, description="Components defined once, for references to name.")
    operation: Operation | None = Field(None, description="Demands, the same for all.")
    machine: Machine | None = Field(None, description="The machine, the same for all.")
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")


class ComparedFinding(Out):
    """One rule's objection in short; a check of the stack alone tells it in full."""

    code: str = Field(examples=["GRIP-010"])
    severity: Annotated[Severity, OPEN]
    title: str


class AlternativeReport(Out):
    """One alternative: how it was judged, how it runs, and why it wins or loses."""

    name: str
    stack: str | None = Field(description="The caller's name for the stack.")
    verdict: Verdict
    summary: Summary
    findings: list[ComparedFinding]
    gauge_plane: PlaneReport | None
    tip: PlaneReport | None
    runout_complete: bool = Field(description="False when a contributor is not known: the figures are then too small.")
    projection_mm: float | None = Field(description="Tip from the gauge line.")
    mass_kg: float | None
    governing_speed: SpeedLimit | None = Field(description="Lowest of the speed limits that are known.")
    speed_complete: bool = Field(description="False when a limit that applies, or a part's highest speed, is unknown.")
    tip_stiffness_n_per_um: float | None = Field(description="Force across the axis that moves the tip by 1 µm.")
    joints: int = Field(description="Joints between components; the spindle's is not counted.")
    components: int
    dominated_by: list[str] = Field(description="Alternatives that are no worse in anything and better in something.")
    because: str = Field(description="Why it wins or loses, in words.")


class CriterionReport(Out):
    """One line of the comparison."""

    criterion: Annotated[CriterionName, OPEN]
    unit: str | None = Field(description="Null for a count.", examples=["um"])
    better: Annotated[Literal["lower", "higher"], OPEN]
    values: list[float | None] = Field(description="In the order of the alternatives; null is not known.")
    best: list[str] = Field(description="Who has the best known value.")


class ReadsLess(Out):
    """Two assemblies, built independently, each read at its own gauge plane."""

    first: str
    second: str
    probability: float | None = Field(
        description="That the first reads less than the second; null where a contributor of either is not known."
    )
    equal: bool | None = Field(description="Both always read one and the same, so neither reads less.")


class ComparisonReport(Out):
    """The answer to a comparison."""

    alternatives: list[AlternativeReport] = Field(description="In the order of the request.")
    criteria: list[CriterionReport]
    non_dominated: list[str] = Field(
        description="Alternatives that no other dominates. Who fails dominates nobody who does not; whose value in some"
        " criterion is unknown neither dominates nor is dominated. Some of them may fail: see the verdict."
    )
    pairs: Annotated[Literal["all", "against_first"], OPEN] = Field(
        description=f"Up to {MAX_IN_ALL_PAIRS} alternatives are all set against each other, more against the first."
    )
    reads_less: list[ReadsLess]
    notes: list[str] = Field(description="What was done with names and unknown values.")
    cautions: list[str]
    provenance: Provenance
