"""Properties of components and of the whole stack: order, mass, overhang, contradictory data, knob, machine limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from rules.couplings import steep_taper
from rules.couplings.bare_tapers import bare_taper
from rules.couplings.definition import deviation_of
from rules.couplings.steep_taper import SteepTaper
from rules.quantities.missing import Missing, OrMissing, or_missing, when_both_known, when_known
from rules.rulebook.fact import Properties
from rules.schema.components import WITHDRAWN, BaseHolder, Cutter, RetentionKnob, StackPart
from rules.schema.request import Machine, Milling
from rules.stack.chain import Chain, Member, StackJoint
from rules.stack.formulas import Frustum, equivalent_diameter_mm
from rules.stack.mass import Masses
from rules.stack.outlines import OutlinePiece, has_no_wall, material, narrow_end, outer_within, thinnest_wall
from rules.stack.positions import Position, Positions, grip_of, profile_length

__all__ = [
    "behind_properties",
    "body_properties",
    "bore_properties",
    "contradiction_properties",
    "in_place",
    "knob_properties",
    "largest_diameter",
    "length_properties",
    "machine_limit_properties",
    "mass_properties",
    "overhang_properties",
    "room_properties",
]


def length_properties(fact: Properties, case: StackJoint) -> None:
    """Add the deviation of projection plus grip length from the overall length, where all three are stated."""
    statement, part = case.statement, case.lower.part
    if statement is None or statement.grip_length_mm is None or statement.projection_mm is None:
        return
    overall = getattr(part, "overall_length_mm", None) or profile_length(part)
    if overall is None:
        return
    fact.add("length_mismatch_mm", abs(statement.grip_length_mm + statement.projection_mm - overall))
    fact.add("overall_length_mm", overall)


def in_place(index: int, member: Member, count: int) -> bool:
    """Return whether a component is in the correct position: base holder first, cutting tool or pin last."""
    first, last = index == 0, index == count - 1
    return (member.part.kind == "base_holder") == first and (not member.is_tool or last)


def mass_properties(fact: Properties, member: Member, outline_kg: OrMissing[float]) -> None:
    """Add the deviation of the stated mass from that of the outline; a base holder may only be heavier."""
    stated = member.part.mass_kg
    if stated is None or isinstance(outline_kg, Missing):
        return
    off = (outline_kg - stated) / outline_kg
    fact.add("stated_mass_kg", stated)
    fact.add("outline_mass_kg", outline_kg)
    fact.add("mass_mismatch_ratio", max(0.0, off) if member.part.kind == "base_holder" else abs(off))


_BENT: Final = frozenset({"cutter", "boring_tool"})
"""Kinds of cutting tools that are loaded across the axis."""


def overhang_properties(
    fact: Properties, member: Member, projection: OrMissing[float], flute_bending_ratio: float
) -> None:
    """Add projection, diameter and their ratio, for a cutting tool loaded across its axis, or an extension."""
    part = member.part
    if isinstance(part, Cutter) and part.kind in _BENT:
        pieces = when_known(lambda length: _projecting(member, part, length, flute_bending_ratio), projection)
        diameter = when_known(equivalent_diameter_mm, pieces)
        fact.add("cutter_projection_mm", projection)
        fact.add("bending_diameter_mm", diameter)
        fact.add(
            "cutter_projection_ratio", when_both_known(lambda length, across: length / across, projection, diameter)
        )
        neck = None if isinstance(pieces, Missing) else _neck(pieces)
        if neck is not None:
            fact.add("neck_length_mm", neck[0])
            fact.add("neck_diameter_mm", neck[1])
            fact.add("neck_ratio", neck[0] / neck[1])
    elif part.kind == "extension":
        diameter = _slimmest(member, projection)
        fact.add("material", or_missing(part.material, member.at, "material"))
        fact.add("extension_projection_mm", projection)
        fact.add("extension_diameter_mm", diameter)
        fact.add(
            "extension_projection_ratio", when_both_known(lambda length, across: length / across, projection, diameter)
        )


def _projecting(member: Member, part: Cutter, projection: float, ratio: float) -> OrMissing[list[Frustum]]:
    """Return the projecting part from the tip to the clamp; flutes have a share of their diameter."""
    projection = max(projection, _SHORTEST_MM * 10.0)
    flutes = min(part.flute_length_mm or 0.0, projection)
    body: list[Frustum] = []
    if part.profile and not has_no_wall(part.profile):
        for piece in reversed(part.profile):
            end = piece.outer_end_mm or piece.outer_mm
            body.append(Frustum(piece.length_mm, end, piece.outer_mm, piece.bore_mm or 0.0))
    else:
        clamped: float | None = getattr(member.machine_side, "diameter_mm", None)
        cutting = part.cutting_diameter_mm
        if cutting is None:
            return or_missing(None, member.at, "cutting_diameter_mm")
        if flutes > 0.0:
            body.append(Frustum(flutes, cutting, cutting))
        body.append(Frustum(projection, clamped or cutting, clamped or cutting))
    fluted, behind = _split(body, flutes)
    shank, _ = _split(behind, projection - flutes)
    found = [_slimmer(one, ratio) for one in fluted] + shank
    return found or or_missing(None, member.at, "profile")


def _split(pieces: Sequence[Frustum], length: float) -> tuple[list[Frustum], list[Frustum]]:
    """Return the pieces before and after a length."""
    before: list[Frustum] = []
    after: list[Frustum] = []
    left = length
    for one in pieces:
        here = min(one.length_mm, left)
        middle = one.start_mm + (one.end_mm - one.start_mm) * (here / one.length_mm)
        if here > _SHORTEST_MM:
            before.append(Frustum(here, one.start_mm, middle, one.bore_mm))
        if one.length_mm - here > _SHORTEST_MM:
            after.append(Frustum(one.length_mm - here, middle, one.end_mm, one.bore_mm))
        left = max(0.0, left - one.length_mm)
    return before, after


def _slimmer(piece: Frustum, ratio: float) -> Frustum:
    """Return a fluted piece with its equivalent bending diameter, which leaves a wall about its bore."""
    least = _WALL * piece.bore_mm
    return Frustum(piece.length_mm, max(ratio * piece.start_mm, least), max(ratio * piece.end_mm, least), piece.bore_mm)


_SHORTEST_MM: Final = 1e-6
"""A piece shorter than this comes from rounding."""
_WALL: Final = 1.01
"""Least diameter of a fluted part over its bore."""


def _neck(pieces: Sequence[Frustum]) -> tuple[float, float] | None:
    """Return length from the tip and diameter of the slenderest part with a wider one behind it; None without one."""
    reach, slim = 0.0, math.inf
    found: tuple[float, float] | None = None
    for place, piece in enumerate(pieces):
        reach += piece.length_mm
        slim = min(slim, piece.start_mm, piece.end_mm)
        wider = any(max(later.start_mm, later.end_mm) > slim for later in pieces[place + 1 :])
        if wider and (found is None or reach / slim > found[0] / found[1]):
            found = reach, slim
    return found


def _slimmest(member: Member, projection: OrMissing[float]) -> OrMissing[float]:
    """Return the smallest outer diameter of the projecting part, else the diameter of the shank."""
    profile = member.part.profile
    if profile and isinstance(projection, float):
        reach, outer = 0.0, []
        for piece in reversed(profile):
            if reach < projection:
                outer.append(narrow_end(piece))
            reach += piece.length_mm
        return min(outer or [narrow_end(profile[-1])])
    side = member.machine_side
    return or_missing(getattr(side, "diameter_mm", None), member.at, "profile")


def _stated_length(part: StackPart) -> float | None:
    """Return the length that the outline must match; collets and knobs have none."""
    if part.kind == "collet" or part.kind == "retention_knob":
        return None
    return part.gauge_length_mm if part.kind == "base_holder" else part.overall_length_mm


def contradiction_properties(fact: Properties, member: Member) -> None:
    """Add the properties by which the rules find contradictory data of one component."""
    part = member.part
    if part.status is not None:
        withdrawn = [one for one in WITHDRAWN if one in part.status]
        fact.add("withdrawn_as", ", ".join(withdrawn).replace("_", " ") or "none")
    spans = [
        stated.upper_um - stated.lower_um
        for stated in map(deviation_of, (member.machine_side, member.workpiece_side))
        if stated is not None
    ]
    if spans:
        fact.add("tolerance_span_um", min(spans))
    if part.runout is not None:
        first, last = part.runout.statements[0], part.runout.statements[-1]  # one or two
        if part.runout.law != "measured":
            fact.add("promised_tir_um", max(first.tir_um, last.tir_um))
        if first is not last:
            fact.add("runout_distance_mm", abs(first.at_mm - last.at_mm))
        if part.runout.max_tilt_um_per_m is not None:
            fact.add("tilt_beside_two_readings", first is not last)
        if first.angle_deg is not None or last.angle_deg is not None:
            fact.add("angle_without_measurement", part.runout.law != "measured")
    stated, outline = _stated_length(part), profile_length(part)
    if stated is not None and outline is not None:
        fact.add("stated_length_mm", stated)
        fact.add("outline_length_mm", outline)
        fact.add("outline_mismatch_mm", abs(stated - outline))
    _bulk(fact, part)
    if part.profile:
        fact.add("thinnest_wall_mm", thinnest_wall(part.profile))
    if part.material is not None:
        tabled = material(part.material)
        if part.density_kg_m3 is not None:
            fact.add("density_to_material", part.density_kg_m3 / tabled.density_kg_m3)
        if part.youngs_modulus_gpa is not None:
            fact.add("modulus_to_material", part.youngs_modulus_gpa / tabled.youngs_modulus_gpa)


def _bulk(fact: Properties, part: StackPart) -> None:
    """Add the flange of a holder's taper and the mass of the solid cylinder around a part with a stated mass."""
    taper = bare_taper(part.machine_side) if isinstance(part, BaseHolder) else None
    length = _stated_length(part)
    if length is None:
        return
    if taper is not None:
        fact.add("front_face_mm", length)
        fact.add("flange_length_mm", taper.flange_mm)
    density = part.density_kg_m3
    if density is None and part.material is not None:
        density = material(part.material).density_kg_m3
    widest = [diameter for piece in part.profile or () for diameter in (piece.outer_mm, piece.outer_end_mm or 0.0)]
    if widest and taper is not None:
        widest.append(taper.flange_diameter_mm)
    if part.mass_kg is None or density is None or not widest or (isinstance(part, BaseHolder) and taper is None):
        return
    cylinder = math.pi / 4.0 * max(widest) ** 2 * length * density * 1e-9
    fact.add("enclosing_mass_kg", cylinder + (0.0 if taper is None else taper.mass_kg))


