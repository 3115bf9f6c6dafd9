"""The unbalance of a stack: own residuals and masses set eccentric by the runout contributors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.facts.budget import Vector, law_of
from rules.facts.chain import Chain
from rules.facts.contributors import Contributors
from rules.facts.masses import Masses
from rules.facts.values import Lack, Maybe, given, lift, merge
from rules.mechanics.balance import balance_speed_rpm, permissible_unbalance_gmm, rotating_force_n
from rules.model.components import GaugePin
from rules.model.operation import Operation
from rules.tables import balance_grades, couplings

__all__ = ["StackBalance", "UnbalanceSum", "balance_of", "unbalance_sum"]


_NOTHING_GMM: Final = 1e-6
"""Below it nothing is out of balance: no speed follows from it."""


@dataclass(frozen=True, slots=True)
class UnbalanceSum:
    """Static unbalance of the stack, g·mm."""

    p95_gmm: float
    worst_gmm: float | None


@dataclass(frozen=True, slots=True)
class StackBalance:
    """Balance of the stack against its grade."""

    unbalance: Maybe[UnbalanceSum]
    permissible_gmm: Maybe[float] | None
    highest_speed_rpm: Maybe[float] | None
    """None where no grade is asked or nothing is out of balance."""
    rotating_force_n: Maybe[float] | None
    seating_gmm: Maybe[float] | None


def unbalance_sum(residuals: Sequence[float], eccentric: Sequence[Vector]) -> UnbalanceSum:
    """Sum vectors of unbalance clocked at random: own residuals, and masses times eccentricity, g·mm."""
    law = law_of([*(Vector(u, False, None) for u in residuals), *eccentric])
    bounded = not any(vector.capability for vector in eccentric)
    return UnbalanceSum(float(law.quantiles((0.95,))[0]), law.greatest if bounded else None)


def _sum(chain: Chain, contributors: Contributors, masses: Masses) -> Maybe[UnbalanceSum]:
    residuals = [given(link.part.unbalance_gmm, f"{link.at}/unbalance_gmm") for link in chain.links]
    lacking = merge(contributors.lacking, *residuals, *masses.masses, *masses.centres)
    if lacking:
        return lacking
    bodies = [
        (m, z)
        for m, z in zip(masses.masses, masses.centres, strict=True)
        if isinstance(m, float) and isinstance(z, float)
    ]
    eccentric = [
        # kg · µm = g·mm; one contributor moves every body beyond it, so its parts add before clocking
        Vector(sum(m * item.line.at(z) for m, z in bodies[item.displaces_from :]), item.law == "capability", item.group)
        for item in contributors.known
    ]
    return unbalance_sum([u for u in residuals if isinstance(u, float)], eccentric)


def balance_of(chain: Chain, contributors: Contributors, masses: Masses) -> StackBalance:
    """Return unbalance, permissible unbalance and the highest speed for the grade asked."""
    operation = chain.request.operation or Operation.model_construct()
    unbalance = _sum(chain, contributors, masses)
    if any(isinstance(link.part, GaugePin) for link in chain.links):
        # a stack with a gauge pin is read, not run
        return StackBalance(unbalance, None, None, None, None)
    speed = operation.spindle_speed_rpm
    force: Maybe[float] | None = None
    if speed is not None:
        force = lift(lambda u: rotating_force_n(u.p95_gmm, speed), unbalance)
    if operation.balance_grade is None:
        return StackBalance(unbalance, None, None, force, None)
    grade = balance_grades.grade_value(operation.balance_grade)
    permissible: Maybe[float] | None = None
    seating: Maybe[float] | None = None
    if speed is not None:
        permissible = lift(lambda m: permissible_unbalance_gmm(grade, m, speed), masses.total)
        seating = _seating(chain, masses)
    highest: Maybe[float] | None = None
    if isinstance(unbalance, Lack) or unbalance.p95_gmm > _NOTHING_GMM:
        highest = lift(lambda m, u: balance_speed_rpm(grade, m, u.p95_gmm), masses.total, unbalance)
    return StackBalance(unbalance, permissible, highest, force, seating)


def _seating(chain: Chain, masses: Masses) -> Maybe[float] | None:
    """Unbalance that one reseating of the spindle taper may bring: m·e, None for couplings without a known e."""
    side = chain.links[0].machine_side if chain.links else None
    if side is None:
        return None
    eccentricity = couplings.coupling(side.coupling).seating_eccentricity_um
    return None if eccentricity is None else lift(lambda m: m * eccentricity, masses.total)
