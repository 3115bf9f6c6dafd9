"""Everything that limits the speed of a stack, in one list."""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

from rules.balance.analysis import StackBalance
from rules.bending.analysis import StackStiffness
from rules.cutting.formulas import speed_from_cutting_speed_rpm
from rules.grip.analysis import Grip
from rules.quantities.missing import Lack, Maybe, lift, merge
from rules.schema.components import Cutter
from rules.stack.analysis import lacks_speed
from rules.stack.chain import Chain

__all__ = ["SpeedCause", "SpeedLimits", "critical_speed_of", "cutting_speed_limit_of", "speed_limits_of"]

Cause: TypeAlias = Literal["component", "balance", "critical_speed", "shrink_fit", "machine", "cutting_speed"]


class SpeedCause(NamedTuple):
    """One limit: for the critical speed that speed itself, of which a rule allows a share."""

    cause: Cause
    component: str | None
    speed_rpm: float


class SpeedLimits(NamedTuple):
    """All limits that are known, and what is missing for the others that apply."""

    causes: tuple[SpeedCause, ...]
    lacking: Lack | None


def critical_speed_of(chain: Chain, stiffness: StackStiffness) -> Maybe[float] | None:
    """Return the speed that turns once in a period of the first bending frequency; None for a stack not run."""
    if chain.is_read_only:
        return None
    return lift(lambda frequencies: frequencies[0] * 60.0, stiffness.frequencies_hz)


def cutting_speed_limit_of(chain: Chain) -> Maybe[float] | None:
    """Return the speed at which the cutter reaches the cutting speed stated for it; None where none is."""
    last = chain.links[-1] if chain.links else None
    if last is None or not isinstance(last.part, Cutter) or last.part.max_cutting_speed_m_per_min is None:
        return None
    if last.part.cutting_diameter_mm is None:
        return Lack((f"{last.at}/cutting_diameter_mm",))
    return speed_from_cutting_speed_rpm(last.part.max_cutting_speed_m_per_min, last.part.cutting_diameter_mm)


def speed_limits_of(
    chain: Chain, balance: StackBalance, stiffness: StackStiffness, grips: tuple[Grip, ...]
) -> SpeedLimits:
    """Collect the limits in no particular order."""
    causes = [
        SpeedCause("component", link.part.id, link.part.max_speed_rpm)
        for link in (*chain.links, *chain.knobs)
        if link.part.max_speed_rpm is not None
    ]
    last = chain.links[-1].part.id if chain.links else None
    derived: list[tuple[Cause, str | None, Maybe[float] | None]] = [
        ("balance", None, balance.highest_speed_rpm),
        ("critical_speed", None, critical_speed_of(chain, stiffness)),
        ("cutting_speed", last, cutting_speed_limit_of(chain)),
    ]
    derived.extend(("shrink_fit", grip.case.name, grip.holding_speed_rpm) for grip in grips)
    if chain.request.machine is not None:
        derived.append(("machine", None, chain.request.machine.max_speed_rpm))
    causes.extend(SpeedCause(cause, name, speed) for cause, name, speed in derived if isinstance(speed, float))
    unstated = [Lack((f"{link.at}/max_speed_rpm",)) for link in chain.links if lacks_speed(link)]
    return SpeedLimits(tuple(causes), merge(*unstated, *(speed for _, _, speed in derived)))
