"""From a request to everything that can be derived of it."""

from __future__ import annotations

from dataclasses import dataclass

from rules.balance.analysis import StackBalance, balance_of, unbalance_vectors
from rules.bending.analysis import StackStiffness, stiffness_of
from rules.cutting.analysis import CuttingLoad, asked_speed_of, cutting_load_of
from rules.facts.joints import joint_facts
from rules.facts.operation import operation_facts
from rules.facts.random_sums import random_sums_of
from rules.grip.analysis import Grip, grips_of
from rules.quantities.missing import Lack, Maybe
from rules.rulebook.fact import Fact
from rules.runout.analysis import PlaneBudget
from rules.runout.contributors import Contributors, contributors_of
from rules.schema.request import StackRequest
from rules.speed.analysis import SpeedLimits, speed_limits_of
from rules.stack.analysis import component_facts, stack_fact
from rules.stack.chain import Chain, chain_of
from rules.stack.mass import Masses, masses_of
from rules.stack.outlines import outline_of
from rules.stack.positions import Geometry, geometry_of

__all__ = ["Derived", "derive"]


@dataclass(frozen=True, slots=True)
class Derived:
    """All that follows from a request before any rule has judged."""

    chain: Chain
    geometry: Geometry
    contributors: Contributors
    speed: Maybe[float] | None
    """Speed asked, rpm; None where none is."""
    gauge_plane: Maybe[PlaneBudget]
    """Budget of the known contributors; a lack where the plane has no place."""
    tip: Maybe[PlaneBudget]
    masses: Masses
    balance: StackBalance
    load: CuttingLoad
    grips: tuple[Grip, ...]
    stiffness: StackStiffness
    speed_limits: SpeedLimits
    facts: tuple[Fact, ...]


def _complete(budget: Maybe[PlaneBudget], contributors: Contributors) -> Maybe[PlaneBudget]:
    """Return the budget only where no contributor is missing: a partial sum judges nothing."""
    if contributors.lacking is None:
        return budget
    missing = budget.fields if isinstance(budget, Lack) else ()
    return Lack(tuple(dict.fromkeys((*contributors.lacking.fields, *missing))))


def derive(request: StackRequest) -> Derived:
    """Derive geometry, budgets, masses, balance, loads, bending and the flat facts the rules judge."""
    chain = chain_of(request)
    geometry = geometry_of(chain)
    speed = asked_speed_of(chain)
    contributors = contributors_of(chain, geometry)
    operation = request.operation
    limit = None if operation is None else operation.runout_limit_um
    masses = masses_of(chain, geometry)
    vectors = unbalance_vectors(chain, contributors, masses)
    sums = random_sums_of(geometry.gauge_plane, geometry.tip, contributors, vectors, limit)
    balance = balance_of(chain, masses, sums.unbalance, sums.couple, speed)
    outlines = tuple([outline_of(link, place) for link, place in zip(chain.links, geometry.places, strict=True)])
    load = cutting_load_of(chain, speed)
    grips = grips_of(chain, geometry, outlines, load, speed)
    stiffness = stiffness_of(chain, geometry, outlines, masses, load)
    at_tip = _complete(sums.tip, contributors)
    limit_at_tip = operation is not None and operation.runout_limit_at == "tip"
    at_limit = at_tip if limit_at_tip else _complete(sums.gauge_plane, contributors)
    facts = (
        stack_fact(chain, geometry, masses),
        *component_facts(chain, geometry, masses, speed),
        *joint_facts(chain, grips, speed),
        *operation_facts(chain, at_limit, at_tip, balance, stiffness, load, speed),
    )
    return Derived(
        chain,
        geometry,
        contributors,
        speed,
        sums.gauge_plane,
        sums.tip,
        masses,
        balance,
        load,
        grips,
        stiffness,
        speed_limits_of(chain, balance, stiffness, grips),
        facts,
    )
