"""Request and report of a runout reading."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import (
    OPEN,
    Identifier,
    Length,
    MissingQuantity,
    Model,
    Out,
    Reading,
    SignedReading,
    Text,
)
from rules.schema.components import Definitions
from rules.schema.report import JointEnds, PlaneReport, Provenance
from rules.schema.request import MachineEntry, Policy, Stack

__all__ = [
    "AxisReport",
    "Cause",
    "Conformity",
    "DecisionReport",
    "DialPlane",
    "DialPoint",
    "Instrument",
    "NextStep",
    "Plane",
    "PlaneReading",
    "PredictedPlane",
    "RangePlane",
    "ReadSurface",
    "ReadingReport",
    "ReadingRequest",
    "ReadingRule",
    "ReadingUncertainty",
    "Readings",
    "StepPlane",
    "Trial",
    "TrialReport",
    "UncertaintyPart",
]

Angle = Annotated[float, Field(ge=-360, le=360)]

Readings = Annotated[list[SignedReading], Field(min_length=3, max_length=360)]

ReadSurface = Literal["pin", "plain_shank", "margin", "flutes"]

ReadingRule = Literal["iso_14253_1_1998", "iso_14253_1_2013", "iso_14253_1_2017"]


class Instrument(Model):
    """Indicator with which the planes were read."""

    name: Text | None = Field(None, description="Name or serial number.", examples=["indicator 07"])
    calibration_due: Text | None = Field(None, description="Day until which its calibration holds.")
    expanded_uncertainty_um: Reading | None = Field(
        None, description="Expanded uncertainty of one reading, k = 2, µm, from its calibration.", examples=[1]
    )
    resolution_um: Reading | None = Field(None, description="Smallest step read, µm.", examples=[1])
    lever_angle_deg: Annotated[float, Field(ge=0, le=60)] | None = Field(
        None, description="Angle of a lever to the surface, degrees: a reading counts times its cosine."
    )
    lever_uncertainty_deg: Annotated[float, Field(ge=0, le=30)] | None = Field(
        None, description="Uncertainty of that angle, k = 2, degrees."
    )
    positive: Literal["outward", "inward"] | None = Field(
        None, description="Where the surface moves when the reading rises; taken as outward if absent."
    )


class _Plane(Model):
    distance_mm: Length = Field(
        description="Distance from the last clamping face, mm; without a stack, from any face common to all planes.",
        examples=[24],
    )
    surface: ReadSurface | None = Field(None, description="What the indicator touches.")
    roundness_um: Reading | None = Field(
        None, description="Roundness of that surface, range in µm; a gauge pin of the stack may state its own."
    )


class _Turned(_Plane):
    closing_um: SignedReading | None = Field(
        None, description="First angle read again after the turn, µm: shows the drift, which is removed."
    )
    repeats_um: list[Readings] | None = Field(
        None, max_length=20, description="The same angles read again after reseating the stack, µm."
    )
    reversed_um: Readings | None = Field(
        None, description="The same angles with the pin turned by 180° in its seat, µm: separates the pin's own runout."
    )


class DialPoint(Model):
    """Dial reading at one angle."""

    angle_deg: Angle = Field(
        description="Spindle angle of the reading, degrees; also the direction on the part that faces the dial.",
        examples=[90],
    )
    reading_um: SignedReading = Field(description="Dial reading, µm.", examples=[4])


class DialPlane(_Turned):
    """Dial readings at stated angles."""

    kind: Literal["dial"]
    points: list[DialPoint] = Field(description="Readings with their angles.", min_length=3, max_length=360)


class StepPlane(_Turned):
    """Dial readings at equal angles over a full turn, the first at 0°."""

    kind: Literal["equal_steps"]
    readings_um: list[SignedReading] = Field(
        min_length=3, max_length=360, description="Dial reading, µm.", examples=[[4, 1, -2, 1]]
    )


class RangePlane(_Plane):
    """Total indicator reading of a continuous turn."""

    kind: Literal["range"]
    tir_um: Reading = Field(description="Largest minus smallest reading of one turn, µm.", examples=[6])


Plane = Annotated[DialPlane | StepPlane | RangePlane, Field(discriminator="kind")]


class Trial(Model):
    """Trial turn of one joint by a known angle; it separates the eccentricity on both sides of the joint."""

    upper: Identifier = Field(
        description="Component on the spindle side of the re-clocked joint.", examples=["collet-2"]
    )
    lower: Identifier = Field(description="Component that was re-clocked with all parts beyond it.", examples=["pin"])
    turned_deg: Angle = Field(
        description="Angle of the trial turn, degrees; positive toward larger angles of the readings, against the"
        " spindle's rotation while measuring.",
        examples=[180],
    )
    plane: Plane = Field(description="First plane, measured again.")


class ReadingRequest(Model):
    """Readings, limit and optionally the stack."""

    planes: list[Plane] = Field(
        min_length=1,
        max_length=2,
        description="One plane, or two at different distances; the limit applies to the first.",
    )
    trial: Trial | None = Field(None, description="Reading after a trial turn of a joint.")
    stack: Stack | None = Field(None, description="Measured stack, for comparison with its prediction.")
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    machine: MachineEntry | None = Field(
        None, description="Machine whose spindle held the stack; absent for a bench gauge."
    )
    policy: Policy | None = Field(None, description="Policy of the prediction; defaults apply if absent.")
    limit_um: Reading | None = Field(None, description="Runout limit, TIR in µm.", examples=[10])
    limit_at_mm: Length | None = Field(
        None,
        description="Distance of the plane of the limit from the last clamping face, mm; the first plane if absent.",
    )
    decision_rule: ReadingRule = Field(
        "iso_14253_1_2013",
        description="Edition of ISO 14253-1: guard band U (1998, 2013), or 1.65 standard uncertainties (2017).",
    )
    instrument: Instrument | None = Field(None, description="Indicator; its data give the uncertainty.")
    expanded_uncertainty_um: Reading | None = Field(
        None,
        description="Expanded uncertainty U of a TIR, k = coverage_factor, µm, in place of that from the instrument."
        " Without either neither decision is proven.",
        examples=[1.5],
    )
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = Field(2, description="Coverage factor k of all U.")
    times_cleaned: Annotated[int, Field(ge=0, le=100)] | None = Field(
        None, description="How often this stack was cleaned and reseated already."
    )
    pin_tir_um: Reading | None = Field(
        None, description="Gauge pin's own runout, max., TIR in µm, if no stack states it.", examples=[3]
    )


Cause = Literal["indicator", "resolution", "lever", "drift", "repeats", "pin", "stated"]


class UncertaintyPart(Out):
    """One cause of uncertainty."""

    cause: Annotated[Cause, OPEN]
    standard_um: float = Field(description="Standard uncertainty of the eccentricity along one axis, µm.")


class ReadingUncertainty(Out):
    """Expanded uncertainties of one plane."""

    coverage_factor: float = Field(description="Coverage factor k of all U.")
    parts: list[UncertaintyPart] = Field(description="Causes and their size.")
    tir_um: float | None = Field(
        description="U of the TIR, with the gauge pin, µm; null where the angles do not show the whole surface."
    )
    eccentricity_um: float | None = Field(
        description="U of the eccentricity, µm; radius of the circle around it where the direction is not known. Null"
        " where a form of unknown size may count as eccentricity."
    )
    high_point_deg: float | None = Field(
        description="U of the direction, degrees; null below twice the standard uncertainty of the eccentricity."
    )
    form_um: float | None = Field(description="U of the form deviation, µm; null where a form may be hidden.")


class PlaneReading(Out):
    """Result at one plane."""

    from_last_clamping_face_mm: float = Field(
        description="Distance from the last clamping face, mm; without a stack, from the face common to all planes."
    )
    tir_um: float = Field(description="Range of the readings, µm.")
    judged_tir_um: float = Field(
        description="TIR used for the decision, µm: the larger of the range and twice the eccentricity, because few"
        " points may miss the high point."
    )
    whole_turn: bool = Field(description="False if the readings do not cover a full turn; the true TIR may be larger.")
    eccentricity_um: float | None = Field(
        description="Eccentricity of the axis, µm, half its TIR; null if the readings do not give it."
    )
    high_point_deg: float | None = Field(
        description="Direction of the high point, 0 to 360°; null without eccentricity."
    )
    form_um: float | None = Field(
        description="Form deviation: range without eccentricity, µm; null with three angles, or if none stands out"
        " of the uncertainty of the readings."
    )
    edge_range_um: float | None = Field(description="On flutes: range of the heights of the edges read, µm.")
    hidden_lobes: list[int] = Field(
        description="Numbers of lobes, 2 to 7, of a form that these angles may miss or take for eccentricity."
    )
    at_least_um: float = Field(description="Runout that was seen, µm; non-conformity is judged by it.")
    at_most_um: float | None = Field(
        description="Runout that these angles leave possible, µm; conformity is judged by it. Null: no bound."
    )
    drift_um: float | None = Field(description="Closing reading less the first, µm; null if there is none.")
    repeat_scatter_um: float | None = Field(
        description="Standard deviation of the eccentricity along one axis over the repeats, µm; null without repeats."
    )
    pin_eccentricity_um: float | None = Field(
        description="The pin's own eccentricity, µm, removed from the reading; null without reversal."
    )
    outliers_deg: list[float] = Field(description="Angles whose reading is far off the others; they still count.")
    uncertainty: ReadingUncertainty | None = Field(description="Null if neither instrument nor U is stated.")


class AxisReport(Out):
    """Axis through two planes, extrapolated."""

    offset_um: float = Field(description="Eccentricity at the face, µm.")
    offset_deg: float | None = Field(description="Direction, degrees; null if the amount is zero.")
    tilt_um_per_mm: float = Field(description="Change of the eccentricity vector with distance, µm/mm.")
    tilt_deg: float | None = Field(description="Direction, degrees; null if the amount is zero.")
    tip_tir_um: float | None = Field(description="Expected TIR at the cutting tip, µm; null without a stack.")
    tilt_uncertainty_um_per_mm: float | None = Field(description="U of the tilt, µm/mm; null if not known.")
    tip_uncertainty_um: float | None = Field(description="U of the TIR at the tip, µm; null if not known.")


class PredictedPlane(PlaneReport):
    """Reading compared with the predicted distribution at its plane."""

    share_below: float = Field(
        description="Share of assemblies with every part at its limit that have less runout, 0 to 1."
    )
    above_p99: bool = Field(description="Whether the reading exceeds the 99th percentile of these assemblies.")


Conformity = Literal["conforms", "does_not_conform", "not_proven"]
"""Decisions of ISO 14253-1 on a reading."""


class DecisionReport(Out):
    """Decision by ISO 14253-1."""

    rule: ReadingRule
    stated_limit_um: float = Field(description="Limit as stated, for its own plane, µm.")
    limit_um: float = Field(
        description="Limit at the plane read, µm; converted by the ratio of the predicted 95th percentiles where the"
        " stated one is for another plane."
    )
    tir_um: float = Field(description="TIR for the decision, first plane, µm.")
    expanded_uncertainty_um: float | None = Field(
        description="Expanded uncertainty U of the runout that was seen or is possible, with the gauge pin, µm; null if"
        " not stated."
    )
    guard_band_um: float | None = Field(description="Guard band of the rule, µm; null without an uncertainty.")
    decision: Conformity
    would_settle: str | None = Field(description="Way to reach a decision if not proven.")


class TrialReport(Out):
    """Result of the trial turn, with the turn for the least runout."""

    joint: JointEnds
    before_joint_um: float = Field(description="Fixed part of the eccentricity, µm.")
    beyond_joint_um: float = Field(description="Part of the eccentricity that turns with the joint, µm.")
    turn_deg: float = Field(
        description="Further turn from the position after the trial, in the same direction; 0 to 360°, an index"
        " position if the joint is indexed."
    )
    leaves_tir_um: float = Field(description="Expected TIR after that turn, µm.")
    decision: DecisionReport | None = Field(
        description="Decision on the reading in the trial position; null without a limit."
    )


class NextStep(Out):
    """Next step."""

    action: Annotated[
        Literal["accept", "clean_and_reseat", "turn_joint", "use_precision_pin", "measure_better", "replace"], OPEN
    ]
    text: str
    joint: JointEnds | None = Field(description="Joint to re-clock, if stack or trial states it.")
    turn_deg: float | None = Field(
        description="Computed turn, direction as in the trial, degrees; null for a new trial."
    )


class ReadingReport(Out):
    """Report of a runout reading."""

    planes: list[PlaneReading]
    axis: AxisReport | None = Field(description="Axis; null with one plane or without directions.")
    prediction: list[PredictedPlane | None] = Field(description="Predictions by plane; null if not predictable.")
    not_stated: list[MissingQuantity] = Field(description="Data of the stack missing for a prediction.")
    trial: TrialReport | None = Field(
        description="Result of the trial turn; null without a trial or if inconclusive, see the notes."
    )
    decision: DecisionReport | None = Field(description="Decision at the first plane; null without a limit.")
    pin_may_explain: bool | None = Field(
        description="Whether the pin's own runout could explain the reading; null if not known."
    )
    notes: list[str] = Field(description="Notes on results that could not be determined.")
    next_step: NextStep
    cautions: list[str]
    provenance: Provenance
