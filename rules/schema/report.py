"""Report of a check: verdict, findings, results by subject, work instruction and provenance.

Every field is always present. A value that could not be derived is null and named under ``undecided``.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import Field

from rules.quantities.models import LackingFact, Out, Pointer

__all__ = [
    "SPEED_CAUSES",
    "AcceptanceReport",
    "AssemblyAction",
    "AssemblyReport",
    "AssemblyStep",
    "AssemblyValue",
    "BalanceReport",
    "BendingShare",
    "ComponentMass",
    "ContributorReport",
    "Finding",
    "GeometryReport",
    "GripReport",
    "LoadReport",
    "MassReport",
    "OverrideReport",
    "PlaneReport",
    "PositionReport",
    "Provenance",
    "RecordField",
    "ReplacedRule",
    "Report",
    "RunoutReport",
    "Severity",
    "ShrinkReport",
    "SpeedLimit",
    "SpeedReport",
    "StiffnessReport",
    "Summary",
    "ThresholdReport",
    "Undecided",
    "Verdict",
]


SPEED_CAUSES: Final = {
    "component": "marked speed",
    "balance": "balance grade",
    "critical_speed": "share of the critical speed",
    "shrink_fit": "shrink fit",
    "machine": "machine",
    "cutting_speed": "cutting speed",
}
"""What limits a speed, in words."""


class SpeedLimit(Out):
    """One cause that limits the speed."""

    cause: Literal["component", "balance", "critical_speed", "shrink_fit", "machine", "cutting_speed"] = Field(
        title="Limited by"
    )
    component: str | None = Field(
        title="Part or joint", description="The component, or for a shrink fit the joint, it belongs to."
    )
    speed_rpm: float = Field(
        title="Highest speed",
        description="Highest speed it allows: of the critical speed the share that its rule allows; for a shrink fit"
        " where the grip meets what the cut asks, or is gone where the cut asks nothing.",
    )

    @property
    def words(self) -> str:
        """The cause as people read it, with its component or joint; no part of the JSON."""
        cause = SPEED_CAUSES[self.cause]
        if self.component is None:
            return cause
        return f"{cause} {self.component}" if self.cause == "shrink_fit" else f"{cause} of {self.component}"


class SpeedReport(Out):
    """How fast the stack may turn."""

    asked_rpm: float | None = Field(title="Programmed speed")
    limits: list[SpeedLimit] = Field(description="Lowest first.")
    governing: SpeedLimit | None = Field(title="Lowest limit")
    margin_rpm: float | None = Field(
        title="Margin to the lowest limit", description="Governing limit less the speed asked; negative beyond it."
    )
    margin_percent: float | None = Field(
        title="Relative margin",
        description="That margin in percent of the speed asked.",
    )
    complete: bool = Field(description="False when a limit that applies is not known.")


class BalanceReport(Out):
    """Unbalance by ISO 21940-11, residuals and eccentric masses randomly clocked."""

    grade: str | None = Field(title="Required balance grade", description="The grade asked.")
    unbalance_p95_gmm: float | None = Field(title="Unbalance, 95th percentile")
    unbalance_worst_gmm: float | None = Field(title="Unbalance, worst case")
    permissible_gmm: float | None = Field(
        title="Permissible unbalance at the programmed speed", description="At the asked speed and grade."
    )
    highest_speed_rpm: float | None = Field(
        title="Highest speed for the required grade", description="Highest speed at which the grade is kept, at p95."
    )
    quality_mm_per_s: float | None = Field(
        title="e·ω at the programmed speed", description="What the p95 unbalance amounts to at the asked speed, e·ω."
    )
    best_grade: str | None = Field(
        title="Finest grade met at the programmed speed", description="Finest grade kept at the asked speed."
    )
    rotating_force_n: float | None = Field(
        title="Rotating force at the programmed speed", description="Force of the p95 unbalance at the asked speed."
    )
    couple_rms_g_mm2: float | None = Field(
        title="Couple about the gauge line, root mean square",
        description="Couple of the unbalances about the gauge line, root mean square over all clockings, g·mm².",
    )
    couple_worst_g_mm2: float | None = Field(title="Couple about the gauge line, worst case")
    seating_gmm: float | None = Field(
        title="Unbalance from one reseating in the spindle",
        description="Unbalance one reseating in the spindle may bring: balancing below it is pointless.",
    )


class ComponentMass(Out):
    """Mass properties of one component, stated or from its outline."""

    component: str = Field(title="Part")
    mass_kg: float | None = Field(title="Mass")
    centre_of_mass_mm: float | None = Field(title="Centre of mass", description="From the gauge line.")
    transverse_inertia_kg_mm2: float | None = Field(
        title="Moment of inertia", description="About a diameter through its own centre of mass."
    )


class MassReport(Out):
    """Mass of the stack."""

    total_kg: float | None = Field(title="Mass of the stack")
    centre_of_mass_mm: float | None = Field(
        title="Centre of mass from the gauge line", description="From the gauge line."
    )
    transverse_inertia_kg_mm2: float | None = Field(
        title="Moment of inertia about a diameter", description="About a diameter through the common centre of mass."
    )
    tilting_moment_n_m: float | None = Field(
        title="Tilting moment about the gauge line", description="Of the weight about the gauge line, axis level."
    )
    components: list[ComponentMass]


class LoadReport(Out):
    """What the cut asks. Computed loads are those of a sharp cutter that runs true; wear adds a third or more."""

    source: Literal["stated", "milling"] | None = Field(
        title="Source", description="'stated' where the request states torque or pull; null where nothing tells a load."
    )
    torque_n_m: float | None = Field(title="Largest torque", description="Largest torque in a revolution.")
    axial_pull_n: float | None = Field(title="Pull-out force", description="Pull out of the clamp, of helical teeth.")
    radial_force_n: float | None = Field(title="Radial force", description="Largest force across the axis.")
    power_kw: float | None = Field(title="Spindle power", description="At the spindle, mean of a milling cut.")
    mean_torque_n_m: float | None = Field(title="Mean torque")
    mean_chip_thickness_mm: float | None = Field(title="Mean chip thickness")
    specific_force_mpa: float | None = Field(
        title="Specific cutting force", description="k_c at the mean chip thickness."
    )
    teeth_in_cut: float | None = Field(title="Teeth in cut, mean", description="Mean number of teeth engaged.")
    removal_rate_mm3_per_min: float | None = Field(title="Material removal rate")


class ShrinkReport(Out):
    """A shrink-fit joint after Lamé, interferences on the diameter after smoothing."""

    least_interference_um: float = Field(title="Interference, minimum")
    greatest_interference_um: float = Field(title="Interference, maximum")
    interference_at_speed_um: float = Field(
        title="Minimum interference at speed",
        description="What speed leaves of the least; at rest where none is asked.",
    )
    least_pressure_mpa: float = Field(title="Minimum contact pressure at speed", description="At that interference.")
    greatest_pressure_mpa: float = Field(title="Maximum contact pressure at rest", description="At rest.")
    friction: float = Field(title="Coefficient of friction")
    hub_stress_mpa: float = Field(
        title="Von Mises stress at the bore",
        description="Von Mises stress at the bore, greatest interference, asked speed.",
    )
    yield_mpa: float | None = Field(title="Yield stress of the holder")
    opening_temperature_c: float | None = Field(
        title="Temperature to open the bore",
        description="Of the hub, the shank staying cold, with play to join. Hot metal burns: see the cautions.",
    )
    release_speed_rpm: float | None = Field(
        title="Release speed", description="Where the least interference is gone; null if never."
    )
    holding_speed_rpm: float | None = Field(
        title="Highest speed that holds the load", description="Where the grip meets what the cut asks; null if never."
    )


class GripReport(Out):
    """How a straight shank is held."""

    joint: str = Field(title="Joint")
    at: list[Pointer]
    grip_length_mm: float | None = Field(title="Grip length")
    minimum_grip_mm: float | None = Field(title="Minimum grip")
    projection_mm: float | None = Field(title="Projection")
    basis: Literal["rating", "interference"] = Field(
        title="Capacity from", description="Where its capacity comes from."
    )
    torque_capacity_n_m: float | None = Field(
        title="Torque capacity", description="At this grip length and the asked speed."
    )
    axial_capacity_n: float | None = Field(title="Axial capacity")
    safety_factor: float | None = Field(
        title="Safety factor against slip", description="Against torque and pull together."
    )
    weakest: bool = Field(
        title="Lowest safety factor", description="The joint of the lowest safety factor, where all are known."
    )
    shrink_fit: ShrinkReport | None


class BendingShare(Out):
    """What one part has in the deflection of the tip."""

    name: str = Field(title="Part or joint")
    kind: Literal["component", "joint", "spindle"] = Field(title="Kind")
    share: float = Field(title="Share")


class StiffnessReport(Out):
    """Bending of the stack as a stepped beam held at the gauge line."""

    tip_compliance_um_per_n: float | None = Field(title="Compliance at the tip")
    tip_stiffness_n_per_um: float | None = Field(title="Stiffness at the tip")
    radial_force_n: float | None = Field(
        title="Radial force at the tip", description="Force across the axis at the tip."
    )
    deflection_um: float | None = Field(title="Deflection of the tip", description="Of the tip under that force.")
    deflection_limit_um: float | None = Field(title="Permissible deflection")
    shares: list[BendingShare] = Field(description="Where the deflection comes from; they add up to 1.")
    bending_frequencies_hz: list[float] = Field(
        title="Natural frequencies in bending", description="First ones, lowest first; empty where not known."
    )
    critical_speed_rpm: float | None = Field(
        title="Critical speed", description="Speed of one turn a period of the first of them."
    )
    spindle_frequency_hz: float | None = Field(title="Spindle frequency")
    tooth_passing_hz: float | None = Field(title="Tooth-passing frequency")
    notes: list[str] = Field(description="What the model leaves out.")


AssemblyAction = Literal[
    "inspect",
    "clean",
    "fit",
    "join",
    "set",
    "change",
    "heat",
    "cool",
    "clamp",
    "check",
    "seat",
    "measure",
    "record",
    "open",
    "remove",
    "stop",
]
"""What is done in a step; 'stop' says that something must not be done, and why."""


class AssemblyValue(Out):
    """A number of this stack that a step is about."""

    name: str = Field(title="Name", examples=["grip length"])
    unit: str | None = Field(title="Unit", description="Null for a count.", examples=["mm"])
    value: float | None = Field(title="Value", description="What to set or to read; null where only bounds are known.")
    at_least: float | None = Field(title="At least")
    at_most: float | None = Field(title="At most")


class AssemblyStep(Out):
    """One step of the work."""

    number: int
    action: AssemblyAction
    components: list[str] = Field(description="Ids of the components in hand.")
    joint: str | None = Field(description="Joint it belongs to, spindle side first.", examples=["collet-1/extension"])
    text: str
    values: list[AssemblyValue]
    caution: list[str] = Field(description="What can hurt or go wrong in this step.")
    at: list[Pointer]
    not_stated: list[Pointer] = Field(description="Request fields that would make the step more exact.")
    from_maker: list[str] = Field(
        description="What only the maker of the part can state: no open standard gives it.",
        examples=[["tightening torque of the nut"]],
    )


class AcceptanceReport(Out):
    """Where the finished assembly is read and when the reading is good."""

    limit_at: Literal["gauge_plane", "tip"] = Field(title="Measuring plane")
    plane_mm: float | None = Field(
        title="Measuring plane from the gauge line", description="Where the indicator touches, from the gauge line."
    )
    counted_from: Literal["last_clamping_face"]
    face_of: str | None = Field(
        title="Distance counted from the workpiece-side face of",
        description="The component whose workpiece-side face that is.",
    )
    distance_mm: float | None = Field(
        title="Distance of the measuring plane from that face", description="Of the plane from that face."
    )
    limit_um: float | None = Field(title="Runout limit")
    expected_p50_um: float | None = Field(
        title="Expected reading, median", description="Half of such assemblies read less; null where not complete."
    )
    expected_p95_um: float | None = Field(
        title="Expected reading, 95th percentile", description="95 % of such assemblies read less."
    )
    rule: str = Field(description="When to accept and when to refuse, in words.")


class RecordField(Out):
    """A blank of the record, to be filled in by whoever did the work."""

    name: str = Field(title="Quantity", examples=["grip length"])
    joint: str | None = Field(title="Joint")
    unit: str | None = Field(title="Unit")
    target: float | None = Field(title="Target", description="What it should be, where the stack tells.")
    at_least: float | None = Field(title="At least")
    at_most: float | None = Field(title="At most")


class AssemblyReport(Out):
    """The work instruction, derived from the joints of this very stack."""

    buildable: bool = Field(description="False when a step says stop: then the stack cannot be finished as it stands.")
    steps: list[AssemblyStep]
    acceptance: AcceptanceReport
    record: list[RecordField]
    disassembly: list[AssemblyStep] = Field(description="Outermost joint first.")


Verdict = Literal["pass", "review", "fail"]
Severity = Literal["error", "warning", "advice"]


class Finding(Out):
    """One rule's objection."""

    code: str = Field(description="The rule's stable code.", examples=["GRIP-010"])
    severity: Severity
    title: str
    message: str = Field(description="What was seen and what would do, with both numbers.")
    at: list[Pointer]
    observed: float | str | None = Field(title="Observed", description="What was seen.")
    limit: float | str | None = Field(title="Limit", description="What it was held against.")
    unit: str | None = Field(description="Unit of observed, limit and margin.")
    margin: float | None = Field(title="Margin", description="Distance to the limit, negative beyond it.")
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

    component: str = Field(title="Part")
    from_mm: float | None = Field(title="From")
    to_mm: float | None = Field(title="To")