def bore_properties(
    fact: Properties, case: StackJoint, outline: OrMissing[tuple[OutlinePiece, ...]], face: OrMissing[float]
) -> None:
    """Add the largest bore of the upper part's outline over the grip; ``face`` is where the grip ends, mm.

    An outline without any bore there says nothing about it.
    """
    grip = grip_of(case)
    if isinstance(outline, Missing) or isinstance(face, Missing) or isinstance(grip, Missing) or grip <= 0.0:
        return
    found = [
        piece.bore_mm
        for piece in outline
        if piece.from_mm < face - _INSIDE_MM and piece.to_mm > face - grip + _INSIDE_MM
    ]
    if found and max(found) > 0.0:
        fact.add("outline_bore_mm", max(found))


def room_properties(fact: Properties, chain: Chain, index: int, geometry: Positions) -> None:
    """Add the length from the mouth of a clamp to the far end of the part that has it, behind a collet too."""
    carrier = index - 1 if index and chain.members[index].part.kind == "collet" else index
    face, start = geometry.places[index].face, geometry.places[carrier].start
    behind = geometry.places[0].seat_length if carrier == 0 else 0.0
    if isinstance(face, float) and isinstance(start, float) and isinstance(behind, float):
        fact.add("room_mm", face - start + behind)


def behind_properties(
    fact: Properties, case: StackJoint, outline: OrMissing[tuple[OutlinePiece, ...]], collet: Position
) -> None:
    """Add how far a shank reaches behind its collet, and the least bore there of the part that holds the collet.

    An outline without any bore says nothing about it.
    """
    grip, start, face = grip_of(case), collet.start, collet.face
    if isinstance(outline, Missing) or isinstance(grip, Missing):
        return
    if isinstance(start, Missing) or isinstance(face, Missing) or not any(piece.bore_mm for piece in outline):
        return
    end = face - grip
    found = [
        piece.bore_mm for piece in outline if piece.from_mm < start - _INSIDE_MM and piece.to_mm > end + _INSIDE_MM
    ]
    if start - end > _INSIDE_MM and found:
        fact.add("shank_behind_mm", start - end)
        fact.add("bore_behind_mm", min(found))


