"""From a request to everything that can be derived of it.

All sums of randomly clocked vectors that a check asks for, worked out in one go: alone each costs more.

Facts about what the operation asks: speed, balance, runout, load, bending and coolant.

Facts about joints: what meets what, how well it fits and how much of it is held.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from rules.balance.analysis import (
    CoupleSum,
    StackBalance,
    UnbalanceSum,
    UnbalanceVectors,
    balance_of,
    couple_sum,
    unbalance_question,
    unbalance_sum,
    unbalance_vectors,
)
from rules.bending.analysis import StackStiffness, stiffness_of
from rules.couplings import collets, hollow_taper, steep_taper, straight_shank
from rules.couplings.definition import JointClass
from rules.couplings.sides import (
    ArborShellMill,
    ColletBore,
    CylindricalShank,
    Declared,
    HollowTaper,
    Hydraulic,
    MillingChuck,
    MorseTaper,
    NutCollet,
    PolygonalTaper,
    PressCollet,
    ShrinkFit,
    SideLock,
    SteepTaper,
)
from rules.cutting.analysis import CuttingLoad, asked_speed_of, cutting_diameter_of, cutting_load_of
from rules.cutting.formulas import speed_from_cutting_speed_rpm
from rules.grip import tolerances
from rules.grip.analysis import Grip, grips_of, put_strength
from rules.grip.fits import (
    CLAMPS,
    PRECISION_BORES,
    bore_of,
    clearance_of,
    deviations_of,
    is_slip_fit,
    shank_of,
)
from rules.quantities.missing import Lack, Maybe, given, known_or, lift, merge
from rules.random_vectors.random_sum import Question, RandomClocking
from rules.rulebook.fact import Fact, FactBuilder
from rules.runout.analysis import PlaneBudget, plane_law
from rules.runout.contributors import Contributors, contributors_of
from rules.schema.components import Collet, Cutter, GaugePin
from rules.schema.request import Machine, Milling, Operation, StackRequest
from rules.speed.analysis import SpeedLimits, critical_speed_of, speed_limits_of
from rules.stack.analysis import component_facts, stack_fact
from rules.stack.chain import Chain, JointCase, chain_of
from rules.stack.mass import Masses, masses_of
from rules.stack.outlines import outline_of
from rules.stack.positions import Geometry, geometry_of, grip_of, profile_length

__all__ = ["TELLING", "Derived", "derive", "joint_facts", "stated_minimum_grip"]


class RandomSums(NamedTuple):
    """Runout at two planes, unbalance and couple."""

    gauge_plane: Maybe[PlaneBudget]
    tip: Maybe[PlaneBudget]
    unbalance: Maybe[UnbalanceSum]
    couple: Maybe[CoupleSum]


def random_sums_of(
    gauge_plane: Maybe[float],
    tip: Maybe[float],
    contributors: Contributors,
    vectors: Maybe[UnbalanceVectors],
    limit_um: float | None,
) -> RandomSums:
    """Sum the contributors at gauge plane and tip (mm from the gauge line), and the vectors of unbalance."""
    planes = [
        place if isinstance(place, Lack) else plane_law(place, contributors.known, limit_um)
        for place in (gauge_plane, tip)
    ]
    questions: list[Question] = [plane.question() for plane in planes if not isinstance(plane, Lack)]
    if not isinstance(vectors, Lack):
        questions.append(unbalance_question(vectors.static))
    answers = iter(RandomClocking.figures_of(questions))
    at_gauge_plane, at_tip = [plane if isinstance(plane, Lack) else plane.budget(next(answers)) for plane in planes]
    if isinstance(vectors, Lack):
        return RandomSums(at_gauge_plane, at_tip, vectors, vectors)
    unbalance = unbalance_sum(vectors.static, questions[-1], next(answers))
    return RandomSums(at_gauge_plane, at_tip, unbalance, couple_sum(vectors.couple))


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


_TAPERS: Final = (SteepTaper, HollowTaper, PolygonalTaper, MorseTaper)
_FORMED: Final = (SteepTaper, HollowTaper, MorseTaper)

_FLATTED_BADLY_HELD: Final = (ColletBore, ShrinkFit, Hydraulic, MillingChuck)
"""Round clamps, in which a flat takes away seat and balance."""


def clamping_range(side: ColletBore, collet: Collet, at: str) -> tuple[Maybe[float], Maybe[float]]:
    """Return the smallest and the largest shank a collet may hold, mm."""
    largest = side.clamping_max_mm if side.clamping_max_mm is not None else side.nominal_mm
    smallest = side.clamping_min_mm
    seat = collet.machine_side
    if smallest is None and largest is not None and isinstance(seat, NutCollet) and seat.size is not None:
        capacity = collets.capacity(seat.size)
        if capacity.min_mm <= largest <= capacity.max_mm:
            smallest = collets.clamping_range(seat.size, largest).min_mm
    return given(smallest, at, "clamping_min_mm"), given(largest, at, "clamping_max_mm")


def stated_minimum_grip(case: JointCase) -> float | None:
    """Return the longest of the minimum grips the two components state, mm."""
    side, shank = case.upper_side, shank_of(case)
    holds = side.minimum_grip_mm if isinstance(side, CLAMPS) else None
    wants = None if shank is None else shank.minimum_grip_mm
    if holds is None or wants is None:
        return wants if holds is None else holds
    return max(holds, wants)


def _taper(fact: FactBuilder, case: JointCase) -> None:
    upper, lower = case.upper_side, case.lower.machine_side
    if isinstance(upper, _TAPERS) and isinstance(lower, _TAPERS) and upper.coupling == lower.coupling:
        fact.put("upper_size", given(upper.size, case.upper_at, "size"))
        fact.put("lower_size", given(lower.size, case.lower_at, "size"))
    if isinstance(upper, _FORMED) and isinstance(lower, _FORMED) and upper.coupling == lower.coupling:
        upper_form = given(upper.form, case.upper_at, "form")
        lower_form = given(lower.form, case.lower_at, "form")
        fact.put("upper_form", upper_form)
        fact.put("lower_form", lower_form)
        fact.put("forms_interchange", lift(_interchange, upper, case, upper_form, lower_form))


def _interchange(
    upper: SteepTaper | HollowTaper | MorseTaper, case: JointCase, upper_form: str, lower_form: str
) -> Maybe[bool]:
    """Whether two forms fit; where the standards at hand do not settle it, the drawings have to: a lack."""
    if isinstance(upper, MorseTaper):
        return upper_form == lower_form
    compare = steep_taper.interchange if isinstance(upper, SteepTaper) else hollow_taper.interchange
    answer = compare(upper_form, lower_form)
    if answer == "not_settled":
        return Lack((f"{case.upper_at}/form", f"{case.lower_at}/form"))
    return answer == "fits"


def _collet_seat(fact: FactBuilder, case: JointCase) -> None:
    upper, lower = case.upper_side, case.lower.machine_side
    if isinstance(upper, NutCollet) and isinstance(lower, NutCollet):
        fact.put("socket_size", given(upper.size, case.upper_at, "size"))
        fact.put("collet_size", given(lower.size, case.lower_at, "size"))
    if isinstance(upper, PressCollet) and isinstance(lower, PressCollet):
        fact.put("socket_designation", given(upper.designation, case.upper_at, "designation"))
        fact.put("collet_designation", given(lower.designation, case.lower_at, "designation"))


def _pilot(fact: FactBuilder, case: JointCase) -> None:
    upper, lower = case.upper_side, case.lower.machine_side
    if isinstance(upper, ArborShellMill) and isinstance(lower, ArborShellMill):
        fact.put("arbor_pilot_mm", given(upper.pilot_diameter_mm, case.upper_at, "pilot_diameter_mm"))
        fact.put("cutter_pilot_mm", given(lower.pilot_diameter_mm, case.lower_at, "pilot_diameter_mm"))
        fact.put("arbor_drive", given(upper.drive, case.upper_at, "drive"))
        fact.put("cutter_drive", given(lower.drive, case.lower_at, "drive"))


def _declared(fact: FactBuilder, case: JointCase) -> None:
    upper, lower = case.upper_side, case.lower.machine_side
    if isinstance(upper, Declared) and isinstance(lower, Declared):
        fact.put("upper_designation", given(upper.designation, case.upper_at, "designation"))
        fact.put("lower_designation", given(lower.designation, case.lower_at, "designation"))
        fact.put("upper_gender", given(upper.gender, case.upper_at, "gender"))
        fact.put("lower_gender", given(lower.gender, case.lower_at, "gender"))
        if upper.diameter_mm is not None or lower.diameter_mm is not None:
            fact.put("upper_diameter_mm", given(upper.diameter_mm, case.upper_at, "diameter_mm"))
            fact.put("lower_diameter_mm", given(lower.diameter_mm, case.lower_at, "diameter_mm"))


def _held_shank(fact: FactBuilder, case: JointCase) -> None:
    shank = case.lower.machine_side
    if isinstance(shank, CylindricalShank):
        _fixed_bore(fact, case, shank)
        _collet_bore(fact, case, shank)
        _grip(fact, case, shank)


def _fixed_bore(fact: FactBuilder, case: JointCase, shank: CylindricalShank) -> None:
    bore = bore_of(case)
    if bore is None:
        return
    bore_diameter = given(bore.diameter_mm, case.upper_at, "diameter_mm")
    shank_diameter = given(shank.diameter_mm, case.lower_at, "diameter_mm")
    fact.put("bore_diameter_mm", bore_diameter)
    fact.put("shank_diameter_mm", shank_diameter)
    if known_or(lift(lambda hole, pin: hole == pin, bore_diameter, shank_diameter), True):
        clearance = clearance_of(case)
        least, most = lift(lambda c: c[0], clearance), lift(lambda c: c[1], clearance)
        if isinstance(bore, ShrinkFit):
            fact.put("shrink_interference_min_um", lift(lambda c: -c, most))
        else:
            fact.put("clearance_min_um", least)
            if is_slip_fit(case):
                fact.put("clearance_max_um", most)
    if isinstance(bore, PRECISION_BORES):
        limits = deviations_of(shank, case.lower_at, hole=False)
        fact.put("shank_lower_um", lift(lambda pair: pair[0], limits))
        fact.put("h6_lower_um", lift(_h6_lower, shank_diameter, case.lower_at))
    if isinstance(bore, SideLock):
        fact.put("flat_needed", given(bore.flat, case.upper_at, "flat"))
        fact.put("shank_form", given(shank.form, case.lower_at, "form"))


def _h6_lower(diameter: float, at: str) -> Maybe[float]:
    try:
        return tolerances.limits(diameter, "h6", hole=False).lower_um
    except ValueError:
        return Lack((f"{at}/diameter_mm",))


def _collet_bore(fact: FactBuilder, case: JointCase, shank: CylindricalShank) -> None:
    side = case.upper_side
    if not isinstance(side, ColletBore) or case.upper is None or not isinstance(case.upper.part, Collet):
        return
    diameter = given(shank.diameter_mm, case.lower_at, "diameter_mm")
    smallest, largest = clamping_range(side, case.upper.part, case.upper_at)
    fact.put("shank_diameter_mm", diameter)
    fact.put("clamping_min_mm", smallest)
    fact.put("clamping_max_mm", largest)
    if known_or(lift(lambda low, high: high > low, smallest, largest), True):
        fact.put(
            "collapse_share",
            lift(lambda low, high, pin: (high - pin) / (high - low), smallest, largest, diameter),
        )


def _grip(fact: FactBuilder, case: JointCase, shank: CylindricalShank) -> None:
    side, at = case.upper_side, case.upper_at
    grip = grip_of(case)
    fact.put("grip_length_mm", grip)
    depth = side.depth_mm if isinstance(side, CLAMPS) else None
    fact.put("bore_depth_mm", given(depth, at, "depth_mm"))
    shank_length = shank.length_mm
    if shank_length is None and isinstance(case.lower.part, GaugePin):
        shank_length = case.lower.part.overall_length_mm
    fact.put("shank_length_mm", given(shank_length, case.lower_at, "length_mm"))
    minimum = stated_minimum_grip(case)
    if minimum is not None:
        fact.put("minimum_grip_mm", minimum)
    elif isinstance(side, ColletBore):
        length = given(side.length_mm, at, "length_mm")
        fact.put("collet_length_mm", length)
        fact.put("grip_to_collet_length", lift(lambda g, total: g / total, grip, length))
    else:
        fact.put("standard_shank_mm", _standard_shank(case, shank))
    if isinstance(side, _FLATTED_BADLY_HELD):
        fact.put("flatted_in_round_clamp", lift(_has_flat, given(shank.form, case.lower_at, "form")))
    _lengths_agree(fact, case)


def _has_flat(form: str) -> bool:
    return form != "plain"


def _standard_shank(case: JointCase, shank: CylindricalShank) -> Maybe[float]:
    length = None if shank.diameter_mm is None else straight_shank.shank_length("din_6535", shank.diameter_mm)
    return given(length, case.upper_at, "minimum_grip_mm")


def _lengths_agree(fact: FactBuilder, case: JointCase) -> None:
    """Grip, projection and overall length, where all three are stated, must add up."""
    statement, part = case.statement, case.lower.part
    if statement is None or statement.grip_length_mm is None or statement.projection_mm is None:
        return
    overall = getattr(part, "overall_length_mm", None) or profile_length(part)
    if overall is None:
        return
    fact.put("length_mismatch_mm", abs(statement.grip_length_mm + statement.projection_mm - overall))
    fact.put("overall_length_mm", overall)


TELLING: Final[dict[JointClass, Callable[[FactBuilder, JointCase], None]]] = {
    "taper": _taper,
    "collet_seat": _collet_seat,
    "arbor": _pilot,
    "declared": _declared,
    "grip": _held_shank,
}
"""What there is to tell of a joint, by its class, which is that of its workpiece side."""


def _joint(case: JointCase, key: str) -> FactBuilder:
    at = (case.upper_at, case.lower_at)
    upper, lower = case.upper_side, case.lower.machine_side
    fact = FactBuilder(
        "joint",
        key,
        at if case.statement is None else (*at, case.statement_at),
        joint=case.name,
        upper=case.upper_name,
        lower=case.lower.part.id,
    )
    upper_coupling = given(None if upper is None else upper.coupling, case.upper_at)
    lower_coupling = given(None if lower is None else lower.coupling, case.lower_at)
    fact.put("upper_coupling", upper_coupling)
    fact.put("lower_coupling", lower_coupling)
    mates = case.mated
    fact.put(
        "spindle_mates" if case.upper is None else "mates",
        merge(upper_coupling, lower_coupling) if mates is None else mates,
    )
    if case.joint_class is not None:
        TELLING[case.joint_class](fact, case)
    return fact


def joint_facts(chain: Chain, grips: Sequence[Grip], speed: Maybe[float] | None) -> list[Fact]:
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
