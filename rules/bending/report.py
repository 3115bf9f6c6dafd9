"""What the model of bending leaves out, said beside its figures."""

from __future__ import annotations

from typing import Final

from rules.analysis import Derived
from rules.schema.components import Cutter
from rules.schema.request import DEFAULT_POLICY

__all__ = ["stiffness_notes"]

_MODEL: Final = (
    "Bending of a stepped beam without shear, clamped at the gauge line: a short, thick stack is some per cent softer."
    " Gyroscopic stiffening is left out."
)
_RIGID: Final = "Spindle and joints are taken as rigid: the real stack is softer and rings lower."
_SPRINGS: Final = "Where no stiffness is stated, spindle and joints are taken as rigid."
_SOLID: Final = "No flute length is stated: the cutter counts as solid to its tip, stiffer than it is."


def stiffness_notes(derived: Derived) -> list[str]:
    """Return the notes that hold for a stack."""
    notes = [_MODEL, _SPRINGS if derived.stiffness.springs else _RIGID]
    last = derived.chain.links[-1].part if derived.chain.links else None
    if isinstance(last, Cutter):
        ratio = (derived.chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
        fluted = f"The fluted part bends like a rod of {ratio:g} of its diameter."
        notes.append(_SOLID if last.flute_length_mm is None else fluted)
    return notes
