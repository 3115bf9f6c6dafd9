"""Request of a check: stack with joints, machine, operation and policy."""

from __future__ import annotations

from typing import Annotated, Final, Literal, get_args

from pydantic import Field, StringConstraints

from rules.couplings.sides import SpindleSide
from rules.quantities.models import (
    CuttingSpeed,
    Force,
    Frequency,
    Identifier,
    Key,
    Length,
    Mass,
    Microns,
    Model,
    PositiveLength,
    SpeedRpm,
    Stiffness,
    Stress,
    Text,
    Token,
    Torque,
)
from rules.schema.components import ABOUT_LABELS, Definitions, HeadAngle, Labels, Runout, StackEntry

__all__ = [
    "DEFAULT_POLICY",
    "MAX_ASSEMBLIES",
    "MAX_COMPONENTS",
    "MAX_OPERATIONS",
    "NO_OPERATION",
    "SECTIONS",
    "AssumptionSet",
    "AxialPosition",
    "BalanceGrade",
    "CalibratedClass",
    "CheckRequest",
    "Consequence",
    "Cut",
    "Datum",
    "HoleCut",
    "Joint",
    "Limits",
    "Machine",
    "MachineEntry",
    "MachineReference",
    "Milling",
    "Operation",
    "Operations",
    "Policy",
    "RunoutLimit",
    "RunoutPlane",
    "ScaledLaw",
    "ScaledQuantity",
    "Section",
    "Sha256",
    "Stack",
    "StackRequest",
    "StatedLoad",
    "ThresholdOverride",
]


MAX_COMPONENTS = 20


class Joint(Model):
    """Settings of the joint between two neighbouring components."""

    upper: Identifier = Field(
        description="Component on the spindle side; 'spindle' for the spindle itself.", examples=["c2"]
    )
    lower: Identifier = Field(description="Component on the cutting side.", examples=["em"])
    grip_length_mm: PositiveLength | None = Field(None, description="Clamped length of the shank, mm.", examples=[20])
    projection_mm: Length | None = Field(
        None,
        description="Projection of the lower component from the upper one's face, mm.",
        examples=[30],
    )
    radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Radial stiffness of the joint, N/µm; else assumed.", examples=[40]
    )
    tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Tilting stiffness of the joint, N·m/mrad; else assumed.", examples=[25]
    )
    clocking_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        None, description="Angle of the lower component's mark from the upper one's, degrees.", examples=[90]
    )
    tightening_torque_n_m: Torque | None = Field(
        None,
        description="Tightening torque for this joint, N·m, in place of a part's or of common practice.",
        examples=[136],
    )
    projection_tolerance_mm: PositiveLength | None = Field(
        None, description="Permissible deviation of grip and projection to either side, mm; else common practice."
    )


class Stack(Model):
    """Components in order, with their joints."""

    id: Identifier | None = Field(None, description="The caller's name for the stack.", examples=["T-0417"])
    description: Text | None = None
    components: list[StackEntry] = Field(
        min_length=1, max_length=MAX_COMPONENTS, description="Components from the spindle side to the cutting side."
    )
    joints: list[Joint] | None = Field(
        None,
        max_length=MAX_COMPONENTS,
        description="Settings of joints; joints without settings may be left out.",
    )
    length_tolerance_mm: PositiveLength | None = Field(
        None,
        description="Permissible deviation of the length from gauge line to tip to either side, mm; else common"
        " practice.",
        examples=[0.2],
    )
    tap_test_hz: Frequency | None = Field(
        None, description="First natural frequency in bending, measured in the spindle, Hz.", examples=[980]
    )


class KnobDemand(Model):
    """Retention knob that the drawbar requires."""

    form: Token | None = Field(None, description="Form designation.", examples=["iso_7388_3_ad"])
    head_angle_deg: HeadAngle | None = Field(
        None, description="Angle of the gripping face to the axis, degrees.", examples=[45]
    )


