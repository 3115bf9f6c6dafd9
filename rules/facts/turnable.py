"""How far each joint of a chain may be turned."""

from __future__ import annotations

from rules.couplings import definition
from rules.couplings.sides import ArborShellMill, HollowTaper, MorseTaper
from rules.stack.chain import Chain, JointCase

__all__ = ["positions_of"]


def _positions(case: JointCase | None) -> int:
    """Positions a joint allows: 0 for any angle, 1 for none; what is not stated is not turned."""
    side = None if case is None else case.upper_side
    if side is None:
        return 1
    form: str | None = None
    if isinstance(side, HollowTaper | MorseTaper):
        form = side.form
    elif isinstance(side, ArborShellMill):
        form = side.drive
    found = definition.clocking(side.coupling, form)
    return 0 if found.kind == "free" else found.positions or 1


def positions_of(chain: Chain) -> list[int]:
    """Return the positions of the spindle's joint, then of every joint between neighbours."""
    return [_positions(case) for case in (chain.spindle_joint, *chain.joints)]
