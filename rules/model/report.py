"""The report of a check: verdict, findings, budgets and where it all comes from.

Every field is always present; what could not be derived is null and named under ``undecided``.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "BalanceReport",
    "ContributorReport",
    "Finding",
    "GeometryReport",
    "GripReport",
    "LackingFact",
    "MassReport",
    "OverrideReport",
    "PlaneReport",
    "PositionReport",
    "Provenance",
    "Report",
    "RunoutReport",
    "Severity",
    "SpeedLimit",
    "SpeedReport",
    "Summary",
    "ThresholdReport",
    "Undecided",
    "Verdict",
]

Verdict = Literal["pass", "review", "fail"]
Severity = Literal["error", "warning", "advice"]

Pointer = Annotated[
    str, Field(description="JSON Pointer (RFC 6901) into the request.", examples=["/stack/components/2"])
]


class _Out(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Finding(_Out):
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


class LackingFact(_Out):
    """A quantity a rule needs that the request does not let one derive."""

    fact: str = Field(description="The quantity, as the rule names it.")
    fields: list[Pointer] = Field(description="Request fields that would supply it.")


class Undecided(_Out):
    """A rule that concerns the stack and could not be decided."""

    code: str
    severity: Severity = Field(description="What its finding would have been.")
    title: str
    at: list[Pointer]
    lacks: list[LackingFact]


class Summary(_Out):
    """Counts by kind."""

    errors: int
    warnings: int
    advice: int
    undecided: int
    decided: int


class PositionReport(_Out):
    """Where a component lies along the axis; zero is the gauge line, positive toward the cut."""

    component: str
    from_mm: float | None
    to_mm: float | None


class GeometryReport(_Out):
    """The stack along its axis."""

    last_clamping_face_mm: float | None
    gauge_plane_mm: float | None = Field(description="Where the indicator touches.")
    tip_mm: float | None = Field(description="Cutting tip, the projection from the gauge line.")
    components: list[PositionReport]


class ContributorReport(_Out):
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


class PlaneReport(_Out):
    """The predicted total indicator reading at one plane."""

    z_mm: float
    p50_um: float = Field(description="Half of the assemblies read less.")
    p95_um: float = Field(description="95 % of the assemblies read less.")
    best_clocking_um: float = Field(description="Least reading if every joint could be turned freely.")
    worst_case_um: float | None = Field(
        description="Every contributor at its limit and in line; null where a contributor has no hard limit."
    )
    probability_within_limit: float | None


class RunoutReport(_Out):
    """The runout budget."""

    complete: bool = Field(description="False when a contributor is not known: the figures are then too small.")
    not_stated: list[LackingFact]
    limit_um: float | None
    limit_at: Literal["gauge_plane", "tip"]
    gauge_plane: PlaneReport | None
    tip: PlaneReport | None
    contributors: list[ContributorReport]


class SpeedLimit(_Out):
    """One cause that limits the speed."""

    cause: Literal["component", "balance", "machine"]
    component: str | None
    speed_rpm: float


class SpeedReport(_Out):
    """How fast the stack may turn."""

    asked_rpm: float | None
    limits: list[SpeedLimit] = Field(description="Lowest first.")
    governing: SpeedLimit | None
    complete: bool = Field(description="False when a limit that applies is not known.")


class BalanceReport(_Out):
    """Unbalance by ISO 21940-11, residuals and eccentric masses randomly clocked."""

    grade: str | None
    unbalance_p95_gmm: float | None
    unbalance_worst_gmm: float | None
    permissible_gmm: float | None = Field(description="At the asked speed and grade.")
    highest_speed_rpm: float | None = Field(description="Highest speed at which the grade is kept, at p95.")
    rotating_force_n: float | None = Field(description="Force of the p95 unbalance at the asked speed.")
    seating_gmm: float | None = Field(description="Unbalance one reseating in the spindle may bring.")


class GripReport(_Out):
    """How a straight shank is held."""

    joint: str
    at: list[Pointer]
    grip_length_mm: float | None
    minimum_grip_mm: float | None
    projection_mm: float | None


class MassReport(_Out):
    """Mass of the stack."""

    total_kg: float | None
    centre_of_mass_mm: float | None = Field(description="From the gauge line.")


class ThresholdReport(_Out):
    """A threshold the policy changed."""

    code: str
    threshold: str
    value: float
    rulebook_value: float
    unit: str


class OverrideReport(_Out):
    """A safety rule whose severity an operator's rulebook lowered."""

    code: str
    from_severity: Severity
    to_severity: Severity
    book: str


class Provenance(_Out):
    """What answered, by which rules, to which request."""

    service: str
    version: str
    rulebooks: list[str] = Field(description="Names of the rulebooks in force.")
    rulebook_sha256: str
    request_sha256: str = Field(
        description="SHA-256 of the request as understood: unset fields left out, lengths in mm, compact JSON."
    )
    thresholds_changed: list[ThresholdReport]
    severities_lowered: list[OverrideReport]


class Report(_Out):
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
    grip: list[GripReport]
    mass: MassReport
    cautions: list[str]
    provenance: Provenance
