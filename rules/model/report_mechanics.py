"""The parts of a report about speed, balance, mass, load, grip and stiffness."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.quantities.models import Out, Pointer

__all__ = [
    "BalanceReport",
    "BendingShare",
    "ComponentMass",
    "GripReport",
    "LoadReport",
    "MassReport",
    "ShrinkReport",
    "SpeedLimit",
    "SpeedReport",
    "StiffnessReport",
]


class SpeedLimit(Out):
    """One cause that limits the speed."""

    cause: Literal["component", "balance", "critical_speed", "shrink_fit", "machine", "cutting_speed"]
    component: str | None = Field(description="The component, or for a shrink fit the joint, it belongs to.")
    speed_rpm: float = Field(
        description="Highest speed it allows: of the critical speed the share that its rule allows; for a shrink fit"
        " where the grip meets what the cut asks, or is gone where the cut asks nothing."
    )


class SpeedReport(Out):
    """How fast the stack may turn."""

    asked_rpm: float | None
    limits: list[SpeedLimit] = Field(description="Lowest first.")
    governing: SpeedLimit | None
    margin_rpm: float | None = Field(description="Governing limit less the speed asked; negative beyond it.")
    margin_percent: float | None = Field(description="That margin in percent of the speed asked.")
    complete: bool = Field(description="False when a limit that applies is not known.")


class BalanceReport(Out):
    """Unbalance by ISO 21940-11, residuals and eccentric masses randomly clocked."""

    grade: str | None = Field(description="The grade asked.")
    unbalance_p95_gmm: float | None
    unbalance_worst_gmm: float | None
    permissible_gmm: float | None = Field(description="At the asked speed and grade.")
    highest_speed_rpm: float | None = Field(description="Highest speed at which the grade is kept, at p95.")
    quality_mm_per_s: float | None = Field(description="What the p95 unbalance amounts to at the asked speed, e·ω.")
    best_grade: str | None = Field(description="Finest grade kept at the asked speed.")
    rotating_force_n: float | None = Field(description="Force of the p95 unbalance at the asked speed.")
    couple_rms_g_mm2: float | None = Field(
        description="Couple of the unbalances about the gauge line, root mean square over all clockings, g·mm²."
    )
    couple_worst_g_mm2: float | None
    seating_gmm: float | None = Field(
        description="Unbalance one reseating in the spindle may bring: balancing below it is pointless."
    )


class ComponentMass(Out):
    """Mass properties of one component, stated or from its outline."""

    component: str
    mass_kg: float | None
    centre_of_mass_mm: float | None = Field(description="From the gauge line.")
    transverse_inertia_kg_mm2: float | None = Field(description="About a diameter through its own centre of mass.")


class MassReport(Out):
    """Mass of the stack."""

    total_kg: float | None
    centre_of_mass_mm: float | None = Field(description="From the gauge line.")
    transverse_inertia_kg_mm2: float | None = Field(description="About a diameter through the common centre of mass.")
    tilting_moment_n_m: float | None = Field(description="Of the weight about the gauge line, axis level.")
    components: list[ComponentMass]


class LoadReport(Out):
    """What the cut asks. Computed loads are those of a sharp cutter that runs true; wear adds a third or more."""

    source: Literal["stated", "milling"] | None = Field(
        description="'stated' where the request states torque or pull; null where nothing tells a load."
    )
    torque_n_m: float | None = Field(description="Largest torque in a revolution.")
    axial_pull_n: float | None = Field(description="Pull out of the clamp, of helical teeth.")
    radial_force_n: float | None = Field(description="Largest force across the axis.")
    power_kw: float | None = Field(description="At the spindle, mean of a milling cut.")
    mean_torque_n_m: float | None
    mean_chip_thickness_mm: float | None
    specific_force_mpa: float | None = Field(description="k_c at the mean chip thickness.")
    teeth_in_cut: float | None = Field(description="Mean number of teeth engaged.")
    removal_rate_mm3_per_min: float | None


class ShrinkReport(Out):
    """A shrink-fit joint after Lamé, interferences on the diameter after smoothing."""

    least_interference_um: float
    greatest_interference_um: float
    interference_at_speed_um: float = Field(description="What speed leaves of the least; at rest where none is asked.")
    least_pressure_mpa: float = Field(description="At that interference.")
    greatest_pressure_mpa: float = Field(description="At rest.")
    friction: float
    hub_stress_mpa: float = Field(description="Von Mises stress at the bore, greatest interference, asked speed.")
    yield_mpa: float | None
    opening_temperature_c: float | None = Field(
        description="Of the hub, the shank staying cold, with play to join. Hot metal burns: see the cautions."
    )
    release_speed_rpm: float | None = Field(description="Where the least interference is gone; null if never.")
    holding_speed_rpm: float | None = Field(description="Where the grip meets what the cut asks; null if never.")


class GripReport(Out):
    """How a straight shank is held."""

    joint: str
    at: list[Pointer]
    grip_length_mm: float | None
    minimum_grip_mm: float | None
    projection_mm: float | None
    basis: Literal["rating", "interference"] = Field(description="Where its capacity comes from.")
    torque_capacity_n_m: float | None = Field(description="At this grip length and the asked speed.")
    axial_capacity_n: float | None
    safety_factor: float | None = Field(description="Against torque and pull together.")
    weakest: bool = Field(description="The joint of the lowest safety factor, where all are known.")
    shrink_fit: ShrinkReport | None


class BendingShare(Out):
    """What one part has in the deflection of the tip."""

    name: str
    kind: Literal["component", "joint", "spindle"]
    share: float


class StiffnessReport(Out):
    """Bending of the stack as a stepped beam held at the gauge line."""

    tip_compliance_um_per_n: float | None
    tip_stiffness_n_per_um: float | None
    radial_force_n: float | None = Field(description="Force across the axis at the tip.")
    deflection_um: float | None = Field(description="Of the tip under that force.")
    deflection_limit_um: float | None
    shares: list[BendingShare] = Field(description="Where the deflection comes from; they add up to 1.")
    bending_frequencies_hz: list[float] = Field(description="First ones, lowest first; empty where not known.")
    critical_speed_rpm: float | None = Field(description="Speed of one turn a period of the first of them.")
    spindle_frequency_hz: float | None
    tooth_passing_hz: float | None
    notes: list[str] = Field(description="What the model leaves out.")