class SpindleBearings(Model):
    """Bearings of the spindle, for the force of an unbalance on them."""

    front_mm: Length = Field(description="Front bearing behind the gauge line, mm.", examples=[60])
    spacing_mm: PositiveLength = Field(description="Distance of the rear bearing from the front one, mm.")
    dynamic_rating_n: Force | None = Field(None, description="Dynamic load rating of the front bearing, N.")


class Machine(Model):
    """Limits of the machine; limits not stated are not judged."""

    kind: Literal["stated"]
    id: Text | None = Field(None, description="The caller's name for the machine.", examples=["mill 3"])
    spindle: SpindleSide | None = Field(None, description="Taper of the spindle.")
    retention_knob: KnobDemand | None = Field(None, description="Retention knob that the drawbar requires, if any.")
    max_speed_rpm: SpeedRpm | None = Field(None, description="Highest spindle speed, rpm.", examples=[15000])
    max_tool_mass_kg: Mass | None = Field(None, description="Largest mass of tool with holder, kg.", examples=[8])
    max_tool_length_mm: PositiveLength | None = Field(
        None, description="Largest projection from the gauge line, mm.", examples=[300]
    )
    max_tool_diameter_mm: PositiveLength | None = Field(None, description="Largest tool diameter, mm.", examples=[80])
    tool_changer: bool | None = Field(None, description="Whether a tool changer loads the spindle.")
    max_tilting_moment_n_m: Torque | None = Field(
        None, description="Tool changer's moment limit about the gauge line, N·m.", examples=[12]
    )
    max_torque_n_m: Torque | None = Field(None, description="Spindle torque limit, N·m.", examples=[80])
    max_feed_force_n: Force | None = Field(None, description="Feed force limit of the spindle axis, N.")
    synchronous_tapping: bool | None = Field(None, description="Whether the feed follows the spindle (rigid tapping).")
    max_power_kw: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        None, description="Spindle power limit, kW.", examples=[15]
    )
    spindle_radial_stiffness_n_per_um: Stiffness | None = Field(
        None, description="Radial stiffness at the gauge line, N/µm; rigid if absent."
    )
    spindle_tilting_stiffness_n_m_per_mrad: Stiffness | None = Field(
        None, description="Tilting stiffness at the gauge line, N·m/mrad; rigid if absent."
    )
    bearings: SpindleBearings | None = Field(None, description="Bearings of the spindle.")
    drawbar_force_n: Force | None = Field(None, description="Clamping force of the drawbar, N.", examples=[18000])
    coolant_through: bool | None = Field(
        None, description="Whether the spindle supplies through-coolant.", examples=[True]
    )
    spindle_runout: Runout | None = Field(
        None,
        description="Runout of a test bar in the spindle, distances from the gauge line; absent for a bench gauge.",
    )


BalanceGrade = Literal["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"]

WorkMaterial = Literal[
    "s235",
    "e295",
    "c45",
    "c60",
    "16mncr5",
    "42crmo4",
    "x5crni18_10",
    "grey_cast_iron_250",
    "wrought_aluminium",
    "cast_aluminium",
    "ti6al4v",
    "p1",
    "p2",
    "p3",
    "p5",
    "p6",
    "p7",
    "p8",
    "p9",
    "p10",
    "p11",
    "p12",
    "p13",
    "m14",
    "k15",
    "k16",
    "k17",
    "k18",
    "n21",
    "n22",
    "n23",
    "n24",
    "n25",
    "s31",
    "s32",
    "s33",
    "s34",
    "s35",
    "s36",
    "s37",
    "h38",
    "h39",
    "h40",
    "h41",
    "hrc45",
    "hrc48",
    "hrc50",
    "hrc52",
]
"""Work materials of the table; a letter with a number is the ISO 513 letter with the VDI 3323 group."""


class CatalogueEntry(Model):
    """Key of an entry of the mounted catalogue."""

    source: Literal["catalogue"] = Field(alias="from")
    key: Key = Field(description="Key of the machine.", examples=["mill-3"])


class MachineReference(Model):
    """Reference to a machine of the mounted catalogue."""

    kind: Literal["reference"]
    of: CatalogueEntry