_INSIDE_MM: Final = 1.0
"""Length at either end of a grip where a chamfer, a relief or a stop may be."""


def body_properties(
    fact: Properties, chain: Chain, outline: OrMissing[tuple[OutlinePiece, ...]], tip: OrMissing[float]
) -> None:
    """Add the largest outer diameter of a milling cutter within the axial depth of cut, and that of its edges."""
    last, cut = chain.members[-1].part, None if chain.operation is None else chain.operation.cut
    if not isinstance(cut, Milling) or not isinstance(last, Cutter) or last.cutting_diameter_mm is None:
        return
    if cut.axial_depth_mm is None or isinstance(outline, Missing) or isinstance(tip, Missing):
        return
    found = outer_within(outline, tip - cut.axial_depth_mm + _SHORTEST_MM, tip)
    if found is not None:
        fact.add("body_in_cut_mm", found[1])
        fact.add("edges_mm", last.cutting_diameter_mm)


def largest_diameter(chain: Chain) -> OrMissing[float]:
    """Return the largest diameter of any component; missing while a holder has no outline."""
    largest, lacking = 0.0, []
    for member in chain.members:
        part = member.part
        if isinstance(part, Cutter):
            if part.cutting_diameter_mm is None:
                lacking.append(f"{member.at}/cutting_diameter_mm")
            largest = max(largest, part.cutting_diameter_mm or 0.0)
        elif part.profile is None and part.kind in ("base_holder", "extension", "reducer"):
            lacking.append(f"{member.at}/profile")
        for piece in part.profile or ():
            largest = max(largest, piece.outer_mm, piece.outer_end_mm or 0.0)
    return Missing(tuple(lacking)) if lacking else largest


