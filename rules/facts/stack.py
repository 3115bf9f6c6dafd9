"""Facts about the stack as a whole, its knob and the machine's limits."""

from __future__ import annotations

from rules.couplings import steep_taper
from rules.couplings.sides import SteepTaper
from rules.facts.chain import Chain
from rules.facts.geometry import Geometry
from rules.facts.masses import Masses
from rules.quantities.missing import Lack, Maybe, given
from rules.rulebook.fact import Fact, FactBuilder
from rules.schema.components import RetentionKnob
from rules.schema.request import Machine

__all__ = ["stack_fact"]


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
