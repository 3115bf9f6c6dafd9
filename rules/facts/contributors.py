"""The causes of eccentricity in a stack, each as a line along the axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rules.facts.chain import Chain, JointCase, Link
from rules.facts.geometry import Geometry, Place
from rules.facts.joint_fits import clearance_of, is_slip_fit
from rules.facts.values import Lack, Maybe, lift, merge
from rules.mechanics.axis import Line, line_from_offset, line_from_pivot, line_from_two_readings
from rules.model.components import Cutter, GaugePin, RunoutStatement

__all__ = ["Contributor", "Contributors", "contributors_of"]


@dataclass(frozen=True, slots=True)
class Contributor:
    """One cause of eccentricity."""

    name: str
    component: str | None
    law: Literal["limit", "capability"]
    line: Line
    displaces_from: int
    """Index of the first link whose body it displaces."""


@dataclass(frozen=True, slots=True)
class Contributors:
    """All contributors that are known, and what is missing for the rest."""

    known: tuple[Contributor, ...]
    lacking: Lack | None


def _line(
    statements: Sequence[RunoutStatement], at: str, offset: bool, reference: Maybe[float], pivot: Maybe[float]
) -> Line | Lack:
    """Turn one or two statements into a line; the reference is where their distances count from."""
    if len(statements) == 2:
        first, second = statements
        if first.at_mm == second.at_mm:
            return Lack((f"{at}/1/at_mm",))
        return lift(
            lambda zero: line_from_two_readings(first.tir_um, zero + first.at_mm, second.tir_um, zero + second.at_mm),
            reference,
        )
    (only,) = statements
    if offset or only.tir_um == 0.0:
        return line_from_offset(only.tir_um)

    def tilt(zero: float, middle: float) -> Line | Lack:
        if not zero + only.at_mm > middle:
            return Lack((f"{at}/1",))
        return line_from_pivot(only.tir_um, zero + only.at_mm, middle)

    return lift(tilt, reference, pivot)


def _component(index: int, link: Link, places: Sequence[Place]) -> Contributor | Lack:
    part = link.part
    if part.runout is None:
        return Lack((f"{link.at}/runout",))
    is_tool = isinstance(part, Cutter | GaugePin)
    reference = places[index - 1].face if is_tool and index > 0 else places[index].face
    line = _line(part.runout, f"{link.at}/runout", part.runout_character == "offset", reference, places[index].pivot)
    if isinstance(line, Lack):
        return line
    law = part.runout_law or "limit"
    return Contributor(f"runout of {part.id}", part.id, law, line, index + 1)


def _clearance(index: int, case: JointCase) -> Contributor | Lack | None:
    if not is_slip_fit(case):
        return None
    clearance = clearance_of(case)
    if isinstance(clearance, Lack):
        return clearance
    line = line_from_offset(max(0.0, clearance[1]))
    return Contributor(f"clearance of {case.name}", case.lower.part.id, "limit", line, index)


def _spindle(chain: Chain, geometry: Geometry) -> Contributor | Lack | None:
    machine = chain.request.machine
    if machine is None or machine.spindle_runout is None or not geometry.places:
        return None
    pivot = geometry.places[0].pivot
    line = _line(machine.spindle_runout, "/machine/spindle_runout", False, 0.0, pivot)
    return line if isinstance(line, Lack) else Contributor("runout of the spindle", None, "limit", line, 0)


def contributors_of(chain: Chain, geometry: Geometry) -> Contributors:
    """Collect the spindle, every component and every slip fit of the chain."""
    found: list[Contributor | Lack | None] = [_spindle(chain, geometry)]
    for index, link in enumerate(chain.links):
        if index > 0:
            found.append(_clearance(index, chain.joints[index - 1]))
        found.append(_component(index, link, geometry.places))
    known = tuple(item for item in found if isinstance(item, Contributor))
    return Contributors(known, merge(*(item for item in found if isinstance(item, Lack))))
