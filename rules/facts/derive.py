"""From a request to everything that can be derived of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.facts.budget import PlaneBudget, budgets_at
from rules.facts.chain import Chain, chain_of
from rules.facts.components import component_facts
from rules.facts.contributors import Contributors, contributors_of
from rules.facts.geometry import Geometry, geometry_of
from rules.facts.joints import joint_facts
from rules.facts.masses import Masses, masses_of
from rules.facts.operation import operation_facts
from rules.facts.stack import stack_fact
from rules.facts.unbalance import StackBalance, balance_of
from rules.facts.values import Lack, Maybe
from rules.model.request import CheckRequest
from rules.rulebook.fact import Fact

__all__ = ["Derived", "derive"]


@dataclass(frozen=True, slots=True)
class Derived:
    """All that follows from a request before any rule has judged."""

    chain: Chain
    geometry: Geometry
    contributors: Contributors
    gauge_plane: Maybe[PlaneBudget]
    """Budget of the known contributors; a lack where the plane has no place."""
    tip: Maybe[PlaneBudget]
    masses: Masses
    balance: StackBalance
    facts: tuple[Fact, ...]


def _budgets(
    planes: Sequence[Maybe[float]], contributors: Contributors, limit_um: float | None
) -> list[Maybe[PlaneBudget]]:
    places = [plane for plane in planes if not isinstance(plane, Lack)]
    found = iter(budgets_at(places, contributors.known, limit_um))
    return [plane if isinstance(plane, Lack) else next(found) for plane in planes]


def _complete(budget: Maybe[PlaneBudget], contributors: Contributors) -> Maybe[PlaneBudget]:
    """Return the budget only where no contributor is missing: a partial sum judges nothing."""
    if contributors.lacking is None:
        return budget
    missing = budget.fields if isinstance(budget, Lack) else ()
    return Lack(tuple(dict.fromkeys((*contributors.lacking.fields, *missing))))


def derive(request: CheckRequest) -> Derived:
    """Derive geometry, budgets, masses, balance and the flat facts the rules judge."""
    chain = chain_of(request)
    geometry = geometry_of(chain)
    contributors = contributors_of(chain, geometry)
    operation = request.operation
    limit = None if operation is None else operation.runout_limit_um
    gauge_plane, tip = _budgets((geometry.gauge_plane, geometry.tip), contributors, limit)
    masses = masses_of(chain, geometry)
    balance = balance_of(chain, contributors, masses)
    at_tip = _complete(tip, contributors)
    limit_at_tip = operation is not None and operation.runout_limit_at == "tip"
    at_limit = at_tip if limit_at_tip else _complete(gauge_plane, contributors)
    facts = (
        stack_fact(chain, geometry, masses),
        *component_facts(chain, geometry),
        *joint_facts(chain),
        *operation_facts(chain, at_limit, at_tip, balance),
    )
    return Derived(chain, geometry, contributors, gauge_plane, tip, masses, balance, facts)