class GeometryReport(Out):
    """The stack along its axis."""

    last_clamping_face_mm: float | None = Field(title="Last clamping face from the gauge line")
    gauge_plane_mm: float | None = Field(
        title="Gauge plane from the gauge line", description="Where the indicator touches."
    )
    tip_mm: float | None = Field(
        title="Projection from the gauge line", description="Cutting tip, the projection from the gauge line."
    )
    components: list[PositionReport]


class ContributorReport(Out):
    """One cause of eccentricity. Its amplitude, half of the TIR, is linear: offset + slope × z, along and across.

    Across is zero where the direction is not known to any other contributor.
    """

    name: str = Field(title="Contributor", examples=["seat of collet-1"])
    component: str | None
    law: Literal["limit", "capability", "measured"] = Field(title="Basis")
    direction_known: bool = Field(
        title="Direction", description="Measured with its direction, so it adds as a vector where joints allow."
    )
    offset_um: float = Field(description="Amplitude at the gauge line, signed, µm.")
    offset_across_um: float
    slope_um_per_mm: float = Field(description="Change of the amplitude along the axis, µm/mm.")
    slope_across_um_per_mm: float
    gauge_plane_tir_um: float | None = Field(title="At the gauge plane", description="Its own TIR at the gauge plane.")
    tip_tir_um: float | None = Field(title="At the tip", description="Its own TIR at the tip.")
    gauge_plane_share: float | None = Field(
        title="Share", description="Share of the mean square runout at the gauge plane."
    )


