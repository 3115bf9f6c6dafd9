"""Facts about single components."""

from __future__ import annotations

from collections import Counter

from rules.facts.builder import FactBuilder
from rules.facts.chain import Chain, Link
from rules.facts.geometry import Geometry, profile_length, tool_diameter
from rules.facts.masses import Masses
from rules.facts.outlines import thinnest_wall
from rules.facts.values import Lack, Maybe, given, lift
from rules.mechanics.milling import cutting_speed_m_per_min
from rules.model.components import BaseHolder, Collet, Cutter, Extension, GaugePin, ProfilePiece, Reducer
from rules.model.couplings import Bore, ColletBore, CylindricalShank, Declared, NutCollet
from rules.rulebook.fact import Fact
from rules.tables import nut_collet

__all__ = ["component_facts", "lacks_speed"]

_MUST_STATE_SPEED = (BaseHolder, Extension, Reducer, Cutter)


def lacks_speed(link: Link) -> bool:
    """Whether a highest speed is missing: makers mark holders, extensions, reducers and cutters with one.

    A collet, knob or pin is judged only where one is stated.
    """
    return link.part.max_speed_rpm is None and isinstance(link.part, _MUST_STATE_SPEED)


def _in_place(index: int, link: Link, count: int) -> bool:
    """A base holder stands first and only there; a cutter or pin stands last and only there."""
    first, last = index == 0, index == count - 1
    part = link.part
    return isinstance(part, BaseHolder) == first and (not isinstance(part, Cutter | GaugePin) or last)


def _speed(fact: FactBuilder, link: Link, speed: Maybe[float] | None) -> None:
    if speed is None or isinstance(link.part, GaugePin):
        return
    _cutter_speed(fact, link, speed)
    stated = link.part.max_speed_rpm
    if stated is None and not lacks_speed(link):
        return
    fact.put("spindle_speed_rpm", speed)
    fact.put("component_max_speed_rpm", given(stated, f"{link.at}/max_speed_rpm"))


def _cutter_speed(fact: FactBuilder, link: Link, speed: Maybe[float]) -> None:
    part = link.part
    if not isinstance(part, Cutter):
        return
    reached = lift(cutting_speed_m_per_min, speed, given(part.cutting_diameter_mm, f"{link.at}/cutting_diameter_mm"))
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
    fact.put("mass_mismatch_ratio", max(0.0, off) if isinstance(link.part, BaseHolder) else abs(off))


def _overhang(fact: FactBuilder, link: Link, projection: Maybe[float]) -> None:
    if isinstance(link.part, Cutter):
        diameter = tool_diameter(link)
        fact.put("cutter_projection_mm", projection)
        fact.put("cutter_diameter_mm", diameter)
        fact.put("cutter_projection_ratio", lift(lambda p, d: p / d, projection, diameter))
    if isinstance(link.part, Extension):
        diameter = _slimmest(link, projection)
        fact.put("material", given(link.part.material, f"{link.at}/material"))
        fact.put("extension_projection_mm", projection)
        fact.put("extension_diameter_mm", diameter)
        fact.put("extension_projection_ratio", lift(lambda p, d: p / d, projection, diameter))


def _outer_min(piece: ProfilePiece) -> float:
    return min(piece.outer_mm, piece.outer_end_mm or piece.outer_mm)


def _slimmest(link: Link, projection: Maybe[float]) -> Maybe[float]:
    """Return the smallest outer diameter of the part that stands out, else the shank's."""
    profile = link.part.profile
    if profile and isinstance(projection, float):
        reach, outer = 0.0, []
        for piece in reversed(profile):
            if reach < projection:
                outer.append(_outer_min(piece))
            reach += piece.length_mm
        return min(outer or [_outer_min(profile[-1])])
    side = link.machine_side
    return given(getattr(side, "diameter_mm", None), f"{link.at}/profile")


def _collet(fact: FactBuilder, link: Link) -> None:
    part = link.part
    if not isinstance(part, Collet) or not isinstance(part.workpiece_side, ColletBore):
        return
    side = part.workpiece_side
    largest = side.clamping_max_mm if side.clamping_max_mm is not None else side.nominal_mm
    if side.clamping_min_mm is not None and largest is not None:
        fact.put("clamping_span_mm", largest - side.clamping_min_mm)
    if isinstance(part.machine_side, NutCollet) and part.machine_side.size is not None and largest is not None:
        fact.put("collet_largest_mm", largest)
        fact.put("series_capacity_mm", nut_collet.capacity(part.machine_side.size).max_mm)


def _contradictions(fact: FactBuilder, link: Link) -> None:
    part = link.part
    spans = [
        end.deviation.upper_um - end.deviation.lower_um
        for end in (link.machine_side, link.workpiece_side)
        if isinstance(end, CylindricalShank | Bore | Declared) and end.deviation is not None
    ]
    if spans:
        fact.put("tolerance_span_um", min(spans))
    if part.runout is not None and len(part.runout) == 2:
        fact.put("runout_distance_mm", abs(part.runout[0].at_mm - part.runout[1].at_mm))
    if part.runout is not None and any(statement.angle_deg is not None for statement in part.runout):
        fact.put("angle_without_measurement", part.runout_law != "measured")
    stated = getattr(part, "gauge_length_mm" if isinstance(part, BaseHolder) else "overall_length_mm", None)
    outline = profile_length(link)
    if stated is not None and outline is not None:
        fact.put("stated_length_mm", stated)
        fact.put("outline_length_mm", outline)
        fact.put("outline_mismatch_mm", abs(stated - outline))
    if part.profile:
        fact.put("thinnest_wall_mm", thinnest_wall(part.profile))


def _component(chain: Chain, link: Link, is_repeated: bool, speed: Maybe[float] | None) -> FactBuilder:
    part, operation = link.part, chain.request.operation
    fact = FactBuilder("component", f"component:{link.at}", (link.at,), component=part.id, component_kind=part.kind)
    fact.put("id_repeated", is_repeated)
    _speed(fact, link, speed)
    _contradictions(fact, link)
    if operation is not None and operation.coolant == "through":
        fact.put("passes_coolant", given(part.coolant_through, f"{link.at}/coolant_through"))
    return fact


def component_facts(chain: Chain, geometry: Geometry, masses: Masses, speed: Maybe[float] | None) -> list[Fact]:
    """Return one fact a component, in the order of the chain, knobs last."""
    counts = Counter(part.id for part in chain.request.stack.components)
    facts = []
    for index, link in enumerate(chain.links):
        fact = _component(chain, link, counts[link.part.id] > 1, speed)
        _mass(fact, link, masses.outline_masses[index])
        fact.put("in_place", _in_place(index, link, len(chain.links)))
        if index > 0:
            _overhang(fact, link, geometry.projections[index - 1])
        _collet(fact, link)
        facts.append(fact.build())
    for link in chain.knobs:
        facts.append(_component(chain, link, counts[link.part.id] > 1, speed).build())
    return facts
