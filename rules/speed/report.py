"""The report's sections on speed, balance, mass, load, grip and stiffness.

What limits a speed, in words.
"""

from __future__ import annotations

from typing import Final

from rules.analysis import Derived, stated_minimum_grip
from rules.balance.analysis import UnbalanceSum
from rules.bending.report import stiffness_notes
from rules.cutting.analysis import CuttingLoad
from rules.cutting.formulas import MillingLoad
from rules.grip.analysis import Grip, weakest_of
from rules.grip.shrink import ShrinkJoint
from rules.quantities.missing import Lack, Maybe, known_or
from rules.quantities.models import made
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.components import Cutter
from rules.schema.report import (
    BalanceReport,
    BendingShare,
    ComponentMass,
    GripReport,
    LoadReport,
    MassReport,
    ShrinkReport,
    SpeedLimit,
    SpeedReport,
    StiffnessReport,
)
from rules.schema.request import Operation
from rules.speed.analysis import SpeedCause, critical_speed_of

__all__ = [
    "balance_section",
    "cause",
    "grip_section",
    "load_section",
    "mass_section",
    "speed_section",
    "stiffness_section",
]


_NOTHING_ASKED = Operation.model_validate({})


def _limit(one: SpeedCause, critical_share: float | None) -> SpeedLimit:
    speed = one.speed_rpm
    if one.cause == "critical_speed" and critical_share is not None:
        speed *= critical_share
    return made(SpeedLimit, cause=one.cause, component=one.component, speed_rpm=rounded(speed, "rpm"))


def speed_section(derived: Derived, critical_share: float | None) -> SpeedReport:
    """Every limit of the speed, lowest first; the lowest governs."""
    limits = [_limit(one, critical_share) for one in derived.speed_limits.causes]
    limits.sort(key=lambda limit: limit.speed_rpm)
    governing = limits[0] if limits else None
    asked = derived.speed if isinstance(derived.speed, float) else None
    margin = percent = None
    if governing is not None and asked is not None:
        margin = rounded(governing.speed_rpm - asked, "rpm")
        percent = rounded((governing.speed_rpm - asked) / asked * 100.0, "percent")
    return made(
        SpeedReport,
        asked_rpm=rounded_or_none(asked, "rpm"),
        limits=limits,
        governing=governing,
        margin_rpm=margin,
        margin_percent=percent,
        complete=derived.speed_limits.lacking is None,
    )


def balance_section(derived: Derived) -> BalanceReport:
    """Unbalance against the grade asked."""
    balance = derived.balance
    nothing = UnbalanceSum(0.0, None)
    unbalance, couple = known_or(balance.unbalance, None), known_or(balance.couple, None)
    return made(
        BalanceReport,
        grade=(derived.chain.request.operation or _NOTHING_ASKED).balance_grade,
        unbalance_p95_gmm=rounded_or_none(unbalance and unbalance.p95, "g mm"),
        unbalance_worst_gmm=rounded_or_none((unbalance or nothing).worst, "g mm"),
        permissible_gmm=rounded_or_none(balance.permissible_gmm, "g mm"),
        highest_speed_rpm=rounded_or_none(balance.highest_speed_rpm, "rpm"),
        quality_mm_per_s=rounded_or_none(balance.quality_mm_per_s, "mm/s"),
        best_grade=balance.best_grade if isinstance(balance.best_grade, str) else None,
        rotating_force_n=rounded_or_none(balance.rotating_force_n, "N"),
        couple_rms_g_mm2=rounded_or_none(couple and couple.rms, "g mm2"),
        couple_worst_g_mm2=rounded_or_none(couple and couple.worst, "g mm2"),
        seating_gmm=rounded_or_none(balance.seating_gmm, "g mm"),
    )


def mass_section(derived: Derived) -> MassReport:
    """Mass of the whole and of each component, and where it sits."""
    masses = derived.masses
    return made(
        MassReport,
        total_kg=rounded_or_none(masses.total, "kg"),
        centre_of_mass_mm=rounded_or_none(masses.centre, "mm"),
        transverse_inertia_kg_mm2=rounded_or_none(masses.inertia, "kg mm2"),
        tilting_moment_n_m=rounded_or_none(masses.tilting_moment_n_m, "N m"),
        components=[
            made(
                ComponentMass,
                component=link.part.id,
                mass_kg=rounded_or_none(mass, "kg"),
                centre_of_mass_mm=rounded_or_none(centre, "mm"),
                transverse_inertia_kg_mm2=rounded_or_none(inertia, "kg mm2"),
            )
            for link, mass, centre, inertia in zip(
                derived.chain.links, masses.masses, masses.centres, masses.inertias, strict=True
            )
        ],
    )


def _milling(load: CuttingLoad) -> MillingLoad | None:
    return load.milling if isinstance(load.milling, MillingLoad) else None


