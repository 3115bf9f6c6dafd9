"""Run the subjects in order and add what they derive to the facts that the rules judge.

All random sums of a check are computed in one batch, because each costs more alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rules.answer.provenance import cautions
from rules.balance.analysis import (
    CoupleSum,
    StackBalance,
    UnbalanceSum,
    UnbalanceVectors,
    balance_of,
    balance_properties,
    couple_sum,
    unbalance_question,
    unbalance_sum,
    unbalance_vectors,
)
from rules.bending.analysis import (
    StackStiffness,
    deflection_properties,
    stiffness_of,
    vibration_properties,
)
from rules.couplings import steep_taper
from rules.couplings.definition import deviation_of
from rules.couplings.steep_taper import SteepTaper
from rules.cutting.analysis import (
    CuttingLoad,
    cut_properties,
    cutting_load_of,
    drive_properties,
    programmed_speed_of,
)
from rules.grip.analysis import Grip, collet_properties, grips_of, held_shank_properties, put_strength
from rules.quantities.missing import Missing, OrMissing, missing_of, or_missing, when_both_known
from rules.random_vectors.random_sum import Question, RandomClocking
from rules.rulebook.fact import Fact, Properties
from rules.runout.analysis import PlaneBudget, plane_law, runout_properties
from rules.runout.contributors import Contributors, contributors_of
from rules.runout.formulas import Tir
from rules.schema.components import RetentionKnob, StackPart
from rules.schema.request import Machine, StackRequest
from rules.speed.analysis import SpeedLimits, component_speed_properties, programmed_speed_properties, speed_limits_of
from rules.stack.chain import Chain, Member, StackJoint, chain_of
from rules.stack.mass import Masses, masses_of
from rules.stack.outlines import narrow_end, outline_of, thinnest_wall
from rules.stack.positions import Positions, positions_on_axis, profile_length, tool_diameter

__all__ = [
    "StackAnalysis",
    "analyse",
    "component_facts",
    "contradiction_properties",
    "in_place",
    "joint_facts",
    "knob_properties",
    "machine_limit_properties",
    "mass_properties",
    "overhang_properties",
    "stack_fact",
]


class RandomSums(NamedTuple):
    """Runout at two planes, unbalance and couple."""

    gauge_plane: OrMissing[PlaneBudget]
    tip: OrMissing[PlaneBudget]
    unbalance: OrMissing[UnbalanceSum]
    couple: OrMissing[CoupleSum]


def random_sums_of(
    gauge_plane: OrMissing[float],
    tip: OrMissing[float],
    contributors: Contributors,
    vectors: OrMissing[UnbalanceVectors],
    limit_um: Tir | None,
) -> RandomSums:
    """Sum the contributors at gauge plane and tip (mm from the gauge line), and the vectors of unbalance."""
    planes = [
        place if isinstance(place, Missing) else plane_law(place, contributors.known, limit_um)
        for place in (gauge_plane, tip)
    ]
    questions: list[Question] = [plane.question() for plane in planes if not isinstance(plane, Missing)]
    if not isinstance(vectors, Missing):
        questions.append(unbalance_question(vectors.static))
    answers = iter(RandomClocking.figures_of(questions))
    at_gauge_plane, at_tip = [plane if isinstance(plane, Missing) else plane.budget(next(answers)) for plane in planes]
    if isinstance(vectors, Missing):
        return RandomSums(at_gauge_plane, at_tip, vectors, vectors)
    unbalance = unbalance_sum(vectors.static, questions[-1], next(answers))
    return RandomSums(at_gauge_plane, at_tip, unbalance, couple_sum(vectors.couple))


def operation_facts(
    chain: Chain,
    at_limit: OrMissing[PlaneBudget],
    at_tip: OrMissing[PlaneBudget],
    balance: StackBalance,
    stiffness: StackStiffness,
    load: CuttingLoad,
    speed: OrMissing[float] | None,
) -> list[Fact]:
    """Return the one fact about the operation, or none where no operation is stated."""
    operation, machine = chain.request.operation, chain.request.machine
    if operation is None:
        return []
    fact = Properties("operation", "operation", ("/operation",), stack=chain.request.stack.id or "the stack")
    if speed is not None:
        programmed_speed_properties(fact, chain, operation, speed)
        balance_properties(fact, operation, balance)
        vibration_properties(fact, chain, stiffness, speed)
    deflection_properties(fact, operation, stiffness, load)
    drive_properties(fact, machine, load)
    cut_properties(fact, chain, operation.milling)
    runout_properties(fact, operation, at_limit, at_tip)
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


def joint_facts(chain: Chain, grips: Sequence[Grip], speed: OrMissing[float] | None) -> list[Fact]:
    """Return one fact a joint, the spindle's first where a machine is given."""
    cases = ([chain.spindle_joint] if chain.spindle_joint else []) + list(chain.joints)
    held = {id(grip.case): grip for grip in grips}
    facts = []
    for number, case in enumerate(cases):
        fact = _joint(case, f"joint:{number}")
        grip = held.get(id(case))
        if grip is not None:
            put_strength(fact, grip, speed)
        facts.append(fact.build())
    return facts


