"""Facts about what the operation asks: speed, balance, runout and coolant."""

from __future__ import annotations

from rules.facts.budget import PlaneBudget
from rules.facts.builder import FactBuilder
from rules.facts.chain import Chain
from rules.facts.unbalance import StackBalance
from rules.facts.values import Maybe, given, lift
from rules.rulebook.fact import Fact

__all__ = ["operation_facts"]


def operation_facts(
    chain: Chain, at_limit: Maybe[PlaneBudget], at_tip: Maybe[PlaneBudget], balance: StackBalance
) -> list[Fact]:
    """Return the one fact about the operation, or none where no operation is stated."""
    operation, machine = chain.request.operation, chain.request.machine
    if operation is None:
        return []
    fact = FactBuilder("operation", "operation", ("/operation",), stack=chain.request.stack.id or "the stack")
    if operation.spindle_speed_rpm is not None:
        fact.put("spindle_speed_rpm", operation.spindle_speed_rpm)
        if machine is not None and machine.max_speed_rpm is not None:
            fact.put("machine_max_speed_rpm", machine.max_speed_rpm)
        if operation.balance_grade is not None:
            fact.put("balance_grade", operation.balance_grade)
            fact.put("balance_speed_rpm", balance.highest_speed_rpm)
            fact.put("unbalance_gmm", lift(lambda u: u.p95_gmm, balance.unbalance))
            fact.put("permissible_gmm", balance.permissible_gmm)
            fact.put("seating_gmm", balance.seating_gmm)
    if operation.runout_limit_um is not None:
        fact.put("runout_limit_um", operation.runout_limit_um)
        fact.put("runout_plane", "the tip" if operation.runout_limit_at == "tip" else "the gauge plane")
        fact.put("runout_p95_um", lift(lambda b: b.p95_um, at_limit))
        if not isinstance(at_limit, PlaneBudget) or at_limit.worst_case_um is not None:
            fact.put("runout_worst_um", lift(lambda b: b.worst_case_um, at_limit))
    if operation.feed_per_tooth_mm is not None:
        feed = operation.feed_per_tooth_mm
        fact.put("feed_per_tooth_mm", feed)
        fact.put("tip_runout_p95_um", lift(lambda b: b.p95_um, at_tip))
        fact.put("runout_to_feed_percent", lift(lambda b: b.p95_um / (feed * 1000.0) * 100.0, at_tip))
    if operation.coolant == "through" and machine is not None:
        fact.put("machine_coolant", given(machine.coolant_through, "/machine/coolant_through"))
    return [fact.build()]
