"""Capacity of a grip against slip: by length, by torque, and by torque and pull together."""

from __future__ import annotations

import math

__all__ = ["combined_safety", "scaled_capacity", "slip_force_from_torque_n"]


def _positive(name: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")


def _not_negative(name: str, value: float) -> None:
    if not (value >= 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be 0 or more and finite, not {value}")


def scaled_capacity(rated: float, rated_grip_mm: float, grip_mm: float) -> float:
    """Return the capacity of a grip of another length: C = C_r·min(1, l/l_r).

    Friction under an even pressure grows with the length held.  Beyond the rated length nothing is added: what
    clamps there was not rated.
    Parameters: rated, C_r ≥ 0, N or N·m; rated_grip_mm, l_r, mm, above 0; grip_mm, l ≥ 0, mm; else ValueError.
    Returns the unit of rated. Source: first principles (Coulomb friction); the cap is cautious.

    >>> scaled_capacity(80.0, 40.0, 30.0), scaled_capacity(80.0, 40.0, 50.0)
    (60.0, 80.0)
    """
    _not_negative("rated capacity", rated)
    _positive("rated grip length", rated_grip_mm)
    _not_negative("grip length", grip_mm)
    return rated * min(1.0, grip_mm / rated_grip_mm)


def slip_force_from_torque_n(torque_n_m: float, diameter_mm: float) -> float:
    """Return the force around the circumference of a shank that a torque makes: F = 2·T/d.

    From the torque at which a grip turns it is also the pull at which it slides, friction having no direction.
    Parameters: torque_n_m, T ≥ 0, N·m; diameter_mm, d above 0, mm; else ValueError. Returns N.
    Source: first principles.

    >>> slip_force_from_torque_n(100.0, 20.0)
    10000.0
    """
    _not_negative("torque", torque_n_m)
    _positive("diameter", diameter_mm)
    return 2000.0 * torque_n_m / diameter_mm


def combined_safety(torque_safety: float | None, axial_safety: float | None = None) -> float | None:
    """Return the safety against slip under torque and pull together: S = 1/√(1/S_t² + 1/S_a²).

    Friction acts along the resultant of the two slips, so one capacity F carries √(F_t² + F_a²); with S_t = F/F_t
    and S_a = F/F_a that is the sum above.  With capacities that differ by direction it is an ellipse between them.
    A grip with teeth or a stop carries the two apart and is not meant.
    Parameters: torque_safety, S_t, and axial_safety, S_a, each alone; 0 or more and finite, else ValueError; None
    where there is no such demand or it is not known. Returns the smaller of the two or less; None where both are
    None.
    Source: first principles (Coulomb friction).

    >>> combined_safety(4.0, 3.0), combined_safety(2.5, None)
    (2.4, 2.5)
    """
    stated = sorted(safety for safety in (torque_safety, axial_safety) if safety is not None)
    for safety in stated:
        _not_negative("safety", safety)
    if len(stated) < 2:
        return stated[0] if stated else None
    smaller, larger = stated
    return smaller / math.hypot(1.0, smaller / larger) if larger > 0.0 else 0.0