class PlaneReport(Out):
    """The predicted total indicator reading at one plane."""

    z_mm: float = Field(title="From the gauge line")
    p50_um: float = Field(title="Median", description="Half of the assemblies read less.")
    p95_um: float = Field(title="95th percentile", description="95 % of the assemblies read less.")
    best_clocking_um: float = Field(
        title="Lowest by clocking", description="Least reading if every joint could be turned freely."
    )
    worst_case_um: float | None = Field(
        title="Worst case",
        description="Every contributor at its limit and in line; null where a contributor has no hard limit.",
    )
    probability_within_limit: float | None = Field(title="Within the limit")


class RunoutReport(Out):
    """The runout budget."""

    complete: bool = Field(description="False when a contributor is not known: the figures are then too small.")
    not_stated: list[LackingFact]
    limit_um: float | None = Field(title="Runout limit")
    limit_at: Literal["gauge_plane", "tip"] = Field(title="Measuring plane")
    gauge_plane: PlaneReport | None
    tip: PlaneReport | None
    contributors: list[ContributorReport]


class ThresholdReport(Out):
    """A threshold the policy changed."""

    code: str
    threshold: str
    value: float = Field(title="Value in force")
    rulebook_value: float = Field(title="Value in the rulebook")
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

    service: str = Field(title="Service")
    version: str = Field(title="Version")
    rulebooks: list[str] = Field(title="Rulebooks", description="Names of the rulebooks in force.")
    rulebook_sha256: str = Field(title="Rulebooks, SHA-256")
    catalogue_sha256: str | None = Field(
        title="Catalogue, SHA-256", description="Of the mounted components; null where none are mounted."
    )
    request_sha256: str = Field(
        title="Request, SHA-256",
        description="SHA-256 of the request as understood: unset fields left out, lengths in mm, compact JSON.",
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
    decided: list[str] = Field(
        title="Rules decided", description="Codes of rules that concern the stack and were decided wherever they do."
    )
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