MachineEntry = Annotated[Machine | MachineReference, Field(discriminator="kind")]
"""A machine with its limits, or a reference to one."""


class _Cut(Model):
    """What every cut states."""

    work_material: WorkMaterial | None = Field(None, description="Work material.")
    unit_specific_force_mpa: Stress | None = Field(
        None, description="k_c1.1 in place of the group's, MPa; for taps k_c."
    )


class _ThicknessCut(_Cut):
    thickness_exponent: Annotated[float, Field(ge=0, lt=1)] | None = Field(
        None, description="Exponent m_c in place of the group's."
    )
    radial_force_ratio: Annotated[float, Field(ge=0, le=2)] | None = Field(
        None, description="Radial over tangential force in place of the group's."
    )
    lead_angle_deg: Annotated[float, Field(ge=5, le=90)] | None = Field(
        None, description="Edge angle κ, degrees; default 90, for drills half the point angle."
    )


class Milling(_ThicknessCut):
    """Milling cut for computing force, torque and power; the operation has the feed per tooth."""

    kind: Literal["milling"]
    axial_depth_mm: PositiveLength | None = Field(None, description="Axial depth of cut a_p, mm.", examples=[6])
    radial_depth_mm: PositiveLength | None = Field(
        None, description="Radial depth of cut a_e, mm; at most the cutting diameter.", examples=[2]
    )
    tilt_deg: Annotated[float, Field(ge=0, le=90)] | None = Field(
        None, description="Tilt of a ball nose from the surface normal, degrees; default 0."
    )


class HoleCut(_ThicknessCut):
    """Drilling, reaming or boring; the feed per revolution is that per tooth times the teeth."""

    kind: Literal["drilling", "reaming", "boring"]
    existing_hole_mm: Length | None = Field(None, description="Diameter of the hole before, mm.")
    pilot_hole: bool | None = Field(None, description="Whether a pilot hole guides the drill.")


class Tapping(_Cut):
    """Tapping; the feed is the pitch of the tap."""

    kind: Literal["tapping"]


Cut = Annotated[Milling | HoleCut | Tapping, Field(discriminator="kind")]
"""Cut of any kind."""


RunoutPlane = Literal["gauge_plane", "tip"]

Coolant = Literal["through", "external", "none"]


class RunoutLimit(Model):
    """Runout limit at one plane."""

    plane: RunoutPlane | None = Field(None, description="Plane of the limit; default gauge plane.")
    tir_um: Microns = Field(description="Largest permissible total indicator reading, µm.", examples=[10])


class Limits(Model):
    """Limits of an operation."""

    runout: RunoutLimit | None = Field(None, description="Runout limit of the assembled tool.")
    balance_grade: BalanceGrade | None = Field(
        None, description="Required balance quality grade of ISO 21940-11.", examples=["G2.5"]
    )
    deflection_um: Microns | None = Field(
        None, description="Permissible deflection at the tip under the radial force, µm.", examples=[20]
    )


class StatedLoad(Model):
    """Cutting load stated by the caller, in place of the computed one."""

    torque_n_m: Torque | None = Field(None, description="Largest torque at the cutting tool, N·m.", examples=[12])
    axial_pull_n: Force | None = Field(None, description="Largest axial pull-out force, N.", examples=[400])
    radial_force_n: Force | None = Field(None, description="Largest radial force at the tip, N.", examples=[250])


_NO_LIMITS: Final = Limits()
_NO_LOAD: Final = StatedLoad()


