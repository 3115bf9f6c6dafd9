"""How deep and how shallow a straight shank may be set in what clamps it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.couplings import straight_shank
from rules.couplings.sides import Bore, ColletBore
from rules.facts.joints import stated_minimum_grip
from rules.grip.fits import shank_of
from rules.quantities.models import MIN_LENGTH_MM
from rules.schema.components import GaugePin
from rules.stack.chain import JointCase
from rules.stack.positions import profile_length

__all__ = ["GripRange", "drawn_to", "grip_range_of"]

_STEP_PER_MM = 10_000.0
"""Grip lengths are set to 0.0001 mm, as the report tells lengths."""


@dataclass(frozen=True, slots=True)
class GripRange:
    """Grip lengths a joint allows, mm; both the same where there is no choice."""

    longest_mm: float
    shortest_mm: float


def grip_range_of(case: JointCase, usual_share: float | None) -> GripRange | None:
    """Return the range for a joint without a statement; None where nothing is gripped or no length is stated.

    The longest is what bore and shank have room for. The shortest is the minimum they state, else the usual one:
    ``usual_share`` of a collet's length, the shank length of DIN 6535 for a bore. Where the shortest would be longer
    than there is room for, the joint is as deep as it goes, for the rules to refuse.
    """
    side, shank = case.upper_side, shank_of(case)
    if shank is None or not isinstance(side, Bore | ColletBore) or case.joint_class != "grip":
        return None
    overall = getattr(case.lower.part, "overall_length_mm", None) or profile_length(case.lower.part)
    shank_length = shank.length_mm
    if shank_length is None and isinstance(case.lower.part, GaugePin):
        shank_length = overall
    usual = _usual(side, shank.diameter_mm, usual_share)
    room = [length for length in (side.depth_mm, shank_length) if length is not None]
    if not room:
        clamp = side.length_mm if isinstance(side, ColletBore) else usual
        if clamp is None:
            return None
        room = [clamp]
    longest = min([*room, *([overall] if overall else [])])
    shortest = stated_minimum_grip(case) or usual
    return GripRange(longest, longest if shortest is None else min(longest, max(shortest, MIN_LENGTH_MM)))


def _usual(side: Bore | ColletBore, diameter: float | None, usual_share: float | None) -> float | None:
    if isinstance(side, ColletBore):
        if side.length_mm is None or usual_share is None:
            return side.length_mm
        # up to the next step, so that the share is not missed by the rounding
        return math.ceil(usual_share * side.length_mm * _STEP_PER_MM) / _STEP_PER_MM
    return None if diameter is None else straight_shank.shank_length("din_6535", diameter)


def drawn_to(grip: GripRange, out_mm: float) -> float:
    """Return the grip length after drawing a shank out of its longest grip, never less than the shortest.

    >>> drawn_to(GripRange(34.0, 20.0), 3.00004), drawn_to(GripRange(34.0, 20.0), 50.0)
    (30.9999, 20.0)
    """
    if out_mm <= 0.0:
        return grip.longest_mm
    # down to the step below, so that the reach is not missed by the rounding
    return max(grip.shortest_mm, math.floor((grip.longest_mm - out_mm) * _STEP_PER_MM + 1e-6) / _STEP_PER_MM)
