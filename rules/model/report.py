"""The report of a check: verdict, findings, budgets and where it all comes from.

Every field is always present; what could not be derived is null and named under ``undecided``.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.model.assembly import AssemblyReport
from rules.model.report_mechanics import (
    BalanceReport,
    GripReport,
    LoadReport,
    MassReport,
    SpeedReport,
    StiffnessReport,
)
from rules.quantities.models import LackingFact, Out, Pointer

__all__ = [
    "ContributorReport",
    "Finding",
    "GeometryReport",
    "OverrideReport",
    "PlaneReport",
    "PositionReport",
    "Provenance",
    "ReplacedRule",
    "Report",
    "RunoutReport",
    "Severity",
    "Summary",
    "ThresholdReport",
    "Undecided",
    "Verdict",
]

Verdict = Literal["pass", "review", "fail"]
Severity = Literal["error", "warning", "advice"]


class Finding(Out):
    """One rule's objection."""

    code: str = Field(description="The rule's stable code.", examples=["GRIP-010"])
    severity: Severity
    title: str
    message: str = Field(description="What was seen and what would do, with both numbers.")
    at: list[Pointer]
    observed: float | str | None = Field(description="What was seen.")
    limit: float | str | None = Field(description="What it was held against.")
    unit: str | None = Field(description="Unit of observed, limit and margin.")
    margin: float | None = Field(description="Distance to the limit, negative beyond it.")
    remedy: str
    source: str


class Undecided(Out):
    """A rule that concerns the stack and could not be decided."""

    code: str
    severity: Severity = Field(description="What its finding would have been.")
    title: str
    at: list[Pointer]
    lacks: list[LackingFact]


class Summary(Out):
    """Counts by kind."""

    errors: int
    warnings: int
    advice: int
    undecided: int
    decided: int


class PositionReport(Out):
    """Where a component lies along the axis; zero is the gauge line, positive toward the cut."""

    component: str
    from_mm: float | None
    to_mm: float | None


class GeometryReport(Out):
    """The stack along its axis."""

    last_clamping_face_mm: float | None
    gauge_plane_mm: float | None = Field(description="Where the indicator touches.")
    tip_mm: float | None = Field(description="Cutting tip, the projection from the gauge line.")
    components: list[PositionReport]


class ContributorReport(Out):
    """One cause of eccentricity. Its amplitude, half of the TIR, is linear: offset + slope × z, along and across.

    Across is zero where the direction is not known to any other contributor.
    """

    name: str = Field(examples=["seat of c1"])
    component: str | None
    law: Literal["limit", "capability", "measured"]
    direction_known: bool = Field(description="Measured with its direction, so it adds as a vector where joints allow.")
    offset_um: float = Field(description="Amplitude at the gauge line, signed, µm.")
    offset_across_um: float
    slope_um_per_mm: float = Field(description="Change of the amplitude along the axis, µm/mm.")
    slope_across_um_per_mm: float
    gauge_plane_tir_um: float | None = Field(description="Its own TIR at the gauge plane.")
    tip_tir_um: float | None = Field(description="Its own TIR at the tip.")
    gauge_plane_share: float | None = Field(description="Share of the mean square runout at the gauge plane.")


class PlaneReport(Out):
    """The predicted total indicator reading at one plane."""

    z_mm: float
    p50_um: float = Field(description="Half of the assemblies read less.")
    p95_um: float = Field(description="95 % of the assemblies read less.")
    best_clocking_um: float = Field(description="Least reading if every joint could be turned freely.")
    worst_case_um: float | None = Field(
        description="Every contributor at its limit and in line; null where a contributor has no hard limit."
    )
    probability_within_limit: float | None


class RunoutReport(Out):
    """The runout budget."""

    complete: bool = Field(description="False when a contributor is not known: the figures are then too small.")
    not_stated: list[LackingFact]
    limit_um: float | None
    limit_at: Literal["gauge_plane", "tip"]
    gauge_plane: PlaneReport | None
    tip: PlaneReport | None
    contributors: list[ContributorReport]


class ThresholdReport(Out):
    """A threshold the policy changed."""

    code: str
    threshold: str
    value: float
    rulebook_value: float
    unit: str


class OverrideReport(Out):
    """A safety rule whose severity an operator's rulebook lowered."""

    code: str
    from_severity: Severity
    to_severity: Severity
    book: str


class ReplacedRule(Out):
    """A rule that stands in the place of one of an earlier rulebook."""

    code: str
    safety: bool
    book: str = Field(description="The file that the rule in force stands in.")


class Provenance(Out):
    """What answered, by which rules, to which request."""

    service: str
    version: str
    rulebooks: list[str] = Field(description="Names of the rulebooks in force.")
    rulebook_sha256: str
    catalogue_sha256: str | None = Field(description="Of the mounted components; null where none are mounted.")
    request_sha256: str = Field(
        description="SHA-256 of the request as understood: unset fields left out, lengths in mm, compact JSON."
    )
    thresholds_changed: list[ThresholdReport]
    severities_lowered: list[OverrideReport]
    rules_replaced: list[ReplacedRule] = Field(
        description="Rules that an operator's rulebook replaced; they may ask for less than the rules they replace."
    )


class Report(Out):
    """The answer to a check."""

    verdict: Verdict
    stack: str | None = Field(description="The caller's name for the stack.")
    summary: Summary
    findings: list[Finding]
    undecided: list[Undecided]
    decided: list[str] = Field(description="Codes of rules that concern the stack and were decided wherever they do.")
    geometry: GeometryReport
    runout: RunoutReport
    speed: SpeedReport
    balance: BalanceReport
    load: LoadReport
    grip: list[GripReport]
    stiffness: StiffnessReport
    mass: MassReport
    assembly: AssemblyReport | None = Field(description="The work instruction; null unless asked for.")
    cautions: list[str]
    provenance: Provenance
