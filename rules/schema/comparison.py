"""Request and report of a comparison of stacks for one operation."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Identifier, Model, Out
from rules.schema.components import Definitions
from rules.schema.report import Assumption, Estimate, PlaneReport, Provenance, Severity, SpeedLimit, Summary, Verdict
from rules.schema.request import AxialPosition, MachineEntry, Operations, Policy, Stack

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
"""Most alternatives compared in every pair; more are compared with the first only."""

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
    """One alternative stack."""

    name: Identifier = Field(description="Name in the report.", examples=["press-in"])
    stack: Stack


class ComparisonRequest(Model):
    """Alternatives for the same operations on one machine, under one policy."""

    alternatives: list[Alternative] = Field(
        min_length=2,
        max_length=MAX_ALTERNATIVES,
        description="Alternatives; a repeated name gets a number in the report, such as 'a#2'.",
    )
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    machine: MachineEntry | None = Field(None, description="Machine of all alternatives.")
    gauge_plane: AxialPosition | None = Field(
        None, description="Gauge plane of all alternatives, in place of the policy's multiple of the cutting diameter."
    )
    operations: Operations | None = Field(None, description="Operations of all alternatives.")
    policy: Policy | None = Field(
        None, description="Treatment of warnings, undecided rules and thresholds; defaults apply if absent."
    )


class ComparedFinding(Out):
    """Summary of a finding; a check of the stack gives the details."""

    code: str = Field(examples=["GRIP-010"])
    severity: Annotated[Severity, OPEN]
    title: str


class AlternativeReport(Out):
    """Verdict, figures and assessment of one alternative."""

    name: str
    stack_id: str | None = Field(description="Caller's name of the stack.")
    verdict: Verdict
    summary: Summary
    findings: list[ComparedFinding]
    assumptions: list[Assumption] = Field(description="Assumed values, the most decisive first.")
    planes: list[PlaneReport] = Field(description="Predicted runout at the planes, as in a check.")
    runout_complete: bool = Field(description="False if a contributor is not known; the true runout is then larger.")
    tip_from_gauge_line_mm: float | None = Field(description="Distance of the tip from the gauge line, mm.")
    mass_kg: float | None
    governing_speed: SpeedLimit | None = Field(description="Lowest known speed limit.")
    speed_complete: bool = Field(description="False if an applicable limit or a part's highest speed is not known.")
    tip_stiffness_n_per_um: Estimate | None = Field(description="Radial stiffness at the tip, N/µm.")
    joint_count: int = Field(description="Number of joints between components, without the spindle joint.")
    component_count: int = Field(description="Number of components.")
    dominated_by: list[str] = Field(
        description="Alternatives at least as good on every criterion and better on one or more."
    )
    because: str = Field(description="Reason for the ranking.")


class CriterionReport(Out):
    """One criterion of the comparison."""

    criterion: Annotated[CriterionName, OPEN]
    unit: str | None = Field(description="UCUM code of the unit; null for a count.", examples=["um"])
    better: Annotated[Literal["lower", "higher"], OPEN]
    values: list[float | None] = Field(description="Values in the order of the alternatives; null if not known.")
    best: list[str] = Field(description="Alternatives with the best known value.")


class ReadsLess(Out):
    """Comparison of the runout of two independent assemblies, each at its gauge plane."""

    first: str = Field(description="Name of the alternative that has less runout.")
    second: str = Field(description="Name of the alternative that it is compared with.")
    probability: float | None = Field(
        description="Probability that the first has less runout; null if a contributor of either is not known."
    )
    equal: bool | None = Field(description="Whether both always have the same runout.")


class ComparisonReport(Out):
    """Report of a comparison."""

    alternatives: list[AlternativeReport] = Field(description="Alternatives in the order of the request.")
    criteria: list[CriterionReport] = Field(description="Values of the alternatives by criterion.")
    non_dominated: list[str] = Field(
        description="Alternatives that no other dominates. A failed one never dominates one that does not fail. One"
        " with an unknown value neither dominates nor is dominated. Some may fail: see the verdict."
    )
    pairs: Annotated[Literal["all", "against_first"], OPEN] = Field(
        description=f"Pairs: all pairs of up to {MAX_IN_ALL_PAIRS} alternatives, else each with the first."
    )
    reads_less: list[ReadsLess] = Field(description="Probabilities that one alternative has less runout than another.")
    notes: list[str] = Field(description="Notes on names and unknown values.")
    cautions: list[str]
    provenance: Provenance