class Operation(Model):
    """Requirements of an operation; those not stated are not judged."""

    id: Token = Field(description="Name of the operation in the answer.", examples=["10"])
    spindle_speed_rpm: SpeedRpm | None = Field(None, description="Programmed spindle speed, rpm.", examples=[12000])
    cutting_speed_m_per_min: CuttingSpeed | None = Field(
        None,
        description="Programmed cutting speed at the cutting diameter, m/min, in place of the spindle speed.",
        examples=[160],
    )
    feed_per_tooth_mm: Annotated[float, Field(ge=1e-6, le=20)] | None = Field(
        None, description="Feed per tooth, mm.", examples=[0.05]
    )
    coolant: Coolant | None = Field(None, description="Coolant supply to the cut.", examples=["through"])
    limits: Limits | None = Field(None, description="Limits that the stack must meet.")
    cut: Cut | None = Field(None, description="Cut, for computing the cutting load.")
    load: StatedLoad | None = Field(None, description="Cutting load, in place of the computed one.")

    @property
    def stated_limits(self) -> Limits:
        """The limits, an empty set where none is stated."""
        return self.limits or _NO_LIMITS

    @property
    def stated_load(self) -> StatedLoad:
        """The load, an empty one where none is stated."""
        return self.load or _NO_LOAD

    @property
    def runout_limit_um(self) -> float | None:
        """Runout limit, TIR in µm; None where none is stated."""
        limit = self.stated_limits.runout
        return None if limit is None else limit.tir_um

    @property
    def runout_limit_at(self) -> RunoutPlane:
        """Plane of the runout limit."""
        limit = self.stated_limits.runout
        return "gauge_plane" if limit is None or limit.plane is None else limit.plane


MAX_OPERATIONS: Final = 20
"""Most operations of one stack."""

Operations = Annotated[list[Operation], Field(max_length=MAX_OPERATIONS)]
"""Operations that one stack does."""

Datum = Literal["gauge_line", "last_clamping_face"]


class AxialPosition(Model):
    """Position on the axis, counted toward the cut."""

    datum: Datum = Field(
        description="Where the distance counts from: the spindle's gauge line or the last clamping face."
    )
    distance_mm: Length = Field(description="Distance from the datum, mm.", examples=[36])


RuleCode = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2,5}-[0-9]{3}$")]


class ThresholdOverride(Model):
    """Threshold of a rule, changed."""

    code: RuleCode = Field(description="Code of the rule.", examples=["OVH-010"])
    threshold: Token = Field(description="Name of the threshold.", examples=["max_length_to_diameter"])
    value: float = Field(description="Value in the unit of the threshold.", examples=[5])


MAX_THRESHOLDS: Final = 1000


Consequence = Literal["review", "fail"]
"""Verdicts of a stack with a warning or an undecided rule."""


Unstated = Literal["undecided", "typical", "cautious"]
"""What counts for a value that is not stated."""


Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256, 64 lower-case hexadecimal digits.")]

ScaledLaw = Literal["limit", "capability"]
"""Laws of the runout of a class of parts."""

ScaledQuantity = Literal["holder_runout_um", "collet_runout_um", "cutter_runout_um"]
"""Runouts of the table of assumed values that readings can calibrate."""

Scale = Annotated[float, Field(ge=0.001, le=10_000)]
"""Scale of the runout of a class of parts, TIR in µm."""

MAX_CLASSES: Final = 50

MAX_ASSEMBLIES: Final = 1000
"""Most assemblies of one calibration."""


class CalibratedClass(Model):
    """Runout of one class of parts, from a shop's readings."""

    quantity: ScaledQuantity = Field(description="Quantity of the table of assumed values.")
    category: Text = Field(description="Class of the part in that table.", examples=["hydraulic"])
    law: ScaledLaw = Field(description="Meaning of the values: a limit, or what 95 % of parts keep.")
    typical: Scale = Field(description="Value that predicts the 95th percentile of new assemblies, TIR in µm.")
    cautious: Scale = Field(description="95th percentile of the posterior, TIR in µm.")
    assemblies: Annotated[int, Field(ge=1, le=MAX_ASSEMBLIES)] = Field(description="Assemblies read with such a part.")


class AssumptionSet(Model):
    """Assumed values of a shop, as a calibration returns them; unchanged, a check takes them back."""

    name: Token = Field(description="Name of the set.", examples=["KB-2031-06"])
    classes: list[CalibratedClass] = Field(min_length=1, max_length=MAX_CLASSES, description="Classes of parts.")
    assemblies: Annotated[int, Field(ge=1, le=MAX_ASSEMBLIES)] = Field(description="Assemblies that it rests on.")
    input_sha256: Sha256 = Field(description="Digest of the readings, whatever their order.")
    sha256: Sha256 = Field(
        description="SHA-256 of the set without this field, as JSON by RFC 8785: sorted keys, no spaces."
    )


