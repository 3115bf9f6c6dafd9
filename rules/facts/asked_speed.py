"""The speed the operation asks: stated, or following from a cutting speed and the cutting diameter."""

from __future__ import annotations

from rules.facts.chain import Chain
from rules.mechanics.milling import speed_from_cutting_speed_rpm
from rules.quantities.missing import Maybe, given, lift
from rules.schema.components import Cutter

__all__ = ["asked_speed_of", "cutting_diameter_of"]


def cutting_diameter_of(chain: Chain) -> Maybe[float]:
    """Return the cutting diameter of the cutter at the end of the chain."""
    last = chain.links[-1] if chain.links else None
    if last is None or not isinstance(last.part, Cutter):
        return given(None, "/stack/components/-")
    return given(last.part.cutting_diameter_mm, last.at, "cutting_diameter_mm")


def asked_speed_of(chain: Chain) -> Maybe[float] | None:
    """Return the speed asked in rpm; None where the operation asks none."""
    operation = chain.request.operation
    if operation is None:
        return None
    if operation.spindle_speed_rpm is not None:
        return operation.spindle_speed_rpm
    if operation.cutting_speed_m_per_min is None:
        return None
    return lift(speed_from_cutting_speed_rpm, operation.cutting_speed_m_per_min, cutting_diameter_of(chain))