@dataclass(frozen=True, slots=True)
class StackAnalysis:
    """All that follows from a request before any rule has judged."""

    chain: Chain
    geometry: Positions
    contributors: Contributors
    speed: OrMissing[float] | None
    """Speed asked, rpm; None where none is."""
    gauge_plane: OrMissing[PlaneBudget]
    """Budget of the known contributors; a lack where the plane has no place."""
    tip: OrMissing[PlaneBudget]
    masses: Masses
    balance: StackBalance
    load: CuttingLoad
    grips: tuple[Grip, ...]
    stiffness: StackStiffness
    speed_limits: SpeedLimits
    facts: tuple[Fact, ...]


def _complete(budget: OrMissing[PlaneBudget], contributors: Contributors) -> OrMissing[PlaneBudget]:
    """Return the budget only where no contributor is missing: a partial sum judges nothing."""
    if contributors.lacking is None:
        return budget
    missing = budget.fields if isinstance(budget, Missing) else ()
    return Missing(tuple(dict.fromkeys((*contributors.lacking.fields, *missing))))


def analyse(request: StackRequest) -> StackAnalysis:
    """Derive geometry, budgets, masses, balance, loads, bending and the flat facts the rules judge."""
    chain = chain_of(request)
    geometry = positions_on_axis(chain)
    speed = programmed_speed_of(chain)
    contributors = contributors_of(chain, geometry)
    operation = request.operation
    limit = None if operation is None or operation.runout_limit_um is None else Tir(operation.runout_limit_um)
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
    return StackAnalysis(
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


def in_place(index: int, link: Member, count: int) -> bool:
    """A base holder stands first and only there; a cutter or pin stands last and only there."""
    first, last = index == 0, index == count - 1
    return (link.part.kind == "base_holder") == first and (not link.is_tool or last)


def mass_properties(fact: Properties, link: Member, outline_kg: OrMissing[float]) -> None:
    """How far a stated mass lies off the outline's; of a base holder the outline shows only a part."""
    stated = link.part.mass_kg
    if stated is None or isinstance(outline_kg, Missing):
        return
    off = (outline_kg - stated) / outline_kg
    fact.add("stated_mass_kg", stated)
    fact.add("outline_mass_kg", outline_kg)
    fact.add("mass_mismatch_ratio", max(0.0, off) if link.part.kind == "base_holder" else abs(off))


def overhang_properties(fact: Properties, link: Member, projection: OrMissing[float]) -> None:
    """Add projection, diameter and their ratio, of a cutting tool or an extension."""
    part = link.part
    if part.kind == "cutter":
        diameter = tool_diameter(link)
        fact.add("cutter_projection_mm", projection)
        fact.add("cutter_diameter_mm", diameter)
        fact.add(
            "cutter_projection_ratio", when_both_known(lambda length, across: length / across, projection, diameter)
        )
    elif part.kind == "extension":
        diameter = _slimmest(link, projection)
        fact.add("material", or_missing(part.material, link.at, "material"))
        fact.add("extension_projection_mm", projection)
        fact.add("extension_diameter_mm", diameter)
        fact.add(
            "extension_projection_ratio", when_both_known(lambda length, across: length / across, projection, diameter)
        )


def _slimmest(link: Member, projection: OrMissing[float]) -> OrMissing[float]:
    """Return the smallest outer diameter of the part that stands out, else the shank's."""
    profile = link.part.profile
    if profile and isinstance(projection, float):
        reach, outer = 0.0, []
        for piece in reversed(profile):
            if reach < projection:
                outer.append(narrow_end(piece))
            reach += piece.length_mm
        return min(outer or [narrow_end(profile[-1])])
    side = link.machine_side
    return or_missing(getattr(side, "diameter_mm", None), link.at, "profile")


def _stated_length(part: StackPart) -> float | None:
    """Return the length that the outline has to agree with; collets and knobs state none."""
    if part.kind == "collet" or part.kind == "retention_knob":
        return None
    return part.gauge_length_mm if part.kind == "base_holder" else part.overall_length_mm


def contradiction_properties(fact: Properties, link: Member) -> None:
    """Add what the rules compare to find contradictory data of one component."""
    part = link.part
    spans = [
        stated.upper_um - stated.lower_um
        for stated in map(deviation_of, (link.machine_side, link.workpiece_side))
        if stated is not None
    ]
    if spans:
        fact.add("tolerance_span_um", min(spans))
    if part.runout is not None:
        first, last = part.runout[0], part.runout[-1]  # one statement or two
        if first is not last:
            fact.add("runout_distance_mm", abs(first.at_mm - last.at_mm))
        if first.angle_deg is not None or last.angle_deg is not None:
            fact.add("angle_without_measurement", part.runout_law != "measured")
    stated, outline = _stated_length(part), profile_length(part)
    if stated is not None and outline is not None:
        fact.add("stated_length_mm", stated)
        fact.add("outline_length_mm", outline)
        fact.add("outline_mismatch_mm", abs(stated - outline))
    if part.profile:
        fact.add("thinnest_wall_mm", thinnest_wall(part.profile))


def _component(chain: Chain, link: Member, is_repeated: bool, speed: OrMissing[float] | None) -> Properties:
    part, operation = link.part, chain.request.operation
    fact = Properties(
        "component",
        f"component:{link.at}",
        (link.at,),
        component=part.id,
        component_kind=part.kind,
        id_repeated=is_repeated,
    )
    component_speed_properties(fact, link, speed)
    contradiction_properties(fact, link)
    if operation is not None and operation.coolant == "through":
        fact.add("passes_coolant", or_missing(part.coolant_through, link.at, "coolant_through"))
    return fact


def component_facts(chain: Chain, geometry: Positions, masses: Masses, speed: OrMissing[float] | None) -> list[Fact]:
    """Return one fact a component, in the order of the chain, knobs last."""
    ids = [part.id for part in chain.request.stack.components]
    facts = []
    for index, link in enumerate(chain.links):
        fact = _component(chain, link, ids.count(link.part.id) > 1, speed)
        mass_properties(fact, link, masses.outline_masses[index])
        fact.add("in_place", in_place(index, link, len(chain.links)))
        if index > 0:
            overhang_properties(fact, link, geometry.projections[index - 1])
        collet_properties(fact, link)
        facts.append(fact.build())
    for link in chain.knobs:
        facts.append(_component(chain, link, ids.count(link.part.id) > 1, speed).build())
    return facts


def _largest_diameter(chain: Chain) -> OrMissing[float]:
    """Return the largest diameter any component states; unknown while a holder has no outline."""
    largest, lacking = 0.0, []
    for link in chain.links:
        part = link.part
        if part.kind == "cutter":
            if part.cutting_diameter_mm is None:
                lacking.append(f"{link.at}/cutting_diameter_mm")
            largest = max(largest, part.cutting_diameter_mm or 0.0)
        elif part.profile is None and part.kind in ("base_holder", "extension", "reducer"):
            lacking.append(f"{link.at}/profile")
        for piece in part.profile or ():
            largest = max(largest, piece.outer_mm, piece.outer_end_mm or 0.0)
    return Missing(tuple(lacking)) if lacking else largest


def machine_limit_properties(
    fact: Properties, machine: Machine, chain: Chain, geometry: Positions, masses: Masses
) -> None:
    """Add each stated limit of the machine and the stack's value beside it."""
    if machine.max_tool_mass_kg is not None:
        fact.add("machine_max_mass_kg", machine.max_tool_mass_kg)
        fact.add("stack_mass_kg", masses.total)
    if machine.max_tilting_moment_n_m is not None:
        fact.add("machine_max_tilting_n_m", machine.max_tilting_moment_n_m)
        fact.add("tilting_moment_n_m", masses.tilting_moment_n_m)
    if machine.max_tool_length_mm is not None:
        fact.add("machine_max_length_mm", machine.max_tool_length_mm)
        fact.add("stack_projection_mm", geometry.tip)
    if machine.max_tool_diameter_mm is not None:
        fact.add("machine_max_diameter_mm", machine.max_tool_diameter_mm)
        fact.add("stack_diameter_mm", _largest_diameter(chain))


def knob_properties(fact: Properties, machine: Machine | None, chain: Chain) -> None:
    """A drawbar that grips a knob wants one of its own form, screwed into the thread the taper has."""
    knob = chain.knobs[0] if chain.knobs else None
    part = knob.part if knob is not None else None
    demand = None if machine is None else machine.retention_knob
    side = chain.links[0].machine_side if chain.links else None
    takes_knob = steep_taper.takes_knob(side)
    if machine is not None and takes_knob is not None:
        if takes_knob:
            fact.add("knob_lacking", or_missing(None if demand is None else knob is None, "/machine/retention_knob"))
        else:
            fact.add("knob_lacking", False)
    if knob is None or not isinstance(part, RetentionKnob):
        return
    if demand is not None:
        fact.add("knob_form", or_missing(part.form, knob.at, "form"))
        fact.add("drawbar_form", or_missing(demand.form, "/machine/retention_knob/form"))
        if part.head_angle_deg is not None and demand.head_angle_deg is not None:
            fact.add("knob_angle_deg", part.head_angle_deg)
            fact.add("drawbar_angle_deg", demand.head_angle_deg)
    if isinstance(side, SteepTaper):
        at = f"{chain.links[0].at}/machine_side"
        fact.add("knob_thread", or_missing(part.thread, knob.at, "thread"))
        if side.size is None or side.form is None:
            fact.add("taper_thread", Missing(tuple(f"{at}/{n}" for n in ("size", "form") if getattr(side, n) is None)))
        else:
            fact.add("taper_thread", steep_taper.thread_for_knob(side))


def stack_fact(chain: Chain, geometry: Positions, masses: Masses) -> Fact:
    """Return the one fact about the stack."""
    request = chain.request
    fact = Properties(
        "stack",
        "stack",
        ("/stack",),
        stack=request.stack.id or "the stack",
        ends_with_tool=bool(chain.links) and chain.links[-1].is_tool,
        extension_count=float([link.part.kind for link in chain.links].count("extension")),
        knob_count=float(len(chain.knobs)),
        stray_joint_count=float(len(chain.stray_joints)),
    )
    if chain.stray_joints:
        fact.add("stray_joints", ", ".join(chain.stray_joints))
    knob_properties(fact, request.machine, chain)
    if request.machine is not None:
        machine_limit_properties(fact, request.machine, chain, geometry, masses)
    return fact.build()


def cautions_of(derived: StackAnalysis) -> list[str]:
    """Return the cautions for everyone, then those of the couplings in this stack."""
    chain = derived.chain
    return cautions(
        [case.upper_side.coupling for case in chain.joints if case.upper_side is not None],
        derived.masses.total,
        has_knob=bool(chain.knobs),
    )
