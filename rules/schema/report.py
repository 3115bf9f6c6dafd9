"""Report of a check: verdict, findings, figures, work instruction and provenance.

Every field is always present; a value that cannot be derived is null.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Annotated, Any, Final, Literal

from pydantic import ConfigDict, Field, ModelWrapValidatorHandler, model_validator

from rules.quantities.models import KNOWN_VALUES, OPEN, MissingQuantity, Out, Pointer, construct, opened
from rules.quantities.rounding import rounded

__all__ = [
    "ALWAYS",
    "SPEED_CAUSES",
    "STATES",
    "AcceptanceReport",
    "AssemblyAction",
    "AssemblyRecord",
    "AssemblyReport",
    "AssemblyStep",
    "AssemblyValue",
    "AssumedRange",
    "Assumption",
    "BalancePlane",
    "BalanceReport",
    "BendingShare",
    "ComponentMass",
    "ContributorKind",
    "ContributorReport",
    "Estimate",
    "Finding",
    "GeometryReport",
    "GripReport",
    "InstructionState",
    "JointEnds",
    "LoadReport",
    "MassReport",
    "NotJudged",
    "OperationBalance",
    "OperationBending",
    "OperationGrip",
    "OperationReport",
    "OperationRunout",
    "OperationSpeed",
    "PlaneReport",
    "PositionReport",
    "PredictionName",
    "Provenance",
    "Quantity",
    "RecordField",
    "RecordGroup",
    "Report",
    "RunoutPrediction",
    "RunoutReport",
    "Severity",
    "ShrinkReport",
    "SpeedLimit",
    "SpeedReport",
    "StandardValue",
    "StateReason",
    "StiffnessReport",
    "Summary",
    "Undecided",
    "UnderstoodDesignation",
    "Verdict",
    "estimate",
    "estimate_or_none",
]


SPEED_CAUSES: Final = {
    "component": "marked speed",
    "balance": "balance grade",
    "critical_speed": "share of the critical speed",
    "shrink_fit": "shrink fit",
    "machine": "machine",
    "cutting_speed": "cutting speed",
}
"""Causes of a speed limit as text."""


_RESTS_ON: Final = "Ids of the assumptions and of the values stated by a standard behind this value."

ContributorKind = Literal[
    "part_runout", "tilt", "uncertainty", "straightness", "roundness", "clearance", "spindle_runout"
]


class Estimate(Out):
    """Computed value that may rest on assumptions."""

    value: float = Field(description="Computed value, in the unit of the field.")
    low: float | None = Field(description="Low end of the likely range; null if the value rests on no assumption.")
    high: float | None = Field(description="High end of the likely range; null if the value rests on no assumption.")
    rests_on: list[str] = Field(description=_RESTS_ON)


def estimate(value: float, unit: str) -> Estimate:
    """Return a computed value, rounded for its unit."""
    return construct(Estimate, value=rounded(value, unit), low=None, high=None, rests_on=[])


def estimate_or_none(value: object, unit: str) -> Estimate | None:
    """Return a computed value, rounded for its unit; None for anything but a number."""
    return estimate(value, unit) if isinstance(value, (float, int)) else None


class JointEnds(Out):
    """Joint, named by the components on its two sides."""

    upper: str = Field(description="Component on the spindle side, or 'spindle'.")
    lower: str = Field(description="Component on the side of the cut.")

    def __str__(self) -> str:
        """Return the joint in words: 'upper/lower'."""
        return f"{self.upper}/{self.lower}"


PredictionName = Literal["assemblies", "parts_at_limits", "worst_case", "best_clocking"]

_QUANTILES: Final = {
    "p0": "Lowest value, µm.",
    "p50": "Median, µm.",
    "p80": "80th percentile, µm.",
    "p95": "95th percentile, µm.",
    "p99": "99th percentile, µm.",
    "p100": "Highest value, µm.",
}

Quantiles = Annotated[
    dict[str, float],
    Field(
        description="Total indicator reading by quantile, µm: p0 is the lowest, p50 the median, p100 the highest.",
        json_schema_extra={
            "properties": {name: {"type": "number", "description": words} for name, words in _QUANTILES.items()}
        },
    ),
]


class RunoutPrediction(Out):
    """Statement on the total indicator reading at one plane."""

    of: Annotated[PredictionName, OPEN] = Field(
        description="'assemblies': each part anywhere up to its limit. 'parts_at_limits': every part at its limit, at"
        " random clocking. 'worst_case': every contributor at its limit and in line, the only bound. 'best_clocking':"
        " at their limits, clocked for the lowest reading; absent if no joint can be re-clocked."
    )
    quantiles_um: Quantiles


class SpeedLimit(Out):
    """Speed limit by one cause."""

    cause: Annotated[
        Literal["component", "balance", "critical_speed", "shrink_fit", "machine", "cutting_speed"], OPEN
    ] = Field(title="Limited by")
    component: str | None = Field(title="Part", description="Component that has the limit; null for other limits.")
    joint: JointEnds | None = Field(title="Joint", description="Joint of a shrink fit; null for other limits.")
    speed_rpm: Estimate = Field(
        title="Highest speed",
        description="Highest permissible speed, rpm. Critical speed: the permissible share of it. Shrink fit: the"
        " speed at which the grip just holds the cutting load, or the release speed without a load.",
    )

    @property
    def words(self) -> str:
        """Cause with its component or joint, as text; not part of the JSON."""
        cause = SPEED_CAUSES.get(self.cause, self.cause)
        if self.joint is not None:
            return f"{cause} {self.joint}"
        return cause if self.component is None else f"{cause} of {self.component}"


class SpeedReport(Out):
    """Speed limits of the stack, whatever the operation."""

    limits: list[SpeedLimit] = Field(description="Speed limits, lowest first.")
    governing: SpeedLimit | None = Field(title="Lowest limit", description="Lowest limit; null without a limit.")
    complete: bool = Field(description="False if an applicable limit is not known.")


class OperationSpeed(SpeedReport):
    """Programmed speed and all speed limits of an operation, those of the stack included."""

    programmed_rpm: float | None = Field(
        title="Programmed speed", description="Programmed spindle speed, rpm; null if none is stated or derived."
    )
    margin_rpm: float | None = Field(
        title="Margin to the lowest limit",
        description="Lowest limit minus programmed speed, rpm; negative beyond the limit.",
    )
    relative_margin: float | None = Field(
        title="Relative margin",
        description="Margin as a share of the programmed speed; negative beyond the limit.",
    )


class BalancePlane(Out):
    """Unbalance in one of two planes, which together stand for resultant and couple."""

    from_gauge_line_mm: float = Field(title="From the gauge line")
    unbalance_p95_g_mm: float = Field(title="Unbalance, 95th percentile")


class BalanceReport(Out):
    """Unbalance of the stack, from residual unbalances and eccentric masses at random clocking."""

    unbalance_p95_g_mm: float | None = Field(
        title="Unbalance, 95th percentile", description="95th percentile of the static unbalance, g·mm."
    )
    unbalance_worst_g_mm: float | None = Field(
        title="Unbalance, worst case",
        description="Static unbalance with all vectors in line, g·mm; null if one has no hard limit.",
    )
    couple_rms_g_mm2: float | None = Field(
        title="Couple about the gauge line, root mean square",
        description="Couple unbalance about the gauge line, root mean square over all clockings, g·mm².",
    )
    couple_worst_g_mm2: float | None = Field(
        title="Couple about the gauge line, worst case",
        description="Couple unbalance about the gauge line with all vectors in line, g·mm².",
    )
    planes: list[BalancePlane] = Field(description="Gauge line and last clamping face; empty if not known.")
    in_spindle_p95_g_mm: float | None = Field(
        title="Unbalance in the spindle, 95th percentile",
        description="With the repeatability of the taper, 95th percentile, g·mm.",
    )


class OperationBalance(Out):
    """Balance quality by ISO 21940-11 in an operation."""

    grade: str | None = Field(title="Required balance grade", description="Required balance grade.")
    permissible_g_mm: float | None = Field(
        title="Permissible unbalance at the programmed speed",
        description="Permissible unbalance at the programmed speed and required grade, g·mm.",
    )
    seating_g_mm: float | None = Field(
        title="Unbalance from one reseating in the spindle",
        description="Unbalance from one reseating in the spindle, g·mm; finer balancing has no effect.",
    )
    highest_speed_rpm: Estimate | None = Field(
        title="Highest speed for the required grade",
        description="Highest speed that meets the required grade at the 95th percentile, rpm.",
    )
    best_grade: str | None = Field(
        title="Finest grade met at the programmed speed", description="Finest grade met at the programmed speed."
    )
    quality_mm_per_s: float | None = Field(
        title="e·ω at the programmed speed",
        description="e·ω of the 95th percentile unbalance at the programmed speed, mm/s.",
    )
    rotating_force_n: float | None = Field(
        title="Rotating force at the programmed speed",
        description="Centrifugal force of the 95th percentile unbalance at the programmed speed, N.",
    )
    front_bearing_force_n: float | None = Field(
        title="Force on the front bearing", description="With the taper's repeatability, 95th percentile, N."
    )
    rear_bearing_force_n: float | None = Field(title="Force on the rear bearing")


class ComponentMass(Out):
    """Mass properties of one component, stated or computed from its outline."""

    component: str = Field(title="Part")
    mass_kg: float | None = Field(title="Mass")
    centre_of_mass_from_gauge_line_mm: float | None = Field(
        title="Centre of mass", description="Distance of its centre of mass from the gauge line, mm."
    )
    transverse_inertia_kg_mm2: float | None = Field(
        title="Moment of inertia",
        description="Moment of inertia about a diameter through the component's centre of mass, kg·mm².",
    )


class MassReport(Out):
    """Mass properties of the stack."""

    total_kg: float | None = Field(title="Mass of the stack")
    centre_of_mass_from_gauge_line_mm: float | None = Field(
        title="Centre of mass from the gauge line",
        description="Distance of the centre of mass from the gauge line, mm.",
    )
    transverse_inertia_kg_mm2: float | None = Field(
        title="Moment of inertia about a diameter",
        description="Moment of inertia about a diameter through the stack's centre of mass, kg·mm².",
    )
    tilting_moment_n_m: float | None = Field(
        title="Tilting moment about the gauge line",
        description="Moment of the weight about the gauge line with the axis horizontal, N·m.",
    )
    components: list[ComponentMass]


class LoadReport(Out):
    """Cutting load. Torque and pull are for worn edges (policy), the rest for sharp ones."""

    source: Annotated[Literal["stated", "milling", "drilling", "reaming", "boring", "tapping"], OPEN] | None = Field(
        title="Source", description="'stated' if the request states torque or pull-out force; null without a load."
    )
    torque_n_m: float | None = Field(title="Largest torque", description="Largest torque in a revolution, N·m.")
    axial_pull_n: float | None = Field(
        title="Pull-out force", description="Axial pull-out force of the helical flutes, N."
    )
    thrust_n: float | None = Field(title="Thrust", description="Feed force of a drill, N.")
    force_height_mm: float | None = Field(title="Radial force acts at", description="Its distance from the tip, mm.")
    spread: float | None = Field(
        title="Spread of the specific cutting force",
        description="Share by which computed loads may differ.",
    )
    radial_force_n: float | None = Field(title="Radial force", description="Largest radial force, N.")
    power_kw: float | None = Field(title="Spindle power", description="Mean spindle power of the cut, kW.")
    mean_torque_n_m: float | None = Field(title="Mean torque")
    mean_chip_thickness_mm: float | None = Field(title="Mean chip thickness")
    specific_force_mpa: float | None = Field(
        title="Specific cutting force", description="Specific cutting force k_c at the mean chip thickness, MPa."
    )
    teeth_in_cut: float | None = Field(title="Teeth in cut, mean", description="Mean number of teeth in cut.")
    removal_rate_mm3_per_min: float | None = Field(title="Material removal rate")


class ShrinkReport(Out):
    """Shrink-fit joint by Lamé; interferences on the diameter, after smoothing of the surfaces."""

    least_interference_um: float = Field(title="Interference, minimum")
    greatest_interference_um: float = Field(title="Interference, maximum")
    greatest_pressure_mpa: Estimate = Field(
        title="Maximum contact pressure at rest",
        description="Contact pressure at the maximum interference, at rest, MPa.",
    )
    friction: float = Field(title="Coefficient of friction")
    yield_mpa: float | None = Field(title="Yield stress of the holder")
    opening_temperature_c: Estimate | None = Field(
        title="Temperature to open the bore",
        description="Holder temperature for insertion with clearance, shank cold, °C. Burn hazard: see the cautions.",
    )
    release_speed_rpm: Estimate | None = Field(
        title="Release speed", description="Speed at which the minimum interference is lost, rpm; null if never."
    )


class GripReport(Out):
    """Grip on a straight shank."""

    joint: JointEnds = Field(title="Joint")
    at: list[Pointer]
    grip_length_mm: float | None = Field(title="Grip length")
    minimum_grip_mm: float | None = Field(title="Minimum grip")
    projection_mm: float | None = Field(title="Projection")
    basis: Annotated[Literal["rating", "interference"], OPEN] = Field(
        title="Capacity from", description="Source of the torque capacity."
    )
    torque_capacity_n_m: Estimate | None = Field(
        title="Torque capacity at rest", description="Torque capacity at this grip length, at rest, N·m."
    )
    axial_capacity_n: Estimate | None = Field(
        title="Axial capacity at rest", description="Axial capacity at this grip length, at rest, N."
    )
    shrink_fit: ShrinkReport | None = Field(description="Interference and stress; null for another grip.")


class BendingShare(Out):
    """Share of one part in the deflection at the tip."""

    kind: Annotated[Literal["component", "joint", "spindle"], OPEN] = Field(title="Kind", description="What bends.")
    component: str | None = Field(title="Part", description="Component that bends; null for a joint or the spindle.")
    joint: JointEnds | None = Field(title="Joint", description="Joint that gives way; null for other shares.")
    share: float = Field(title="Share", description="Share of the deflection at the tip, 0 to 1.")

    @property
    def words(self) -> str:
        """Component, joint or spindle, as text; not part of the JSON."""
        return self.component or (str(self.joint) if self.joint is not None else self.kind)


class StiffnessReport(Out):
    """Bending of the stack as a stepped beam on springs; ranges from soft to stiff joints."""

    tip_compliance_um_per_n: Estimate | None = Field(
        title="Compliance at the tip", description="Radial compliance at the tip, µm/N."
    )
    tip_stiffness_n_per_um: Estimate | None = Field(
        title="Stiffness at the tip", description="Radial stiffness at the tip, N/µm."
    )
    shares: list[BendingShare] = Field(description="Shares of the deflection at the tip; their sum is 1.")
    bending_frequencies_hz: list[Estimate] = Field(
        title="Natural frequencies in bending",
        description="Lowest natural frequencies in bending, Hz, in ascending order; empty if not known.",
    )
    critical_speed_rpm: Estimate | None = Field(
        title="Critical speed", description="Critical speed: lowest natural frequency as a speed, rpm."
    )
    notes: list[str] = Field(description="Notes on the limits of the model.")


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
"""Actions of a step; 'stop' marks something that must not be done."""


class AssemblyValue(Out):
    """Value for a step."""

    name: str = Field(title="Name", examples=["grip length"])
    unit: str | None = Field(title="Unit", description="UCUM code of the unit; null for a count.", examples=["mm"])
    value: float | None = Field(title="Value", description="Value to set or measure; null if only bounds are known.")
    tolerance: float | None = Field(title="Tolerance", description="Permissible deviation to either side.")
    at_least: float | None = Field(title="At least")
    at_most: float | None = Field(title="At most")
    inches: float | None = Field(
        title="Inches", description="The value in inches, where the request states lengths of this place in inches."
    )
    source: str | None = Field(
        title="Source",
        description="Source of what the request does not state: of the tolerance, else of the value. Null if it does.",
        examples=["common practice"],
    )


class AssemblyStep(Out):
    """Step of the work instruction."""

    number: int = Field(description="Number of the step, from 1.")
    action: Annotated[AssemblyAction, OPEN]
    components: list[str] = Field(description="Ids of the components of this step.")
    joint: JointEnds | None = Field(description="Joint of this step; null if it concerns no joint.")
    text: str
    values: list[AssemblyValue] = Field(description="Values to set or to measure.")
    at: list[Pointer]
    not_stated: list[MissingQuantity] = Field(description="Quantities that would make the step more precise.")
    from_maker: list[str] = Field(
        description="Values from the part's manufacturer; no open standard has them.",
        examples=[["tightening torque of the nut"]],
    )


class ReadableSurface(Out):
    """Surface of the cutting tool or gauge pin that an indicator can reach."""

    surface: Annotated[Literal["pin", "plain_shank", "flutes"], OPEN]
    from_last_clamping_face_mm: float = Field(description="Where it begins, mm from the last clamping face.")
    to_last_clamping_face_mm: float = Field(description="Where it ends, mm from the last clamping face.")

    def __str__(self) -> str:
        ends = f"{self.from_last_clamping_face_mm:.10g} to {self.to_last_clamping_face_mm:.10g} mm"
        return f"{self.surface.replace('_', ' ')} {ends}"


class AcceptanceReport(Out):
    """Runout acceptance of the finished assembly."""

    operation: str | None = Field(
        title="Limit of operation",
        description="Operation whose limit counts, the tightest of all operations; null without a limit.",
    )
    plane: Annotated[Literal["gauge_plane", "tip", "reading_plane"], OPEN] = Field(
        title="Measuring plane", description="Plane of the acceptance measurement."
    )
    from_gauge_line_mm: float | None = Field(
        title="Measuring plane from the gauge line",
        description="Distance of the measuring plane from the gauge line, mm.",
    )
    from_last_clamping_face_mm: float | None = Field(
        title="Measuring plane from the last clamping face",
        description="Distance of the measuring plane from the last clamping face, mm.",
    )
    face_of: str | None = Field(
        title="Last clamping face: workpiece-side face of",
        description="Component that has the last clamping face.",
    )
    limit_um: float | None = Field(title="Runout limit", description="Runout limit of the operation, TIR in µm.")
    reading_limit_um: float | None = Field(
        title="Limit of the reading", description="Limit converted to this plane, TIR in µm."
    )
    surfaces: list[ReadableSurface] = Field(
        description="What an indicator can reach, from the last clamping face to the tip; empty if not known."
    )
    predictions: list[RunoutPrediction] = Field(
        description="Expected readings as in the runout section; none if a contributor is not known."
    )
    rule: str = Field(description="Acceptance criterion as text.")


RecordGroup = Literal["part", "setting", "reading", "uncertainty", "instrument", "signature"]

InstructionState = Literal["build", "build_do_not_release", "do_not_build"]

_STATE: Final = (
    "'build': no error, no warning, nothing undecided. 'build_do_not_release': it can be built and measured, and must"
    " not be released. 'do_not_build': a joint or a part must not be fitted. Treat any other as 'do_not_build'."
)

STATES: Final[dict[str, str]] = {
    "build": "Build",
    "build_do_not_release": "Build, do not release",
    "do_not_build": "Do not build",
}
"""States as text."""


class RecordField(Out):
    """Blank of the assembly record."""

    group: Annotated[RecordGroup, OPEN] = Field(description="Part of the record.")
    name: str = Field(title="Quantity", examples=["grip length"])
    component: str | None = Field(title="Part", description="Part of a serial number; null for other blanks.")
    joint: JointEnds | None = Field(title="Joint", description="Joint of the quantity; null for the whole stack.")
    unit: str | None = Field(title="Unit", description="UCUM code of the unit; null without one.")
    target: float | None = Field(title="Target", description="Target value, if the stack gives one.")
    tolerance: float | None = Field(title="Tolerance", description="Permissible deviation to either side.")
    at_least: float | None = Field(title="At least")
    at_most: float | None = Field(title="At most")
    inches: float | None = Field(title="Inches", description="The target in inches, where stated in inches.")
    source: str | None = Field(title="Source", description="Source of what the request does not state.")
    expected_median: float | None = Field(
        title="Expected, median", description="Median of the readings to expect; null for what is not predicted."
    )
    expected_p95: float | None = Field(
        title="Expected, 95th percentile", description="95th percentile of the readings to expect."
    )


class AssemblyRecord(Out):
    """Record of one build, to be filled in and kept."""

    state: Annotated[InstructionState, OPEN] = Field(title="State", description="State of the instruction.")
    release: str = Field(title="Release", description="What releases the assembly, or that nothing does.")
    instruction_sha256: str = Field(
        title="Revision of the instruction (SHA-256)", description="Digest of the instruction: its revision."
    )
    request_sha256: str = Field(title="Digest of the request (SHA-256)", description="As in provenance.")
    judgement_sha256: str = Field(title="Digest of the judgement (SHA-256)", description="As in provenance.")
    blanks: list[RecordField] = Field(description="Blanks in the order of the record, by group.")


class StateReason(Out):
    """Reason for a state other than 'build'."""

    kind: Annotated[Literal["error", "warning", "undecided", "stop"], OPEN] = Field(
        description="Finding, undecided rule, or a stop that rests on no rule."
    )
    code: str | None = Field(description="Code of the rule; null for a stop that rests on no rule.")
    operation: str | None = Field(description="Id of the operation; null if it concerns the stack as such.")
    text: str = Field(description="Message of the rule, or what is missing.")


class AssemblyReport(Out):
    """Work instruction for this stack; its cautions are those of the report."""

    state: Annotated[InstructionState, OPEN] = Field(title="State", description=_STATE)
    reasons: list[StateReason] = Field(description="Reasons for the state, most severe first; empty for 'build'.")
    steps: list[AssemblyStep] = Field(description="Assembly steps in order; only stops if it must not be built.")
    acceptance: AcceptanceReport | None = Field(description="Null if the stack must not be built.")
    record: AssemblyRecord
    disassembly: list[AssemblyStep] = Field(description="Disassembly steps, outermost joint first.")


Verdict = Literal["pass", "review", "fail"]
Severity = Literal["error", "warning", "advice"]


class Quantity(Out):
    """Value with its unit."""

    value: float | str = Field(description="Number, or text such as a form.")
    unit: str | None = Field(description="UCUM code of the unit; 1 for a pure number, null for a text.")


class Finding(Out):
    """Finding of a rule."""

    code: str = Field(description="Stable code of the rule.", examples=["GRIP-010"])
    severity: Annotated[Severity, OPEN] = Field(description="Severity of the finding.")
    title: str = Field(description="Title of the rule.")
    operation: str | None = Field(description="Id of the operation; null if it concerns the stack as such.")
    at: list[Pointer] = Field(description="Request fields that the finding concerns.")
    observed: Quantity | None = Field(title="Observed", description="Observed value.")
    limit: Quantity | None = Field(title="Limit", description="Limit for the observed value.")
    margin: float | None = Field(
        title="Margin", description="Margin to the limit in its unit; negative beyond it, null without a number."
    )
    rests_on: list[str] = Field(description=_RESTS_ON)
    source: str = Field(description="Sources of the rule and of deciding table rows.")
    confidence: str | None = Field(
        description="That of the least sure deciding row; null for none.", examples=["standard"]
    )
    message: str = Field(description="Message with the observed value and the limit.")
    remedy: str = Field(description="What to do.")


class Undecided(Out):
    """Rule that applies to the stack but lacks data."""

    code: str = Field(description="Stable code of the rule.", examples=["SPD-020"])
    severity: Annotated[Severity, OPEN] = Field(description="Severity if violated.")
    title: str = Field(description="Title of the rule.")
    operation: str | None = Field(description="Id of the operation; null if it concerns the stack as such.")
    at: list[Pointer] = Field(description="Request fields that the rule would judge.")
    lacks: list[MissingQuantity] = Field(description="Quantities that the rule lacks.")


class NotJudged(Out):
    """Rule that has nothing to judge here."""

    code: str = Field(description="Stable code of the rule.", examples=["KNOB-010"])
    title: str = Field(description="Title of the rule.")
    reason: str = Field(description="Why there is nothing to judge.")


class LabelReport(Out):
    """Label of the stack or of a component."""

    component: str | None
    name: str
    text: str


class UnderstoodDesignation(Out):
    """Designation of an end or name of a part, and what it was understood as."""

    at: Pointer
    designation: str = Field(description="Designation as stated.", examples=["HSK-A63"])
    became: str | None = Field(description="What the operator's alias file makes of it; null for none.")
    understood_as: str | None = Field(title="Understood as", description="Its meaning; null if it is not known.")
    left_open: str | None = Field(title="Left open", description="What it does not say; null for nothing.")


class AssumedRange(Out):
    """Result at typical and at cautious values of everything that is assumed."""

    quantity: str = Field(description="Name of the result.", examples=["runout_tir"])
    plane: str | None = Field(description="Plane of a runout; null for other results.")
    joint: JointEnds | None
    operation: str | None = Field(description="Operation; null for the stack.")
    typical: float | None = Field(title="Typical", description="With typical values.")
    cautious: float | None = Field(title="Cautious", description="With cautious values.")
    limit: float | None = Field(title="Against", description="Limit of operation or machine; null for none.")
    unit: str = Field(description="UCUM code of the unit.", examples=["um"])


class StandardValue(Out):
    """Value that a standard states and the request does not."""

    id: str = Field(description="Id, to which `rests_on` refers.", examples=["S1"])
    at: Pointer
    quantity: str = Field(description="Name of the quantity.", examples=["runout_tir"])
    value: float | str = Field(description="Value that the standard states.")
    unit: str | None = Field(description="UCUM code of the unit; null for a text.")
    source: str = Field(description="Standard, edition, and table or class.")
    confidence: str = Field(description="Confidence in the value.", examples=["standard"])
    used_by: list[str] = Field(description="Codes of the rules that use it.")


class Assumption(Out):
    """Value that is assumed because neither the request nor a standard states it."""

    id: str = Field(description="Id, to which `rests_on` refers.", examples=["A1"])
    at: Pointer
    quantity: str = Field(description="Name of the quantity.", examples=["joint_stiffness"])
    subject: str | None = Field(description="Component, or joint as 'upper/lower'; null if not named.")
    category: str | None = Field(description="Category of component or joint that the value is for; null for any.")
    value: float | str = Field(description="Assumed value.")
    low: float | None = Field(description="Low end of the likely range.")
    high: float | None = Field(description="High end of the likely range.")
    unit: str | None = Field(description="UCUM code of the unit; null for a text.")
    set: str = Field(description="Set of assumptions that the value is from.")
    source: str = Field(description="Source of the value.")
    confidence: str = Field(description="Confidence in the value.", examples=["common_practice"])
    dependence: float | None = Field(
        description="How much a decision depends on the value, 1; from 1 on it decides; null if not known."
    )
    used_by: list[str] = Field(description="Codes of the rules that use it.")


class Summary(Out):
    """Numbers of findings by severity, of undecided and decided rules, and of assumed values."""

    errors: int = Field(description="Number of errors.")
    warnings: int = Field(description="Number of warnings.")
    advice: int = Field(description="Number of advices.")
    undecided: int = Field(description="Number of undecided rules.")
    decided: int = Field(description="Number of rules decided everywhere.")
    assumed: int = Field(description="Number of assumed values.")


class PositionReport(Out):
    """Axial position of a component from the datum of the section, positive toward the cut."""

    component: str = Field(title="Part", description="Id of the component.")
    from_mm: float | None = Field(title="From", description="Its end on the spindle side, mm.")
    to_mm: float | None = Field(title="To", description="Its end on the side of the cut, mm.")


class GeometryReport(Out):
    """Axial positions of the stack, positive toward the cut."""

    datum: Literal["gauge_line"] = Field(description="Datum of the positions in this section.")
    last_clamping_face_mm: float | None = Field(
        title="Last clamping face from the gauge line",
        description="Distance of the last clamping face from the gauge line, mm.",
    )
    tip_mm: float | None = Field(
        title="Projection from the gauge line", description="Distance of the cutting tip from the gauge line, mm."
    )
    tip_from_last_clamping_face_mm: float | None = Field(
        title="Projection from the last clamping face",
        description="Distance of the cutting tip from the last clamping face, mm.",
    )
    components: list[PositionReport]


class ContributorReport(Out):
    """Contributor to the runout.

    Its amplitude, half the TIR, is linear along the axis: offset + slope × distance from the gauge line, in two
    components, along and across. The across component is zero if the direction relative to other contributors is not
    known. Before the plane of a single statement it is that of the plane.
    """

    id: str = Field(
        description="Stable name of the contributor: its kind with its component or joint.",
        examples=["part_runout:collet", "clearance:holder/mill"],
    )
    kind: Annotated[ContributorKind, OPEN] = Field(description="Cause of the runout.")
    component: str | None = Field(description="Component that contributes; null for a joint and for the spindle.")
    joint: JointEnds | None = Field(description="Joint that contributes; null for a component and for the spindle.")
    text: str = Field(title="Contributor", description="Contributor in words.", examples=["runout of collet-1"])
    law: Annotated[Literal["limit", "capability", "measured"], OPEN] = Field(
        title="Basis", description="Meaning of the stated runout: a limit, a process capability or a measured value."
    )
    direction_known: bool = Field(
        title="Direction", description="Whether the direction was measured, so that it adds as a vector."
    )
    rests_on: list[str] = Field(description=_RESTS_ON)
    offset_um: float = Field(description="Amplitude at the gauge line, with sign, µm.")
    offset_across_um: float = Field(description="Amplitude at the gauge line across that direction, with sign, µm.")
    slope_um_per_mm: float = Field(description="Change of the amplitude along the axis, µm/mm.")
    slope_across_um_per_mm: float = Field(
        description="Change of the amplitude along the axis across that direction, µm/mm."
    )
    tir_um: dict[str, float] = Field(description="TIR of this contributor alone by plane, µm.")
    share: dict[str, float] = Field(
        description="Share of the mean square runout by plane, 0 to 1; negative if a known direction reduces it; empty"
        " if a contributor is not known."
    )


class PlaneReport(Out):
    """Predicted total indicator reading at one plane."""

    plane: str = Field(
        title="Plane",
        description="Name of the plane; the planes of a request are plane_1, plane_2 and so on, in its order."
        " reading_plane: plain shank to read where the gauge plane is on the flutes.",
        json_schema_extra={KNOWN_VALUES: ["gauge_plane", "tip", "reading_plane"]},
    )
    from_gauge_line_mm: float = Field(
        title="From the gauge line", description="Distance from the gauge line toward the cut, mm."
    )
    from_last_clamping_face_mm: float | None = Field(
        title="From the last clamping face",
        description="Distance from the last clamping face toward the cut, mm; null if the face has no position.",
    )
    readable: bool | None = Field(
        title="Readable",
        description="Whether an indicator meets a round surface here, the plain tool; null if not known.",
    )
    predictions: list[RunoutPrediction] = Field(
        description="Predictions; none if a contributor is not known. The worst case is absent if a contributor has no"
        " hard limit."
    )

    def prediction(self, of: PredictionName = "assemblies") -> RunoutPrediction | None:
        """Return a prediction by its subject; None if there is none. Not part of the JSON."""
        return next((one for one in self.predictions if one.of == of), None)

    def quantile_um(self, name: str, of: PredictionName = "assemblies") -> float | None:
        """Return a quantile of a prediction, TIR in µm; None if it is not known. Not part of the JSON."""
        found = self.prediction(of)
        return None if found is None else found.quantiles_um.get(name)


class RunoutReport(Out):
    """Runout of the stack."""

    complete: bool = Field(
        description="False if a contributor is not known; the true runout is then larger than that of the others."
    )
    not_stated: list[MissingQuantity]
    planes: list[PlaneReport] = Field(description="Planes with a known position.")
    contributors: list[ContributorReport] = Field(description="Known contributors from the spindle side.")

    def plane(self, name: str) -> PlaneReport | None:
        """Return a plane by its name; None if it has no position. Not part of the JSON."""
        return next((one for one in self.planes if one.plane == name), None)


class OperationRunout(Out):
    """Runout limit of an operation and the share of assemblies within it."""

    plane: Annotated[Literal["gauge_plane", "tip"], OPEN] = Field(
        title="Measuring plane", description="Plane of the runout limit."
    )
    limit_um: float = Field(title="Runout limit", description="Runout limit of the operation, TIR in µm.")
    probability_within_limit: dict[str, float] = Field(
        title="Within the limit",
        description="Share within the limit, 0 to 1, by subject of the prediction: 'assemblies', 'parts_at_limits';"
        " empty if a contributor is not known.",
    )


class OperationGrip(Out):
    """Grip on a straight shank in an operation."""

    joint: JointEnds = Field(title="Joint", description="Joint of the grip.")
    torque_capacity_n_m: Estimate | None = Field(
        title="Torque capacity", description="Torque capacity at this grip length and the programmed speed, N·m."
    )
    axial_capacity_n: Estimate | None = Field(
        title="Axial capacity", description="Axial capacity at this grip length and the programmed speed, N."
    )
    safety_factor: Estimate | None = Field(
        title="Safety factor against slip",
        description="Safety factor against slip under torque and pull-out force together.",
    )
    weakest: bool = Field(
        title="Lowest safety factor",
        description="Whether this joint has the lowest safety factor; false if one is not known.",
    )
    interference_at_speed_um: float | None = Field(
        title="Minimum interference at speed",
        description="Minimum interference of a shrink fit at the programmed speed, µm; at rest without a speed.",
    )
    least_pressure_mpa: Estimate | None = Field(
        title="Minimum contact pressure at speed",
        description="Contact pressure of a shrink fit at that interference, MPa.",
    )
    hub_stress_mpa: Estimate | None = Field(
        title="Von Mises stress at the bore",
        description="Von Mises stress at the bore of a shrink fit, maximum interference, programmed speed, MPa.",
    )
    holding_speed_rpm: Estimate | None = Field(
        title="Highest speed that holds the load",
        description="Speed at which a shrink fit just holds the cutting load, rpm; null if never.",
    )


class OperationBending(Out):
    """Deflection and excitation of the stack in an operation."""

    radial_force_n: float | None = Field(title="Radial force at the tip", description="Radial force at the tip, N.")
    deflection_um: Estimate | None = Field(
        title="Deflection of the tip", description="Deflection at the tip under the radial force, µm."
    )
    deflection_limit_um: float | None = Field(
        title="Permissible deflection", description="Permissible deflection of the operation, µm."
    )
    spindle_frequency_hz: float | None = Field(
        title="Spindle frequency", description="Programmed speed as a frequency, Hz."
    )
    tooth_passing_hz: float | None = Field(
        title="Tooth-passing frequency", description="Spindle frequency times the number of teeth, Hz."
    )


class OperationReport(Out):
    """What depends on one operation."""

    id: str = Field(description="Name of the operation.", examples=["10"])
    verdict: Verdict = Field(description="Verdict on the stack in this operation: its own findings and the stack's.")
    runout: OperationRunout | None = Field(description="Runout limit; null if none is stated.")
    speed: OperationSpeed = Field(description="Programmed speed and limits.")
    balance: OperationBalance = Field(description="Balance quality.")
    load: LoadReport = Field(description="Cutting load.")
    grip: list[OperationGrip] = Field(description="Grip of each straight shank under this load.")
    bending: OperationBending = Field(description="Deflection and excitation.")


class JudgementDeviation(Out):
    """Departure from the rulebooks of this version."""

    kind: Annotated[Literal["threshold", "severity", "rule", "off"], OPEN] = Field(
        description="'threshold', 'severity': another one is in force. 'rule': an operator's rulebook replaced the"
        " rule, which may be less strict. 'off': it switched the rule off."
    )
    code: str = Field(description="Code of the rule.", examples=["GRIP-080"])
    safety: bool = Field(description="Whether it is a safety rule.")
    threshold: str | None = Field(description="Name of the changed threshold; null for other deviations.")
    value: float | None = Field(title="Value in force", description="Changed threshold; null for other deviations.")
    default: float | None = Field(
        title="Value in the rulebook", description="Threshold of the rulebook; null for other deviations."
    )
    unit: str | None = Field(description="UCUM code of the threshold's unit; null for other deviations.")
    severity: Annotated[Severity, OPEN] | None = Field(description="Severity in force; null for other deviations.")
    default_severity: Annotated[Severity, OPEN] | None = Field(
        description="Severity of the rulebook; null for other deviations."
    )
    book: str | None = Field(description="Rulebook file that makes the change; null for the request's policy.")


class Provenance(Out):
    """Version, rulebooks and request behind the report."""

    contract: str = Field(title="Contract", description="Version of the contract.", examples=["1.0"])
    service: str = Field(description="Name of the service.", title="Service")
    version: str = Field(title="Version")
    rulebooks: list[str] = Field(title="Rulebooks", description="Names of the rulebooks in force.")
    rulebook_sha256: str = Field(title="Rulebooks, SHA-256")
    judgement_sha256: str = Field(
        title="Judgement, SHA-256", description="SHA-256 of all that judges: rules, tables, source code and libraries."
    )
    catalogue_sha256: str | None = Field(
        title="Catalogue, SHA-256", description="SHA-256 of the mounted catalogue; null without a catalogue."
    )
    aliases_sha256: str | None = Field(title="Aliases, SHA-256", description="SHA-256 of the alias file, or null.")
    assumption_set: str | None = Field(description="Name of the set of assumptions; null if nothing is assumed.")
    assumption_set_sha256: str | None = Field(
        title="Assumption set, SHA-256", description="Its digest, of a shop's own set; null for the built-in one."
    )
    request_sha256: str = Field(
        title="Request, SHA-256",
        description="SHA-256 of the request as parsed: compact JSON, lengths in mm, unset fields left out.",
    )
    never_measured: list[str] = Field(
        title="Computed, never compared with a measurement",
        description="Computed quantities that no measurement has confirmed.",
    )
    deviations: list[JudgementDeviation] = Field(
        description="Changed thresholds, lowered severities and replaced rules, in this order."
    )


ALWAYS: Final = ("verdict", "if_assumptions_hold", "stack_id", "labels", "summary", "provenance")
"""Fields of every report; the other sections are there unless the request leaves them out."""


_EMPTY: Final[Mapping[str, Any]] = MappingProxyType(
    {
        **{name: [] for name in ("findings", "undecided", "decided", "not_judged", "understood")},
        **{name: [] for name in ("stated_by_standard", "assumptions", "ranges", "grip", "operations", "cautions")},
        "geometry": {**dict.fromkeys(GeometryReport.model_fields), "datum": "gauge_line", "components": []},
        "runout": {"complete": False, "not_stated": [], "planes": [], "contributors": []},
        "speed": {"limits": [], "governing": None, "complete": False},
        "balance": {**dict.fromkeys(BalanceReport.model_fields), "planes": []},
        "stiffness": {
            **dict.fromkeys(StiffnessReport.model_fields),
            **{name: [] for name in ("shares", "bending_frequencies_hz", "notes")},
        },
        "mass": {**dict.fromkeys(MassReport.model_fields), "components": []},
        "assembly": None,
    }
)
"""Sections that a request may leave out, with values that stand for them while the others are read."""


def _sections_optional(schema: dict[str, Any]) -> None:
    opened(schema)
    schema["required"] = list(ALWAYS)


class Report(Out):
    """Report of a check. Sections that the request leaves out are absent."""

    model_config = ConfigDict(json_schema_extra=_sections_optional)

    verdict: Verdict = Field(description="Verdict on the stack: the worst finding by the policy.")
    if_assumptions_hold: Verdict | None = Field(
        description="Verdict if every assumption holds; null if only stiffnesses are assumed."
    )
    stack_id: str | None = Field(description="Caller's name of the stack.")
    labels: list[LabelReport] = Field(description="Labels of the request, then of its components.")
    summary: Summary
    findings: list[Finding] = Field(description="Findings, errors first.")
    undecided: list[Undecided] = Field(description="Rules that lack data.")
    decided: list[str] = Field(
        title="Rules decided", description="Codes of rules that apply to the stack and were decided everywhere."
    )
    not_judged: list[NotJudged] = Field(description="Rules that have nothing to judge here, and why.")
    understood: list[UnderstoodDesignation] = Field(description="Designations and their meanings.")
    stated_by_standard: list[StandardValue] = Field(description="Values taken from standards.")
    assumptions: list[Assumption] = Field(description="Assumed values, the most decisive first.")
    ranges: list[AssumedRange] = Field(description="Results on assumptions, at both ends.")
    geometry: GeometryReport
    runout: RunoutReport
    speed: SpeedReport
    balance: BalanceReport
    grip: list[GripReport] = Field(description="Grip on each straight shank.")
    stiffness: StiffnessReport
    mass: MassReport
    operations: list[OperationReport] = Field(
        description="What depends on each operation, in the order of the request."
    )
    assembly: AssemblyReport | None = Field(
        description="Work instruction; absent unless requested.", exclude_if=lambda assembly: assembly is None
    )
    cautions: list[str]
    provenance: Provenance

    @model_validator(mode="wrap")
    @classmethod
    def _with_sections_left_out(cls, data: Any, handler: ModelWrapValidatorHandler[Report]) -> Report:
        """Read a report whose request left sections out: they are no attributes of it, but for the assembly, None."""
        absent = [name for name in _EMPTY if name not in data] if isinstance(data, dict) else []
        if not absent:
            return handler(data)
        return handler({**data, **{name: _EMPTY[name] for name in absent}}).only(
            [name for name in _EMPTY if name not in absent or name == "assembly"]
        )

    def only(self, sections: Collection[str]) -> Report:
        """Return the report with these sections alone; for writing, since the others are gone."""
        fields = {name: value for name, value in self if name in ALWAYS or name in sections}
        return Report.model_construct(_fields_set=set(fields), **fields)

    @property
    def operation(self) -> OperationReport | None:
        """The first operation; None without one. Not part of the JSON."""
        return self.operations[0] if self.operations else None

    @property
    def label_line(self) -> str:
        """The labels in one line, such as ``cell: A; mill tool number: 12``. Not part of the JSON."""
        names = (one.name if one.component is None else f"{one.component} {one.name}" for one in self.labels)
        return "; ".join(f"{name}: {one.text}" for name, one in zip(names, self.labels, strict=True))

    @property
    def lowest_limit(self) -> SpeedLimit | None:
        """The lowest speed limit of stack and operations; None without one. Not part of the JSON."""
        found = [one.governing for one in (self.speed, *(one.speed for one in self.operations)) if one.governing]
        return min(found, key=lambda one: one.speed_rpm.value, default=None)

    @property
    def speed_complete(self) -> bool:
        """Whether every applicable speed limit is known. Not part of the JSON."""
        return self.speed.complete and all(one.speed.complete for one in self.operations)
