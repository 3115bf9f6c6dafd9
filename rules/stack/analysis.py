"""Facts about single components.

Facts about the stack as a whole, its knob and the machine's limits.
"""

from __future__ import annotations

from operator import truediv
from typing import Final

from rules.couplings import collets, steep_taper
from rules.couplings.sides import Bore, ColletBore, CylindricalShank, Declared, NutCollet, SteepTaper
from rules.cutting.formulas import cutting_speed_m_per_min
from rules.quantities.missing import Lack, Maybe, given, lift
from rules.rulebook.fact import Fact, FactBuilder
from rules.schema.components import Cutter, RetentionKnob, StackPart
from rules.schema.request import Machine
from rules.stack.chain import Chain, Link
from rules.stack.mass import Masses
from rules.stack.outlines import narrow_end, thinnest_wall
from rules.stack.positions import Geometry, profile_length, tool_diameter

__all__ = ["component_facts", "lacks_speed", "stack_fact"]


_MUST_STATE_SPEED: Final = frozenset({"base_holder", "extension", "reducer", "cutter"})
_TOLERATED: Final = (CylindricalShank, Bore, Declared)


def lacks_speed(link: Link) -> bool:
    """Whether a highest speed is missing: makers mark holders, extensions, reducers and cutters with one.

    A collet, knob or pin is judged only where one is stated.
    """
    return link.part.max_speed_rpm is None and link.part.kind in _MUST_STATE_SPEED


def _in_place(index: int, link: Link, count: int) -> bool:
    """A base holder stands first and only there; a cutter or pin stands last and only there."""
    first, last = index == 0, index == count - 1
    return (link.part.kind == "base_holder") == first and (not link.is_tool or last)


def _speed(fact: FactBuilder, link: Link, speed: Maybe[float] | None) -> None:
    part = link.part
    if speed is None or part.kind == "gauge_pin":
        return
    if part.kind == "cutter":
        _cutter_speed(fact, link, part, speed)
    if part.max_speed_rpm is None and not lacks_speed(link):
        return
    fact.put("spindle_speed_rpm", speed)
    fact.put("component_max_speed_rpm", given(part.max_speed_rpm, link.at, "max_speed_rpm"))


def _cutter_speed(fact: FactBuilder, link: Link, part: Cutter, speed: Maybe[float]) -> None:
    reached = lift(cutting_speed_m_per_min, speed, given(part.cutting_diameter_mm, link.at, "cutting_diameter_mm"))
    fact.put("peripheral_speed_m_per_min", reached)
    if part.max_cutting_speed_m_per_min is not None:
        fact.put("max_cutting_speed_m_per_min", part.max_cutting_speed_m_per_min)


def _mass(fact: FactBuilder, link: Link, outline_kg: Maybe[float]) -> None:
    """How far a stated mass lies off the outline's; of a base holder the outline shows only a part."""
    stated = link.part.mass_kg
    if stated is None or isinstance(outline_kg, Lack):
        return
    off = (outline_kg - stated) / outline_kg
    fact.put("stated_mass_kg", stated)
    fact.put("outline_mass_kg", outline_kg)
    fact.put("mass_mismatch_ratio", max(0.0, off) if link.part.kind == "base_holder" else abs(off))


def _overhang(fact: FactBuilder, link: Link, projection: Maybe[float]) -> None:
    part = link.part
    if part.kind == "cutter":
        diameter = tool_diameter(link)
        fact.put("cutter_projection_mm", projection)
        fact.put("cutter_diameter_mm", diameter)
        fact.put("cutter_projection_ratio", lift(truediv, projection, diameter))
    elif part.kind == "extension":
        diameter = _slimmest(link, projection)
        fact.put("material", given(part.material, link.at, "material"))
        fact.put("extension_projection_mm", projection)
        fact.put("extension_diameter_mm", diameter)
        fact.put("extension_projection_ratio", lift(truediv, projection, diameter))


def _slimmest(link: Link, projection: Maybe[float]) -> Maybe[float]:
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
    return given(getattr(side, "diameter_mm", None), link.at, "profile")


def _collet(fact: FactBuilder, link: Link) -> None:
    part = link.part
    if part.kind != "collet" or not isinstance(part.workpiece_side, ColletBore):
        return
    side = part.workpiece_side
    largest = side.clamping_max_mm if side.clamping_max_mm is not None else side.nominal_mm
    if side.clamping_min_mm is not None and largest is not None:
        fact.put("clamping_span_mm", largest - side.clamping_min_mm)
    if isinstance(part.machine_side, NutCollet) and part.machine_side.size is not None and largest is not None:
        fact.put("collet_largest_mm", largest)
        fact.put("series_capacity_mm", collets.capacity(part.machine_side.size).max_mm)


def _stated_length(part: StackPart) -> float | None:
    """Return the length that the outline has to agree with; collets and knobs state none."""
    if part.kind == "collet" or part.kind == "retention_knob":
        return None
    return part.gauge_length_mm if part.kind == "base_holder" else part.overall_length_mm