def load_section(derived: Derived) -> LoadReport:
    """What the cut asks."""
    load = derived.load
    cut = _milling(load)
    return made(
        LoadReport,
        source=load.source,
        torque_n_m=rounded_or_none(load.torque_n_m, "N m"),
        axial_pull_n=rounded_or_none(load.axial_pull_n, "N"),
        radial_force_n=rounded_or_none(load.radial_force_n, "N"),
        power_kw=rounded_or_none(load.power_kw, "kW"),
        mean_torque_n_m=rounded_or_none(cut and cut.mean_torque_n_m, "N m"),
        mean_chip_thickness_mm=rounded_or_none(cut and cut.mean_chip_thickness_mm, "mm chip"),
        specific_force_mpa=rounded_or_none(cut and cut.specific_force_mpa, "MPa"),
        teeth_in_cut=rounded_or_none(cut and cut.teeth_in_cut, "ratio"),
        removal_rate_mm3_per_min=rounded_or_none(cut and cut.removal_rate_mm3_per_min, "mm3/min"),
    )


def _shrink(joint: ShrinkJoint, grip: Grip) -> ShrinkReport:
    return made(
        ShrinkReport,
        least_interference_um=rounded(joint.least_um, "um"),
        greatest_interference_um=rounded(joint.most_um, "um"),
        interference_at_speed_um=rounded(joint.at_speed_um, "um"),
        least_pressure_mpa=rounded(joint.at_speed_um * joint.pressure_per_um, "MPa"),
        greatest_pressure_mpa=rounded(joint.most_um * joint.pressure_per_um, "MPa"),
        friction=joint.friction,
        hub_stress_mpa=rounded(joint.hub_stress_mpa, "MPa"),
        yield_mpa=rounded_or_none(joint.yield_mpa, "MPa"),
        opening_temperature_c=rounded_or_none(joint.opening_temperature_c, "degC"),
        release_speed_rpm=rounded_or_none(joint.release_speed_rpm, "rpm"),
        holding_speed_rpm=rounded_or_none(grip.holding_speed_rpm, "rpm"),
    )


def grip_section(derived: Derived) -> list[GripReport]:
    """Every joint that clamps a straight shank."""
    weakest = weakest_of(derived.grips)
    return [
        made(
            GripReport,
            joint=grip.case.name,
            at=[grip.case.upper_at, grip.case.lower_at],
            grip_length_mm=rounded_or_none(grip.length_mm, "mm"),
            minimum_grip_mm=rounded_or_none(stated_minimum_grip(grip.case), "mm"),
            projection_mm=rounded_or_none(derived.geometry.projections[grip.index], "mm"),
            basis=grip.basis,
            torque_capacity_n_m=rounded_or_none(grip.torque_n_m, "N m"),
            axial_capacity_n=rounded_or_none(grip.axial_n, "N"),
            safety_factor=rounded_or_none(grip.safety, "ratio"),
            weakest=grip is weakest,
            shrink_fit=_shrink(grip.shrink, grip) if isinstance(grip.shrink, ShrinkJoint) else None,
        )
        for grip in derived.grips
    ]


def stiffness_section(derived: Derived) -> StiffnessReport:
    """How the stack bends and when it rings."""
    stiffness, speed = derived.stiffness, derived.speed
    bending = known_or(stiffness.bending, None)
    critical: Maybe[float] | None = critical_speed_of(derived.chain, stiffness)
    last = derived.chain.links[-1].part if derived.chain.links else None
    teeth = last.teeth if isinstance(last, Cutter) else None
    turns = speed / 60.0 if isinstance(speed, float) else None
    frequencies = () if isinstance(stiffness.frequencies_hz, Lack) else stiffness.frequencies_hz
    return made(
        StiffnessReport,
        tip_compliance_um_per_n=rounded_or_none(bending and bending.compliance_um_per_n, "um/N"),
        tip_stiffness_n_per_um=rounded_or_none(bending and 1.0 / bending.compliance_um_per_n, "N/um"),
        radial_force_n=rounded_or_none(derived.load.radial_force_n, "N"),
        deflection_um=rounded_or_none(stiffness.deflection_um, "um"),
        deflection_limit_um=(derived.chain.request.operation or _NOTHING_ASKED).deflection_limit_um,
        shares=[
            made(BendingShare, name=one.name, kind=one.kind, share=rounded(one.share, "ratio"))
            for one in (bending.shares if bending else ())
        ],
        bending_frequencies_hz=[rounded(one, "Hz") for one in frequencies],
        critical_speed_rpm=rounded_or_none(critical, "rpm"),
        spindle_frequency_hz=rounded_or_none(turns, "Hz"),
        tooth_passing_hz=rounded_or_none(turns and teeth and turns * teeth, "Hz"),
        notes=stiffness_notes(derived) if bending else [],
    )


_CAUSES: Final = {
    "component": "marked on",
    "balance": "balance grade",
    "critical_speed": "share of the critical speed",
    "shrink_fit": "shrink fit",
    "machine": "machine",
    "cutting_speed": "cutting speed of",
}


def cause(limit: SpeedLimit) -> str:
    """Say what limits the speed, and of which part."""
    return f"{_CAUSES[limit.cause]} {limit.component}" if limit.component else _CAUSES[limit.cause]
