"""Bending in the report, with notes on the limits of the model."""

from __future__ import annotations

from typing import Final

from rules.bending.analysis import StackStiffness, critical_speed_of
from rules.cutting.analysis import CuttingLoad
from rules.quantities.missing import Missing, OrMissing, value_or
from rules.quantities.models import construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.components import Cutter
from rules.schema.report import (
    BendingShare,
    OperationBending,
    StiffnessReport,
    estimate,
    estimate_or_none,
)
from rules.schema.request import DEFAULT_POLICY, NO_OPERATION
from rules.stack.chain import Chain

__all__ = ["operation_bending", "stiffness_notes", "stiffness_section"]


_MODEL: Final = (
    "Bending of a stepped beam without shear, clamped at the gauge line: a short, thick stack is a few per cent softer."
    " Gyroscopic stiffening is ignored."
)
_RIGID: Final = "Spindle and joints are assumed rigid: the real stack is softer, with lower natural frequencies."
_SPRINGS: Final = "Spindle and joints without a stated stiffness are assumed rigid."
_SOLID: Final = (
    "No flute length is stated: the cutting tool is assumed solid to its tip, which overstates its stiffness."
)


def stiffness_notes(chain: Chain, stiffness: StackStiffness) -> list[str]:
    """Return the notes that apply to a stack."""
    notes = [_MODEL, _SPRINGS if stiffness.springs else _RIGID]
    last = chain.members[-1].part if chain.members else None
    if isinstance(last, Cutter):
        ratio = (chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
        fluted = f"The fluted part bends like a rod of {ratio:g} times its diameter."
        notes.append(_SOLID if last.flute_length_mm is None else fluted)
    return notes


def stiffness_section(chain: Chain, stiffness: StackStiffness) -> StiffnessReport:
    """Stiffness and natural frequencies of the stack."""
    bending = value_or(stiffness.bending, None)
    critical: OrMissing[float] | None = critical_speed_of(chain, stiffness)
    frequencies = () if isinstance(stiffness.frequencies_hz, Missing) else stiffness.frequencies_hz
    return construct(
        StiffnessReport,
        tip_compliance_um_per_n=estimate_or_none(bending and bending.compliance_um_per_n, "um/N"),
        tip_stiffness_n_per_um=estimate_or_none(bending and 1.0 / bending.compliance_um_per_n, "N/um"),
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
        bending_frequencies_hz=[estimate(one, "Hz") for one in frequencies],
        critical_speed_rpm=estimate_or_none(critical, "rpm"),
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
        deflection_um=estimate_or_none(stiffness.deflection_um, "um"),
        deflection_limit_um=(chain.operation or NO_OPERATION).stated_limits.deflection_um,
        spindle_frequency_hz=rounded_or_none(turns, "Hz"),
        tooth_passing_hz=rounded_or_none(turns and teeth and turns * teeth, "Hz"),
    )
