"""Bending in the report, with notes on the limits of the model."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rules.bending.analysis import ASSUMED, StackStiffness, critical_speed_of
from rules.bending.interfaces import Band
from rules.cutting.analysis import CuttingLoad
from rules.quantities.missing import Missing, OrMissing, value_or
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.components import Cutter
from rules.schema.report import (
    Assumption,
    BendingShare,
    Estimate,
    OperationBending,
    StiffnessReport,
)
from rules.schema.request import DEFAULT_POLICY, NO_OPERATION
from rules.stack.chain import Chain

__all__ = [
    "ASSUMPTION_SET",
    "JUDGED_BY_ASSUMPTION",
    "banded",
    "operation_bending",
    "resting_properties",
    "stiffness_assumptions",
    "stiffness_notes",
    "stiffness_section",
]


ASSUMPTION_SET: Final = "interface_stiffness"
"""Name of the set of assumptions: the table with the assumed stiffnesses."""

_OF_FREQUENCY: Final = frozenset(
    f"{prefix}{name}" for prefix in ("", ASSUMED) for name in ("spindle_to_critical", "tooth_passing_to_critical")
)
_OF_DEFLECTION: Final = frozenset({"deflection_um", "soft_deflection_um"})

JUDGED_BY_ASSUMPTION: Final = _OF_FREQUENCY | _OF_DEFLECTION
"""Properties that may rest on assumed stiffnesses."""

_MODEL: Final = (
    "Bending of a stepped beam with shear and rotary inertia on springs at the gauge line and the joints."
    " Gyroscopic stiffening and damping are ignored."
)
_SPINDLE: Final = "The spindle's shaft and bearings are not stated and left out: the real stack is softer."
_ASSUMED: Final = "The ends of each range have all assumed joints soft or all stiff; they are orders of magnitude."
_MEASURED: Final = "The first natural frequency is that of the tap test."
_SOLID: Final = (
    "No flute length is stated: the cutting tool is assumed solid to its tip, which overstates its stiffness."
)


def stiffness_notes(chain: Chain, stiffness: StackStiffness) -> list[str]:
    """Return the notes that apply to a stack."""
    notes = [_MODEL]
    if not stiffness.spindle_stated:
        notes.append(_SPINDLE)
    joints = [str(one.joint) for one in stiffness.interfaces if one.assumed]
    if joints:
        notes.append(f"Stiffness assumed: {', '.join(joints)}. {_ASSUMED}")
    if stiffness.measured:
        notes.append(_MEASURED)
    last = chain.members[-1].part if chain.members else None
    if isinstance(last, Cutter):
        ratio = (chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
        fluted = f"The fluted part bends like a rod of {ratio:g} times its diameter."
        notes.append(_SOLID if last.flute_length_mm is None else fluted)
    return notes


def resting_properties(stiffness: StackStiffness) -> frozenset[str]:
    """Return the properties for the rules that rest on the assumed stiffnesses of a stack."""
    if not stiffness.rests_on:
        return frozenset()
    return _OF_DEFLECTION if stiffness.measured else JUDGED_BY_ASSUMPTION


def stiffness_assumptions(stiffness: StackStiffness, used_by: list[str]) -> list[Assumption]:
    """Return the assumed stiffnesses of joints, numbered in the order of the springs."""
    values = [one for interface in stiffness.interfaces for one in interface.assumed]
    return [
        construct(
            Assumption,
            id=name,
            at=one.at,
            quantity="joint_stiffness",
            subject=None,
            category=one.assumed.interface,
            value=rounded(one.band.typical, _unit(one.at)),
            low=rounded(one.band.soft, _unit(one.at)),
            high=rounded(one.band.stiff, _unit(one.at)),
            unit="N.m/mrad" if "tilting" in one.at else "N/um",
            set=ASSUMPTION_SET,
            source=one.assumed.source,
            confidence=one.assumed.confidence.replace(" ", "_"),
            dependence=None,
            used_by=used_by,
        )
        for name, one in zip(stiffness.rests_on, values, strict=True)
        if one.assumed is not None
    ]


def _unit(at: str) -> str:
    return "N m" if "tilting" in at else "N/um"


def banded(band: object, unit: str, rests_on: Sequence[str], value: float | None = None) -> Estimate | None:
    """Return a band as an estimate, its value the typical one unless given; None for anything but a band."""
    if not isinstance(band, Band):
        return None
    ranges = band.high > band.low
    return construct(
        Estimate,
        value=rounded(band.typical if value is None else value, unit),
        low=rounded(band.low, unit) if ranges else None,
        high=rounded(band.high, unit) if ranges else None,
        rests_on=list(rests_on) if ranges else [],
    )


def stiffness_section(chain: Chain, stiffness: StackStiffness) -> StiffnessReport:
    """Stiffness and natural frequencies of the stack."""
    bending = value_or(stiffness.bending, None)
    critical: OrMissing[Band] | None = critical_speed_of(chain, stiffness)
    frequencies = () if isinstance(stiffness.frequencies_hz, Missing) else stiffness.frequencies_hz
    rests_on = stiffness.rests_on
    compliance = bending and bending.compliance_um_per_n
    return construct(
        StiffnessReport,
        tip_compliance_um_per_n=banded(compliance, "um/N", rests_on),
        tip_stiffness_n_per_um=banded(compliance and Band(*[1.0 / one for one in compliance]), "N/um", rests_on),
        shares=[
            construct(
                BendingShare,
                kind=one.kind,
                component=one.component,
                joint=one.joint,
                share=rounded(one.share, "ratio"),
            )
            for one in (bending.shares if bending else ())
        ],
        bending_frequencies_hz=[found for one in frequencies if (found := banded(one, "Hz", rests_on))],
        critical_speed_rpm=banded(critical, "rpm", rests_on),
        notes=stiffness_notes(chain, stiffness) if bending else [],
    )


def operation_bending(
    chain: Chain, stiffness: StackStiffness, load: CuttingLoad, speed: OrMissing[float] | None
) -> OperationBending:
    """Deflection under the load of the operation, and the frequencies that excite the stack."""
    last = chain.members[-1].part if chain.members else None
    teeth = last.teeth if isinstance(last, Cutter) else None
    turns = speed / 60.0 if isinstance(speed, float) else None
    return construct(
        OperationBending,
        radial_force_n=rounded_or_none(load.radial_force_n, "N"),
        deflection_um=banded(stiffness.deflection_um, "um", stiffness.rests_on),
        deflection_limit_um=(chain.operation or NO_OPERATION).stated_limits.deflection_um,
        spindle_frequency_hz=rounded_or_none(turns, "Hz"),
        tooth_passing_hz=rounded_or_none(turns and teeth and turns * teeth, "Hz"),
    )