def _contradictions(fact: FactBuilder, link: Link) -> None:
    part = link.part
    spans = [
        end.deviation.upper_um - end.deviation.lower_um
        for end in (link.machine_side, link.workpiece_side)
        if isinstance(end, _TOLERATED) and end.deviation is not None
    ]
    if spans:
        fact.put("tolerance_span_um", min(spans))
    if part.runout is not None:
        first, last = part.runout[0], part.runout[-1]  # one statement or two
        if first is not last:
            fact.put("runout_distance_mm", abs(first.at_mm - last.at_mm))
        if first.angle_deg is not None or last.angle_deg is not None:
            fact.put("angle_without_measurement", part.runout_law != "measured")
    stated, outline = _stated_length(part), profile_length(part)
    if stated is not None and outline is not None:
        fact.put("stated_length_mm", stated)
        fact.put("outline_length_mm", outline)
        fact.put("outline_mismatch_mm", abs(stated - outline))
    if part.profile:
        fact.put("thinnest_wall_mm", thinnest_wall(part.profile))


def _component(chain: Chain, link: Link, is_repeated: bool, speed: Maybe[float] | None) -> FactBuilder:
    part, operation = link.part, chain.request.operation
    fact = FactBuilder(
        "component",
        f"component:{link.at}",
        (link.at,),
        component=part.id,
        component_kind=part.kind,
        id_repeated=is_repeated,
    )
    _speed(fact, link, speed)
    _contradictions(fact, link)
    if operation is not None and operation.coolant == "through":
        fact.put("passes_coolant", given(part.coolant_through, link.at, "coolant_through"))
    return fact


def component_facts(chain: Chain, geometry: Geometry, masses: Masses, speed: Maybe[float] | None) -> list[Fact]:
    """Return one fact a component, in the order of the chain, knobs last."""
    ids = [part.id for part in chain.request.stack.components]
    facts = []
    for index, link in enumerate(chain.links):
        fact = _component(chain, link, ids.count(link.part.id) > 1, speed)
        _mass(fact, link, masses.outline_masses[index])
        fact.put("in_place", _in_place(index, link, len(chain.links)))
        if index > 0:
            _overhang(fact, link, geometry.projections[index - 1])
        _collet(fact, link)
        facts.append(fact.build())
    for link in chain.knobs:
        facts.append(_component(chain, link, ids.count(link.part.id) > 1, speed).build())
    return facts


def _largest_diameter(chain: Chain) -> Maybe[float]:
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
    return Lack(tuple(lacking)) if lacking else largest


def _machine(fact: FactBuilder, machine: Machine, chain: Chain, geometry: Geometry, masses: Masses) -> None:
    if machine.max_tool_mass_kg is not None:
        fact.put("machine_max_mass_kg", machine.max_tool_mass_kg)
        fact.put("stack_mass_kg", masses.total)
    if machine.max_tilting_moment_n_m is not None:
        fact.put("machine_max_tilting_n_m", machine.max_tilting_moment_n_m)
        fact.put("tilting_moment_n_m", masses.tilting_moment_n_m)
    if machine.max_tool_length_mm is not None:
        fact.put("machine_max_length_mm", machine.max_tool_length_mm)
        fact.put("stack_projection_mm", geometry.tip)
    if machine.max_tool_diameter_mm is not None:
        fact.put("machine_max_diameter_mm", machine.max_tool_diameter_mm)
        fact.put("stack_diameter_mm", _largest_diameter(chain))


def _knob(fact: FactBuilder, machine: Machine | None, chain: Chain) -> None:
    """A drawbar that grips a knob wants one of its own form, screwed into the thread the taper has."""
    knob = chain.knobs[0] if chain.knobs else None
    part = knob.part if knob is not None else None
    demand = None if machine is None else machine.retention_knob
    side = chain.links[0].machine_side if chain.links else None
    if machine is not None and isinstance(side, SteepTaper):
        if side.form == "iso_297":
            fact.put("knob_lacking", False)
        else:
            fact.put("knob_lacking", given(None if demand is None else knob is None, "/machine/retention_knob"))
    if knob is None or not isinstance(part, RetentionKnob):
        return
    if demand is not None:
        fact.put("knob_form", given(part.form, knob.at, "form"))
        fact.put("drawbar_form", given(demand.form, "/machine/retention_knob/form"))
        if part.head_angle_deg is not None and demand.head_angle_deg is not None:
            fact.put("knob_angle_deg", part.head_angle_deg)
            fact.put("drawbar_angle_deg", demand.head_angle_deg)
    if isinstance(side, SteepTaper):
        at = f"{chain.links[0].at}/machine_side"
        fact.put("knob_thread", given(part.thread, knob.at, "thread"))
        if side.size is None or side.form is None:
            fact.put("taper_thread", Lack(tuple(f"{at}/{n}" for n in ("size", "form") if getattr(side, n) is None)))
        else:
            fact.put("taper_thread", steep_taper.knob_thread(side.form, side.size))


def stack_fact(chain: Chain, geometry: Geometry, masses: Masses) -> Fact:
    """Return the one fact about the stack."""
    request = chain.request
    fact = FactBuilder(
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
        fact.put("stray_joints", ", ".join(chain.stray_joints))
    _knob(fact, request.machine, chain)
    if request.machine is not None:
        _machine(fact, request.machine, chain, geometry, masses)
    return fact.build()