def machine_limit_properties(
    fact: Properties, machine: Machine | None, chain: Chain, geometry: Positions, masses: Masses
) -> None:
    """Add mass, moment, projection and diameter of the stack, and each limit that a machine states for them."""
    fact.add("stack_mass_kg", masses.total)
    fact.add("tilting_moment_n_m", masses.tilting_moment_n_m)
    fact.add("stack_projection_mm", geometry.tip)
    fact.add("stack_diameter_mm", largest_diameter(chain))
    if machine is not None:
        fact.add("machine_max_mass_kg", machine.max_tool_mass_kg)
        fact.add("machine_max_tilting_n_m", machine.max_tilting_moment_n_m)
        fact.add("machine_max_length_mm", machine.max_tool_length_mm)
        fact.add("machine_max_diameter_mm", machine.max_tool_diameter_mm)


def knob_properties(fact: Properties, machine: Machine | None, chain: Chain) -> None:
    """Add form, angle and thread of the retention knob, and those required by drawbar and taper."""
    knob = chain.knobs[0] if chain.knobs else None
    part = knob.part if knob is not None else None
    demand = None if machine is None else machine.retention_knob
    side = chain.members[0].machine_side if chain.members else None
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
        if part.head_angle_deg is not None or demand.head_angle_deg is not None:
            fact.add("knob_angle_deg", or_missing(part.head_angle_deg, knob.at, "head_angle_deg"))
            fact.add("drawbar_angle_deg", or_missing(demand.head_angle_deg, "/machine/retention_knob/head_angle_deg"))
    if isinstance(side, SteepTaper):
        at = f"{chain.members[0].at}/machine_side"
        fact.add("knob_thread", or_missing(part.thread, knob.at, "thread"))
        if side.size is None or side.form is None:
            fact.add("taper_thread", Missing(tuple(f"{at}/{n}" for n in ("size", "form") if getattr(side, n) is None)))
        else:
            fact.add("taper_thread", steep_taper.thread_for_knob(side))