class Policy(Model):
    """Effect of undecided rules and warnings on the verdict, and changed thresholds."""

    on_undecided: Consequence = Field("review", description="Verdict of a stack with an undecided rule; never pass.")
    on_warning: Consequence = Field("review", description="Verdict of a stack with a warning.")
    gauge_plane_diameters: Annotated[float, Field(ge=0, le=50)] = Field(
        3.0,
        description="Distance of the gauge plane from the last clamping face in cutting diameters;"
        " 3 is common practice.",
    )
    flute_bending_ratio: Annotated[float, Field(ge=0.3, le=1)] = Field(
        0.8,
        description="Equivalent bending diameter of the fluted part divided by its outer diameter; 0.8 after"
        " Kops and Vo (1990), from memory.",
    )
    edge_wear: Annotated[float, Field(ge=1, le=2)] = Field(
        1.3,
        description="Force of worn over sharp edges, for the grip; 1.3 at the end of tool life.",
    )
    slip_fit: Literal["maximum", "mean"] = Field(
        "maximum", description="Clearance of a slip fit that counts as runout: maximum by its limits, or mean."
    )
    judged_runout: Literal["assemblies", "parts_at_limits"] = Field(
        "assemblies", description="Prediction of the runout that the rules judge."
    )
    unstated: Unstated = Field(
        "undecided",
        description="What is not stated: undecided, or assumed at its typical or cautious value.",
    )
    assumption_set: AssumptionSet | None = Field(
        None,
        description="Assumed values of the shop, in place of the table's; only with 'unstated' typical or cautious.",
    )
    thresholds: list[ThresholdOverride] | None = Field(
        None, max_length=MAX_THRESHOLDS, description="Changed thresholds; the report lists them."
    )


DEFAULT_POLICY: Final = Policy()


class StackRequest(Model):
    """Stack, with optional operations, machine and policy."""

    stack: Stack
    components: Definitions | None = Field(None, description="Component definitions by key, for references.")
    machine: MachineEntry | None = Field(None, description="Machine; if absent, its limits are not judged.")
    gauge_plane: AxialPosition | None = Field(
        None, description="Gauge plane, in place of the policy's multiple of the cutting diameter."
    )
    operations: Operations | None = Field(None, description="Operations; if absent, only the stack itself is judged.")
    labels: Labels | None = Field(None, description=ABOUT_LABELS)
    policy: Policy | None = Field(
        None, description="Warnings, undecided rules and thresholds; defaults apply if absent."
    )


Section = Literal[
    "findings",
    "undecided",
    "decided",
    "not_judged",
    "understood",
    "stated_by_standard",
    "assumptions",
    "ranges",
    "geometry",
    "runout",
    "speed",
    "balance",
    "grip",
    "stiffness",
    "mass",
    "operations",
    "assembly",
    "cautions",
]
"""Sections of the report that can be chosen; verdict, stack, summary and provenance are always there."""

SECTIONS: Final[tuple[Section, ...]] = get_args(Section)


class CheckRequest(StackRequest):
    """Stack to check, with optional operations, machine and policy."""

    include: list[Section] | None = Field(
        None,
        max_length=20,
        description="Sections of the report; by default all but the work instruction ('assembly', which brings"
        " 'cautions'), since it adds a quarter to the computing time.",
        examples=[["findings", "undecided", "runout", "assembly"]],
    )

    @property
    def sections(self) -> frozenset[Section]:
        """Sections of the report; no work instruction without its cautions."""
        return (
            frozenset(name for name in SECTIONS if name != "assembly")
            if self.include is None
            else frozenset(self.include).union(("cautions",) if "assembly" in self.include else ())
        )

    def with_assembly(self) -> CheckRequest:
        """Return the request of the whole report, the work instruction included."""
        return self.model_copy(update={"include": list(SECTIONS)})


NO_OPERATION: Final = Operation(id="none")
"""An operation without requirements."""
