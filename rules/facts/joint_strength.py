"""Facts about how firmly a joint holds: against the cut, its own interference and the speed."""

from __future__ import annotations

from rules.facts.grips import Grip
from rules.quantities.missing import Lack, Maybe, lift
from rules.rulebook.fact import FactBuilder

__all__ = ["put_strength"]


def put_strength(fact: FactBuilder, grip: Grip, speed: Maybe[float] | None) -> None:
    """Put safety factor, hub stress, opening temperature and holding speed on the fact of a joint."""
    if grip.safety is not None:
        fact.put("safety_factor", grip.safety)
    if grip.shrink is None:
        return
    fact.put("hub_stress_mpa", lift(lambda joint: joint.hub_stress_mpa, grip.shrink))
    fact.put("hub_yield_mpa", grip.shrink if isinstance(grip.shrink, Lack) else grip.shrink.yield_mpa)
    fact.put("opening_degc", lift(lambda joint: joint.opening_temperature_c, grip.shrink))
    if speed is not None and grip.holding_speed_rpm is not None:
        fact.put("spindle_speed_rpm", speed)
        fact.put("holding_speed_rpm", grip.holding_speed_rpm)
