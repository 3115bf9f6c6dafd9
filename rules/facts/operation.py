"""Facts about what the operation asks: speed, balance, runout, load, bending and coolant."""

from __future__ import annotations

from rules.balance.analysis import StackBalance
from rules.bending.analysis import StackStiffness
from rules.cutting.analysis import CuttingLoad, cutting_diameter_of
from rules.cutting.formulas import speed_from_cutting_speed_rpm
from rules.quantities.missing import Lack, Maybe, given, lift
from rules.rulebook.fact import Fact, FactBuilder
from rules.runout.analysis import PlaneBudget
from rules.schema.components import Cutter
from rules.schema.request import Machine, Milling, Operation
from rules.speed.analysis import critical_speed_of
from rules.stack.chain import Chain

__all__ = ["operation_facts"]


def _speed(fact: FactBuilder, chain: Chain, operation: Operation, speed: Maybe[float]) -> None:
    fact.put("spindle_speed_rpm", speed)
    machine = chain.request.machine
    if machine is not None and machine.max_speed_rpm is not None:
        fact.put("machine_max_speed_rpm", machine.max_speed_rpm)
    if operation.spindle_speed_rpm is not None and operation.cutting_speed_m_per_min is not None:
        implied = lift(speed_from_cutting_speed_rpm, operation.cutting_speed_m_per_min, cutting_diameter_of(chain))
        fact.put("implied_speed_rpm", implied)
        fact.put("speed_mismatch_ratio", lift(lambda one, two: abs(one - two) / two, implied, speed))


def _balance(fact: FactBuilder, operation: Operation, balance: StackBalance) -> None:
    if operation.balance_grade is None:
        return
    fact.put("balance_grade", operation.balance_grade)
    fact.put("balance_speed_rpm", balance.highest_speed_rpm)
    fact.put("unbalance_gmm", lift(lambda u: u.p95, balance.unbalance))
    fact.put("permissible_gmm", balance.permissible_gmm)
    fact.put("seating_gmm", balance.seating_gmm)


def _vibration(fact: FactBuilder, chain: Chain, stiffness: StackStiffness, speed: Maybe[float]) -> None:
    """Speed and tooth passing against the first bending frequency."""
    critical = critical_speed_of(chain, stiffness)
    if critical is None:
        return
    last = chain.links[-1] if chain.links else None
    teeth = None
    if last is not None and isinstance(last.part, Cutter):
        teeth = given(last.part.teeth, last.at, "teeth")
    fact.put("critical_speed_rpm", critical)
    fact.put("bending_frequency_hz", lift(lambda rpm: rpm / 60.0, critical))
    fact.put("spindle_frequency_hz", lift(lambda rpm: rpm / 60.0, speed))
    fact.put("spindle_to_critical", lift(lambda rpm, most: rpm / most, speed, critical))
    if teeth is not None:
        fact.put("tooth_passing_hz", lift(lambda rpm, count: rpm / 60.0 * count, speed, teeth))
        fact.put("tooth_passing_to_critical", lift(lambda rpm, count, most: rpm * count / most, speed, teeth, critical))


def _bending(fact: FactBuilder, operation: Operation, stiffness: StackStiffness, load: CuttingLoad) -> None:
    if operation.deflection_limit_um is None:
        return
    fact.put("deflection_limit_um", operation.deflection_limit_um)
    force = load.radial_force_n
    fact.put("radial_force_n", given(None, "/operation/radial_force_n") if force is None else force)
    deflection = stiffness.deflection_um
    fact.put("deflection_um", given(None, "/operation/radial_force_n") if deflection is None else deflection)


def _machine(fact: FactBuilder, machine: Machine | None, load: CuttingLoad) -> None:
    if machine is None:
        return
    if machine.max_torque_n_m is not None and load.torque_n_m is not None:
        fact.put("machine_max_torque_n_m", machine.max_torque_n_m)
        fact.put("torque_demand_n_m", load.torque_n_m)
    if machine.max_power_kw is not None and load.power_kw is not None:
        fact.put("machine_max_power_kw", machine.max_power_kw)
        fact.put("power_demand_kw", load.power_kw)


def _cut(fact: FactBuilder, chain: Chain, cut: Milling | None) -> None:
    """Depths of the cut against the cutter."""
    last = chain.links[-1] if chain.links else None
    if cut is None or last is None or not isinstance(last.part, Cutter):
        return
    if cut.radial_depth_mm is not None:
        fact.put("radial_depth_mm", cut.radial_depth_mm)
        fact.put("cutting_diameter_mm", cutting_diameter_of(chain))
    if cut.axial_depth_mm is not None and last.part.flute_length_mm is not None:
        fact.put("axial_depth_mm", cut.axial_depth_mm)
        fact.put("flute_length_mm", last.part.flute_length_mm)


def _runout(fact: FactBuilder, operation: Operation, at_limit: Maybe[PlaneBudget], at_tip: Maybe[PlaneBudget]) -> None:
    if operation.runout_limit_um is not None:
        fact.put("runout_limit_um", operation.runout_limit_um)
        fact.put("runout_plane", "the tip" if operation.runout_limit_at == "tip" else "the gauge plane")
        fact.put("runout_p95_um", lift(lambda b: b.p95_um, at_limit))
        if isinstance(at_limit, Lack) or at_limit.worst_case_um is not None:
            fact.put("runout_worst_um", lift(lambda b: b.worst_case_um, at_limit))
    if operation.feed_per_tooth_mm is not None:
        feed = operation.feed_per_tooth_mm
        fact.put("feed_per_tooth_mm", feed)
        fact.put("tip_runout_p95_um", lift(lambda b: b.p95_um, at_tip))
        fact.put("runout_to_feed_percent", lift(lambda b: b.p95_um / (feed * 1000.0) * 100.0, at_tip))


def operation_facts(
    chain: Chain,
    at_limit: Maybe[PlaneBudget],
    at_tip: Maybe[PlaneBudget],
    balance: StackBalance,
    stiffness: StackStiffness,
    load: CuttingLoad,
    speed: Maybe[float] | None,
) -> list[Fact]:
    """Return the one fact about the operation, or none where no operation is stated."""
    operation, machine = chain.request.operation, chain.request.machine
    if operation is None:
        return []
    fact = FactBuilder("operation", "operation", ("/operation",), stack=chain.request.stack.id or "the stack")
    if speed is not None:
        _speed(fact, chain, operation, speed)
        _balance(fact, operation, balance)
        _vibration(fact, chain, stiffness, speed)
    _bending(fact, operation, stiffness, load)
    _machine(fact, machine, load)
    _cut(fact, chain, operation.milling)
    _runout(fact, operation, at_limit, at_tip)
    if operation.coolant == "through" and machine is not None:
        fact.put("machine_coolant", given(machine.coolant_through, "/machine/coolant_through"))
    return [fact.build()]
