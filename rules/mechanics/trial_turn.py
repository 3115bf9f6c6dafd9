"""A trial turn: one joint turned by a known angle and read again tells both sides of it apart."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from rules.runout.formulas import Turn, single_turns

__all__ = ["TurnSplit", "best_further_turn", "split_by_turn", "turn_error_ratio"]


@dataclass(frozen=True, slots=True)
class TurnSplit:
    """Eccentricities on either side of a joint, as they stood before the trial turn."""

    before: complex
    """What does not turn with the joint."""
    beyond: complex
    """What turns with it."""


def split_by_turn(first: complex, second: complex, turned_deg: float) -> TurnSplit:
    """Return the eccentricities before and beyond a joint from one reading before and one after its turn.

    e₁ = A + B, e₂ = A + B·exp(jφ), so B = (e₁ − e₂)/(1 − exp(jφ)) and A = e₁ − B

    Parameters: first and second, eccentricities as complex vectors of one unit in one direction frame;
    turned_deg, φ in degrees, positive toward larger directions of that frame. Returns A and B in the same unit.
    Raises ValueError for a multiple of 360°, after which nothing differs, and for values that are not finite.
    Source: first principles; the same two runs find an unbalance by the influence of a known change.

    >>> split = split_by_turn(5 + 0j, 1 + 0j, 180.0)
    >>> round(abs(split.before), 12), round(abs(split.beyond), 12)
    (3.0, 2.0)
    """
    if not (cmath.isfinite(first) and cmath.isfinite(second)):
        raise ValueError("eccentricities must be finite")
    if turn_error_ratio(turned_deg) == math.inf:
        raise ValueError("a turn by a multiple of 360 degrees tells nothing")
    beyond = (first - second) / (1.0 - _turned(turned_deg))
    return TurnSplit(first - beyond, beyond)


def best_further_turn(split: TurnSplit, turned_deg: float, positions: int = 0) -> Turn:
    """Return the turn from where the joint stands after the trial that leaves the least eccentricity.

    ψ = arg A + 180° − arg B − φ leaves ||A| − |B||; a joint of n positions takes the best multiple of 360°/n

    Parameters: split in any unit; turned_deg, the trial turn φ in degrees; positions, 0 for any angle. Returns
    angle_deg in 0 ≤ ψ < 360 and the eccentricity left; no turn where one side has none. Raises ValueError for a
    single or negative number of positions. Source: first principles.

    >>> best_further_turn(TurnSplit(3 + 0j, 2 + 0j), 90.0)
    Turn(joint=1, angle_deg=90.0, eccentricity=1.0)
    """
    if positions == 1:
        raise ValueError("a joint of one position cannot be turned")
    (turn,) = single_turns([split.before, split.beyond * _turned(turned_deg)], [positions])
    return turn


def turn_error_ratio(turned_deg: float) -> float:
    """Return how much more errors of reading spoil the split than after half a turn.

    1/|sin(φ/2)|: 1 at 180°, infinite at a multiple of 360°

    Parameters: φ in degrees. Raises ValueError for an angle that is not finite. Source: |1 − exp(jφ)| =
    2·|sin(φ/2)| in the denominator of the split.

    >>> round(turn_error_ratio(60.0), 12)
    2.0
    """
    if not math.isfinite(turned_deg):
        raise ValueError("the turn must be finite")
    rest = math.remainder(turned_deg, 360.0)
    sine = abs(math.sin(math.radians(rest) / 2.0))
    return 1.0 / sine if sine > 1e-9 else math.inf


def _turned(angle_deg: float) -> complex:
    return cmath.exp(1j * math.radians(math.remainder(angle_deg, 360.0)))
