"""Analysis of a request: runs the subjects in order of dependence and collects the facts for the rules.

All sums of vectors at random angles are computed in one batch, which is quicker than one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from rules.answer.provenance import cautions
from rules.balance.analysis import (
    BalanceSums,
    StackBalance,
    UnbalanceVectors,
    balance_of,
    balance_properties,
    balance_questions,
    balance_sums,
    unbalance_vectors,
)
from rules.bending.analysis import (
    StackStiffness,
    deflection_properties,
    seat_properties,
    stiffness_of,
    vibration_properties,
)
from rules.cutting.analysis import (
    NO_LOAD,
    CuttingLoad,
    bending_properties,
    cut_properties,
    cutting_load_of,
    drive_properties,
    grip_properties,
    programmed_speed_of,
    tapping_properties,
)
from rules.grip.analysis import Grip, collet_properties, grips_of, held_shank_properties, put_strength
from rules.quantities.missing import Missing, OrMissing, missing_of, or_missing, when_known
from rules.random_vectors.random_sum import Question, RandomClocking
from rules.rulebook.fact import Fact, Properties
from rules.runout.analysis import PlaneBudget, plane_law, runout_properties
from rules.runout.contributors import Contributors, contributors_of
from rules.runout.formulas import Tir
from rules.schema.request import DEFAULT_POLICY, Operation, StackRequest
from rules.speed.analysis import SpeedLimits, component_speed_properties, programmed_speed_properties, speed_limits_of
from rules.stack.analysis import (
    behind_properties,
    body_properties,
    bore_properties,
    contradiction_properties,
    in_place,
    knob_properties,
    machine_limit_properties,
    mass_properties,
    overhang_properties,
    room_properties,
)
from rules.stack.chain import Chain, Member, StackJoint, chain_of
from rules.stack.mass import Masses, masses_of
from rules.stack.outlines import OutlinePiece, outline_of
from rules.stack.positions import Positions, positions_on_axis, reading_plane

__all__ = ["StackAnalysis", "analyse", "cautions_of", "component_facts", "joint_facts", "stack_fact"]


class RandomSums(NamedTuple):
    """Runout at the planes, and unbalance."""

    gauge_plane: OrMissing[PlaneBudget]
    tip: OrMissing[PlaneBudget]
    reading: PlaneBudget | None
    balance: OrMissing[BalanceSums]


def random_sums_of(
    gauge_plane: OrMissing[float],
    tip: OrMissing[float],
    reading: float | None,
    contributors: Contributors,
    vectors: OrMissing[UnbalanceVectors],
    limit_um: Tir | None,
) -> RandomSums:
    """Return the sums of the contributors at the planes (mm from the gauge line), and of the unbalance."""
    nowhere = Missing(())
    planes = [
        place if isinstance(place, Missing) else plane_law(place, contributors.known, limit_um)
        for place in (gauge_plane, tip, nowhere if reading is None else reading)
    ]
    questions: list[Question] = [
        question for plane in planes if not isinstance(plane, Missing) for question in plane.questions()
    ]
    if not isinstance(vectors, Missing):
        questions.extend(balance_questions(vectors))
    answers = iter(RandomClocking.figures_of(questions))
    at_gauge_plane, at_tip, there = [
        plane if isinstance(plane, Missing) else plane.budget(next(answers), next(answers)) for plane in planes
    ]
    at_reading = None if isinstance(there, Missing) else there
    if isinstance(vectors, Missing):
        return RandomSums(at_gauge_plane, at_tip, at_reading, vectors)
    rest = list(answers)
    return RandomSums(at_gauge_plane, at_tip, at_reading, balance_sums(vectors, questions[-len(rest) :], rest))


Outlines: TypeAlias = tuple[OrMissing[tuple[OutlinePiece, ...]], ...]


def operation_facts(
    chain: Chain,
    geometry: Positions,
    at_limit: OrMissing[PlaneBudget],
    at_tip: OrMissing[PlaneBudget],
    balance: StackBalance,
    stiffness: StackStiffness,
    load: CuttingLoad,
    speed: OrMissing[float] | None,
    outlines: Outlines,
) -> list[Fact]:
    """Return the one fact about the operation, or none where no operation is stated."""
    operation, machine, at = chain.operation, chain.machine, chain.operation_at
    if operation is None:
        return []
    fact = Properties("operation", "operation", (at,), stack=chain.request.stack.id or "the stack")
    if speed is not None:
        programmed_speed_properties(fact, chain, operation, speed)
        balance_properties(fact, chain, operation, balance)
        vibration_properties(fact, chain, stiffness, speed)
    deflection_properties(fact, operation, at, stiffness, load)
    if operation.stated_limits.deflection_um is not None:
        unloaded = Missing((f"{at}/load/radial_force_n",))
        deflection = unloaded if stiffness.deflection_um is None else stiffness.deflection_um
        bending_properties(fact, chain, load, when_known(lambda band: band.low, deflection))
    seat_properties(fact, chain, geometry, load)
    drive_properties(fact, chain, load)
    cut_properties(fact, chain, operation.cut, geometry.projections[-1] if geometry.projections else None)
    tapping_properties(fact, chain, load)
    if chain.members:
        body_properties(fact, chain, outlines[-1], geometry.tip)
    runout_properties(fact, operation, chain.request.policy, at_limit, at_tip)
    if operation.coolant == "through" and machine is not None:
        fact.add("machine_coolant", or_missing(machine.coolant_through, "/machine/coolant_through"))
    return [fact.build()]


def _joint(case: StackJoint, key: str) -> Properties:
    at = (case.upper_at, case.lower_at)
    upper, lower = case.upper_side, case.lower.machine_side
    fact = Properties(
        "joint",
        key,
        at if case.statement is None else (*at, case.statement_at),
        joint=case.name,
        upper=case.upper_name,
        lower=case.lower.part.id,
    )
    upper_coupling = or_missing(None if upper is None else upper.coupling, case.upper_at)
    lower_coupling = or_missing(None if lower is None else lower.coupling, case.lower_at)
    fact.add("upper_coupling", upper_coupling)
    fact.add("lower_coupling", lower_coupling)
    mates = case.mated
    fact.add(
        "spindle_mates" if case.upper is None else "mates",
        missing_of(upper_coupling, lower_coupling) if mates is None else mates,
    )
    if case.joint_class == "grip":
        held_shank_properties(fact, case)
    elif case.coupling is not None:
        for name, value in case.coupling.properties(case.ends):
            fact.add(name, value)
    return fact


def joint_facts(
    chain: Chain,
    grips: Sequence[Grip],
    speed: OrMissing[float] | None,
    load: CuttingLoad = NO_LOAD,
    placed: tuple[Positions, Outlines] | None = None,
) -> list[Fact]:
    """Return one fact per joint, that of the spindle first if a machine is given.

    ``placed`` holds positions and outlines of the members, for what depends on them.
    """
    cases = ([chain.spindle_joint] if chain.spindle_joint else []) + list(chain.joints)
    held = {id(grip.case): grip for grip in grips}
    facts = []
    for number, case in enumerate(cases):
        fact = _joint(case, f"joint:{number}")
        grip = held.get(id(case))
        if grip is not None:
            put_strength(fact, grip, speed)
            if grip.safety is not None:
                grip_properties(fact, load, grip.safety)
            if placed is not None:
                geometry, outlines = placed
                room_properties(fact, chain, grip.index, geometry)
                bore_properties(fact, grip.case, outlines[grip.index], geometry.places[grip.index].face)
                if grip.index and chain.members[grip.index].part.kind == "collet":
                    behind_properties(fact, grip.case, outlines[grip.index - 1], geometry.places[grip.index])
        facts.append(fact.build())
    return facts


@dataclass(frozen=True, slots=True)
class StackAnalysis:
    """All properties derived from a request before the rules judge it."""

    chain: Chain
    geometry: Positions
    contributors: Contributors
    speed: OrMissing[float] | None
    """Programmed speed, rpm; None if not stated."""
    gauge_plane: OrMissing[PlaneBudget]
    """Budget of the known contributors; missing if the position of the plane is unknown."""
    tip: OrMissing[PlaneBudget]
    reading: PlaneBudget | None
    """Budget at the plane to read instead of a gauge plane on the flutes; None without such a plane."""
    masses: Masses
    balance: StackBalance
    load: CuttingLoad
    grips: tuple[Grip, ...]
    grips_at_rest: tuple[Grip, ...]
    """The same without speed and load."""
    stiffness: StackStiffness
    speed_limits: SpeedLimits
    facts: tuple[Fact, ...]


def _complete(budget: OrMissing[PlaneBudget], contributors: Contributors) -> OrMissing[PlaneBudget]:
    """Return the budget if no contributor is missing; a partial sum must not be judged."""
    if contributors.lacking is None:
        return budget
    missing = budget.fields if isinstance(budget, Missing) else ()
    return Missing(tuple(dict.fromkeys((*contributors.lacking.fields, *missing))))


def analyse(
    request: StackRequest, operation: Operation | None = None, operation_at: str = "/operations/0"
) -> StackAnalysis:
    """Derive geometry, budgets, masses, balance, loads, bending and the facts that the rules judge.

    The request is resolved: no references are left. Without an operation the stack itself is analysed.
    """
    chain = chain_of(request, operation, operation_at)
    geometry = positions_on_axis(chain)
    speed = programmed_speed_of(chain)
    contributors = contributors_of(chain, geometry)
    limit = None if operation is None or operation.runout_limit_um is None else Tir(operation.runout_limit_um)
    masses = masses_of(chain, geometry)
    vectors = unbalance_vectors(chain, geometry, contributors, masses)
    reading = reading_plane(chain, geometry)
    sums = random_sums_of(geometry.gauge_plane, geometry.tip, reading, contributors, vectors, limit)
    balance = balance_of(chain, masses, sums.balance, speed)
    outlines = tuple([outline_of(member, place) for member, place in zip(chain.members, geometry.places, strict=True)])
    at_tip = _complete(sums.tip, contributors)
    # the runout with which the teeth cut: the 95th percentile at the tip, as a total indicator reading
    tip_runout = when_known(lambda budget: float(budget.judged(request.policy).p95_um), at_tip)
    load = cutting_load_of(chain, speed, tip_runout)
    grips = at_rest = grips_of(chain, geometry, outlines, load, speed)
    if chain.operation is not None and any(grip.falls_with_speed for grip in grips):
        at_rest = grips_of(chain, geometry, outlines, NO_LOAD, None)
    stiffness = stiffness_of(chain, geometry, outlines, masses, load)
    limit_at_tip = operation is not None and operation.runout_limit_at == "tip"
    at_limit = at_tip if limit_at_tip else _complete(sums.gauge_plane, contributors)
    facts = (
        stack_fact(chain, geometry, masses),
        *component_facts(chain, geometry, masses, speed),
        *joint_facts(chain, grips, speed, load, (geometry, outlines)),
        *operation_facts(chain, geometry, at_limit, at_tip, balance, stiffness, load, speed, outlines),
    )
    return StackAnalysis(
        chain,
        geometry,
        contributors,
        speed,
        sums.gauge_plane,
        sums.tip,
        sums.reading,
        masses,
        balance,
        load,
        grips,
        at_rest,
        stiffness,
        speed_limits_of(chain, balance, stiffness, grips),
        facts,
    )


def _component(chain: Chain, member: Member, is_repeated: bool, speed: OrMissing[float] | None) -> Properties:
    part, operation = member.part, chain.operation
    fact = Properties(
        "component",
        f"component:{member.at}",
        (member.at,),
        component=part.id,
        component_kind=part.kind,
        id_repeated=is_repeated,
    )
    component_speed_properties(fact, member, speed)
    contradiction_properties(fact, member)
    if operation is not None and operation.coolant == "through":
        fact.add("passes_coolant", or_missing(part.coolant_through, member.at, "coolant_through"))
    return fact


def component_facts(chain: Chain, geometry: Positions, masses: Masses, speed: OrMissing[float] | None) -> list[Fact]:
    """Return one fact per component, in the order of the chain, knobs last."""
    ids = [part.id for part in chain.request.stack.components]
    flutes = (chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
    facts = []
    for index, member in enumerate(chain.members):
        fact = _component(chain, member, ids.count(member.part.id) > 1, speed)
        mass_properties(fact, member, masses.outline_masses[index])
        fact.add("in_place", in_place(index, member, len(chain.members)))
        if index > 0:
            overhang_properties(fact, member, geometry.projections[index - 1], flutes)
        collet_properties(fact, member)
        facts.append(fact.build())
    for member in chain.knobs:
        facts.append(_component(chain, member, ids.count(member.part.id) > 1, speed).build())
    return facts


def stack_fact(chain: Chain, geometry: Positions, masses: Masses) -> Fact:
    """Return the one fact about the stack."""
    request = chain.request
    fact = Properties(
        "stack",
        "stack",
        ("/stack",),
        stack=request.stack.id or "the stack",
        ends_with_tool=bool(chain.members) and chain.members[-1].is_tool,
        extension_count=float([member.part.kind for member in chain.members].count("extension")),
        knob_count=float(len(chain.knobs)),
        stray_joint_count=float(len(chain.stray_joints)),
    )
    if chain.stray_joints:
        fact.add("stray_joints", ", ".join(chain.stray_joints))
    plane = geometry.gauge_plane
    if not isinstance(plane, Missing):
        fact.add("plane_beyond_tip_mm", when_known(lambda tip: plane - tip, geometry.tip))
    knob_properties(fact, chain.machine, chain)
    machine_limit_properties(fact, chain.machine, chain, geometry, masses)
    return fact.build()


def cautions_of(derived: StackAnalysis) -> list[str]:
    """Return the general cautions, then those of the couplings in this stack."""
    chain = derived.chain
    return cautions(
        [case.upper_side.coupling for case in chain.joints if case.upper_side is not None],
        derived.masses.total,
        has_knob=bool(chain.knobs),
    )
