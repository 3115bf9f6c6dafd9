"""Limits of the speed of a stack, in one list."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, TypeAlias, get_args

from rules.balance.analysis import (
    StackBalance,
)
from rules.bending.analysis import StackStiffness, critical_speed_of
from rules.bending.interfaces import Band
from rules.cutting.analysis import (
    turning_diameter_of,
)
from rules.cutting.formulas import cutting_speed_m_per_min, speed_from_cutting_speed_rpm
from rules.grip.analysis import Grip
from rules.quantities.missing import Missing, OrMissing, missing_of, or_missing, when_both_known
from rules.rulebook.fact import Properties
from rules.schema.components import Cutter, CutterKind
from rules.schema.report import JointEnds
from rules.schema.request import Operation
from rules.stack.chain import Chain, Member

__all__ = [
    "SpeedCause",
    "SpeedLimits",
    "component_speed_properties",
    "cutting_speed_limit_of",
    "lacks_speed",
    "programmed_speed_properties",
    "speed_limits_of",
]


Cause: TypeAlias = Literal["component", "balance", "critical_speed", "shrink_fit", "machine", "cutting_speed"]


class SpeedCause(NamedTuple):
    """One speed limit; the critical speed is given in full, and a rule allows a share of it."""

    cause: Cause
    component: str | None
    joint: JointEnds | None
    speed_rpm: float
    """For the critical speed the soft end, which the rules judge."""
    band: Band | None = None
    """Critical speed with soft, typical and stiff joints."""
    rests_on: tuple[str, ...] = ()
    """Ids of the assumptions behind it."""


_OF_STACK: Final = frozenset({"component", "critical_speed", "machine", "cutting_speed"})
"""Causes that do not depend on the operation."""


class SpeedLimits(NamedTuple):
    """All known limits, and the missing fields of the others that apply."""

    causes: tuple[SpeedCause, ...]
    lacking: Missing | None
    lacking_of_stack: Missing | None
    """The missing fields of the limits that do not depend on the operation."""

    @property
    def of_stack(self) -> list[SpeedCause]:
        """The limits that do not depend on the operation."""
        return [one for one in self.causes if one.cause in _OF_STACK]


def cutting_speed_limit_of(chain: Chain) -> OrMissing[float] | None:
    """Return the speed at which the cutting tool reaches its stated cutting speed; None if it states none."""
    last = chain.members[-1] if chain.members else None
    if last is None or not isinstance(last.part, Cutter) or last.part.max_cutting_speed_m_per_min is None:
        return None
    if last.part.cutting_diameter_mm is None:
        return Missing((f"{last.at}/cutting_diameter_mm",))
    return speed_from_cutting_speed_rpm(last.part.max_cutting_speed_m_per_min, last.part.cutting_diameter_mm)


def speed_limits_of(
    chain: Chain, balance: StackBalance, stiffness: StackStiffness, grips: tuple[Grip, ...]
) -> SpeedLimits:
    """Return the limits, unsorted."""
    causes = [
        SpeedCause("component", member.part.id, None, member.part.max_speed_rpm)
        for member in (*chain.members, *chain.knobs)
        if member.part.max_speed_rpm is not None
    ]
    last = chain.members[-1].part.id if chain.members else None
    critical = critical_speed_of(chain, stiffness)
    derived: list[tuple[Cause, str | None, JointEnds | None, OrMissing[float] | None]] = [
        ("balance", None, None, balance.highest_speed_rpm),
        ("critical_speed", None, None, critical if isinstance(critical, Missing) else None),
        ("cutting_speed", last, None, cutting_speed_limit_of(chain)),
    ]
    derived.extend(("shrink_fit", None, grip.case.ends_named, grip.holding_speed_rpm) for grip in grips)
    if chain.machine is not None:
        derived.append(("machine", None, None, chain.machine.max_speed_rpm))
    causes.extend(
        SpeedCause(cause, component, joint, speed)
        for cause, component, joint, speed in derived
        if isinstance(speed, float)
    )
    if isinstance(critical, Band):
        causes.append(SpeedCause("critical_speed", None, None, critical.low, critical, stiffness.rests_on))
    unstated = [Missing((f"{member.at}/max_speed_rpm",)) for member in chain.members if lacks_speed(member)]
    of_stack = [speed for cause, *_, speed in derived if cause in _OF_STACK]
    return SpeedLimits(
        tuple(causes), missing_of(*unstated, *(speed for *_, speed in derived)), missing_of(*unstated, *of_stack)
    )


def programmed_speed_properties(fact: Properties, chain: Chain, operation: Operation, speed: OrMissing[float]) -> None:
    """Add the programmed speed, the limit of the spindle and the speed from the cutting speed."""
    fact.add("spindle_speed_rpm", speed)
    machine = chain.machine
    if machine is not None and machine.max_speed_rpm is not None:
        fact.add("machine_max_speed_rpm", machine.max_speed_rpm)
    if operation.spindle_speed_rpm is not None and operation.cutting_speed_m_per_min is not None:
        implied = when_both_known(
            speed_from_cutting_speed_rpm, operation.cutting_speed_m_per_min, turning_diameter_of(chain)
        )
        fact.add("implied_speed_rpm", implied)
        fact.add("speed_mismatch_ratio", when_both_known(lambda one, two: abs(one - two) / two, implied, speed))


_MUST_STATE_SPEED: Final = frozenset({"base_holder", "extension", "reducer", *get_args(CutterKind)})


def lacks_speed(member: Member) -> bool:
    """Whether a component lacks a maximum speed that holders, extensions, reducers and cutting tools should state.

    A collet, knob or pin is judged only if it states one.
    """
    return member.part.max_speed_rpm is None and member.part.kind in _MUST_STATE_SPEED


def component_speed_properties(fact: Properties, member: Member, speed: OrMissing[float] | None) -> None:
    """Add the programmed speed and the speed limits of the component."""
    part = member.part
    if speed is None or part.kind == "gauge_pin":
        return
    if isinstance(part, Cutter):
        _cutter_speed(fact, member, part, speed)
    if part.max_speed_rpm is None and not lacks_speed(member):
        return
    fact.add("spindle_speed_rpm", speed)
    fact.add("component_max_speed_rpm", or_missing(part.max_speed_rpm, member.at, "max_speed_rpm"))


def _cutter_speed(fact: Properties, member: Member, part: Cutter, speed: OrMissing[float]) -> None:
    reached = when_both_known(
        cutting_speed_m_per_min, speed, or_missing(part.cutting_diameter_mm, member.at, "cutting_diameter_mm")
    )
    fact.add("peripheral_speed_m_per_min", reached)
    if part.max_cutting_speed_m_per_min is not None:
        fact.add("max_cutting_speed_m_per_min", part.max_cutting_speed_m_per_min)
