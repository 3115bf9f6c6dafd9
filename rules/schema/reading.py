"""Reading the gauge: the request with the dial's readings, and what they tell."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.quantities.models import OPEN, Identifier, LackingFact, Length, Microns, Model, Out, SignedMicrons
from rules.schema.components import Definitions
from rules.schema.report import Provenance
from rules.schema.request import Machine, Policy, Stack

__all__ = [
    "AxisReport",
    "DecisionReport",
    "DialPlane",
    "DialPoint",
    "NextStep",
    "Plane",
    "PlaneReading",
    "PredictionReport",
    "RangePlane",
    "ReadingReport",
    "ReadingRequest",
    "StepPlane",
    "Trial",
    "TrialReport",
]

Angle = Annotated[float, Field(ge=-360, le=360)]


class _Plane(Model):
    distance_mm: Length = Field(
        description="From the last clamping face; without a stack, from any face that all planes share.", examples=[24]
    )


class DialPoint(Model):
    """The dial at one angle."""

    angle_deg: Angle = Field(
        description="Angle the spindle was turned to; it is also the direction on the part that faces the dial then.",
        examples=[90],
    )
    reading_um: SignedMicrons = Field(description="What the dial showed, µm.", examples=[4])


class DialPlane(_Plane):
    """The dial read at stated angles."""

    kind: Literal["dial"]
    points: list[DialPoint] = Field(min_length=3, max_length=360)


class StepPlane(_Plane):
    """The dial read at equal steps of a full turn, the first at 0°."""

    kind: Literal["equal_steps"]
    readings_um: list[SignedMicrons] = Field(
        min_length=3, max_length=360, description="What the dial showed, µm.", examples=[[4, 1, -2, 1]]
    )


class RangePlane(_Plane):
    """The total indicator reading alone."""

    kind: Literal["range"]
    tir_um: Microns = Field(description="Largest less smallest reading of a turn, µm.", examples=[6])


Plane = Annotated[DialPlane | StepPlane | RangePlane, Field(discriminator="kind")]


class Trial(Model):
    """One joint turned by a known angle, and the first plane read again: it tells both sides of the joint apart."""

    upper: Identifier = Field(description="Component above the turned joint.", examples=["collet-2"])
    lower: Identifier = Field(description="Component that was turned, with everything beyond it.", examples=["pin"])
    turned_deg: Angle = Field(
        description="Angle it was turned by, positive so that a mark on it moves to larger angles of the dial's"
        " readings: against the way the spindle is turned while reading.",
        examples=[180],
    )
    plane: Plane = Field(description="The first plane, read again.")


class ReadingRequest(Model):
    """What was read, on what, and against which limit."""

    planes: list[Plane] = Field(
        min_length=1,
        max_length=2,
        description="One plane, or two at different distances; the limit holds at the first.",
    )
    trial: Trial | None = None
    stack: Stack | None = Field(None, description="The stack that was read, to compare with its prediction.")
    components: Definitions | None = Field(None, description="Components defined once, for references to name.")
    machine: Machine | None = Field(None, description="The spindle it was read in; left out on a bench gauge.")
    policy: Policy | None = None
    limit_um: Microns | None = Field(None, description="Largest total indicator reading accepted.", examples=[10])
    expanded_uncertainty_um: Microns | None = Field(
        None,
        description="Expanded uncertainty U of a total indicator reading, k = 2. Without it nothing is proven.",
        examples=[1.5],
    )
    pin_tir_um: Microns | None = Field(
        None, description="What the pin or rod alone may read, where no stack says it.", examples=[3]
    )


class PlaneReading(Out):
    """What one plane tells."""

    distance_mm: float
    tir_um: float = Field(description="Range of the readings.")
    judged_tir_um: float = Field(
        description="What a full turn reads, and what is judged: the range of the readings, or twice the eccentricity"
        " where that is more, since few points miss the high one."
    )
    whole_turn: bool = Field(description="False where the readings don't go round: more may be read elsewhere.")
    eccentricity_um: float | None = Field(
        description="Of the axis; a reading changes by twice this over a turn. Null where the readings don't tell."
    )
    high_point_deg: float | None = Field(
        description="Direction of the high point, 0 to 360; null where there is no eccentricity."
    )
    form_um: float | None = Field(description="Range of what eccentricity does not explain: form of the surface.")


class AxisReport(Out):
    """The axis through two planes, carried on."""

    offset_um: float = Field(description="Eccentricity at the face.")
    offset_deg: float | None = Field(description="Its direction; null where there is none.")
    tilt_um_per_mm: float = Field(description="Growth of the eccentricity, as a vector, with the distance.")
    tilt_deg: float | None = Field(description="Its direction; null where there is none.")
    tip_tir_um: float | None = Field(
        description="Reading to expect at the cutting tip; null where no stack tells where it is."
    )


class PredictionReport(Out):
    """Where the reading lies in what was predicted for the plane."""

    z_mm: float = Field(description="From the gauge line.")
    p50_um: float = Field(description="Half of the assemblies read less.")
    p95_um: float = Field(description="95 % of the assemblies read less.")
    p99_um: float = Field(description="99 % of the assemblies read less.")
    share_below: float = Field(description="Share of assemblies predicted to read less than this one.")
    outside_99_percent: bool = Field(description="Whether this one reads more than 99 % of the assemblies.")


class DecisionReport(Out):
    """Decision by ISO 14253-1."""

    limit_um: float
    tir_um: float = Field(description="As judged at the first plane.")
    expanded_uncertainty_um: float | None
    decision: Literal["conforms", "does_not_conform", "not_proven"]
    would_settle: str | None = Field(description="What would decide it, where it is not proven.")


class TrialReport(Out):
    """What turning one joint told, and the turn that leaves least."""

    joint: str
    before_joint_um: float = Field(description="Eccentricity that does not turn with the joint.")
    beyond_joint_um: float = Field(description="Eccentricity that turns with it.")
    turn_deg: float = Field(
        description="Turn the joint by this from where it stands after the trial, in the sense of the trial;"
        " 0 to 360, one of its positions where the joint is indexed."
    )
    leaves_tir_um: float = Field(description="Total indicator reading to expect then.")


class NextStep(Out):
    """What to do now."""

    action: Annotated[
        Literal["accept", "clean_and_reseat", "turn_joint", "use_precision_pin", "measure_better", "replace"], OPEN
    ]
    text: str
    joint: str | None = Field(description="Joint to turn, where a stack or a trial names it.")
    turn_deg: float | None = Field(description="Turn that was worked out, as in the trial; null for a new trial.")


class ReadingReport(Out):
    """The answer to a reading."""

    planes: list[PlaneReading]
    axis: AxisReport | None = Field(description="Null with one plane, or where a plane tells no direction.")
    prediction: list[PredictionReport | None] = Field(description="One a plane; null where it cannot be predicted.")
    not_stated: list[LackingFact] = Field(description="What a prediction would need of the stack.")
    trial: TrialReport | None = Field(description="Null where none was given, or it tells nothing; see the notes.")
    decision: DecisionReport | None = Field(description="On the first plane; null without a limit.")
    pin_may_explain: bool | None = Field(description="Whether the pin alone could read this much; null if unknown.")
    notes: list[str] = Field(description="What could not be told, and why.")
    next_step: NextStep
    cautions: list[str]
    provenance: Provenance
