"""Stiffness at the tip and natural frequencies of a stack, modelled as a stepped beam from the gauge line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, NamedTuple

from rules.bending.beam import Segment, Spring, boundaries_of, cone_slices, shear_coefficient, tip_compliances
from rules.bending.frequencies import frequencies_by_springs
from rules.bending.interfaces import Band, Interface, interfaces_of, on_boundaries
from rules.couplings.hollow_taper import HollowTaper
from rules.couplings.polygonal_taper import PolygonalTaper
from rules.couplings.sides import COUPLINGS
from rules.cutting.analysis import CuttingLoad
from rules.grip.formulas import lift_off_moment_n_m
from rules.quantities.missing import (
    Missing,
    OrMissing,
    missing_of,
    or_missing,
    value_or,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.rulebook.fact import Properties
from rules.schema.components import Cutter, StackPart
from rules.schema.report import JointEnds
from rules.schema.request import DEFAULT_POLICY, Operation
from rules.stack.chain import Chain, Member
from rules.stack.mass import Masses
from rules.stack.outlines import OutlinePiece, density_of, poisson_ratio_of, youngs_modulus_of
from rules.stack.positions import Positions

__all__ = [
    "ASSUMED",
    "Bending",
    "StackStiffness",
    "critical_speed_of",
    "deflection_properties",
    "seat_properties",
    "stiffness_of",
    "vibration_properties",
]


_SHORTEST_MM: Final = 1e-3
"""A piece shorter than any stated length comes from rounding and is left out."""
_NO_STIFFNESS: Final = 1e-15
"""N·mm²; less than this is rounding, not a wall."""
_POISSON_RATIO: Final = 0.3
"""Poisson's ratio where no material is stated. It only matters for shear, a few per cent of the deflection."""


class Beam(NamedTuple):
    """The stack as a beam of uniform pieces."""

    segments: list[Segment]
    carried_by: list[tuple[tuple[int, float], ...]]
    """By segment: components that carry the bending there, each with its share of the stiffness."""


@dataclass(slots=True)
class _Slice:
    """A uniform slice of one component in position. The slices of a cone have its stiffness and mass."""

    member: int
    modulus: float
    """Times π/64."""
    poisson: float
    density: float
    """Times π/4."""
    from_mm: float
    to_mm: float
    bending_mm4: float
    """Fourth power of the outer diameter that carries bending, mm⁴."""
    body_mm2: float
    """Square of the outer diameter of the body, mm²."""
    bore_mm2: float
    """Square of the bore diameter, mm²."""


def _flutes(part: StackPart, tip: float, ratio: float) -> tuple[float, float]:
    """Return the start of the flutes, and their factor on the fourth power of the diameter."""
    if not isinstance(part, Cutter) or part.flute_length_mm is None:
        return math.inf, 1.0
    return tip - part.flute_length_mm, ratio**4


def _parts(piece: OutlinePiece) -> Iterable[tuple[float, float, float]]:
    """Return the uniform parts of a piece: length, bending diameter to the fourth power, body diameter squared."""
    if piece.start_mm == piece.end_mm:
        square = piece.start_mm**2
        return ((piece.to_mm - piece.from_mm, square * square, square),)
    bore = piece.bore_mm
    return (
        (part.length_mm, 64.0 / math.pi * part.second_moment_mm4 + bore**4, 4.0 / math.pi * part.area_mm2 + bore**2)
        for part in cone_slices(piece.to_mm - piece.from_mm, piece.start_mm, piece.end_mm, bore)
    )


def _slices(
    member: int,
    modulus: float,
    poisson: float,
    density: float,
    outline: Sequence[OutlinePiece],
    tip: float,
    flutes: tuple[float, float],
) -> list[_Slice]:
    """Return the uniform slices of an outline between gauge line and tip, weakened over the flutes."""
    flutes_from, weaker = flutes
    modulus, density = modulus * 1e3 * math.pi / 64.0, density * 1e-9 * math.pi / 4.0
    found = []
    for piece in outline:
        position, bore = piece.from_mm, piece.bore_mm**2
        for length, bending, body in _parts(piece):
            first, last = max(position, 0.0), min(position + length, tip)
            position += length
            middle = min(max(flutes_from, first), last)
            if middle > first:
                found.append(_Slice(member, modulus, poisson, density, first, middle, bending, body, bore))
            if last > middle >= first:
                weak = max(bending * weaker, bore * bore)
                found.append(_Slice(member, modulus, poisson, density, middle, last, weak, body, bore))
    return found


def _density(member: Member, index: int, masses: Masses) -> OrMissing[float]:
    """Return the density that matches the mass of the component; a base holder's taper is not part of the beam."""
    own = masses.outline_masses[index]
    stated = member.part.mass_kg
    density = density_of(member)
    if stated is None or member.part.kind == "base_holder" or isinstance(own, Missing) or isinstance(density, Missing):
        return density
    return density * stated / own


def _spread(mass: float, start: float, face: float) -> tuple[float, float, float] | None:
    """Return the mass per length of a collet; None if it is behind the gauge line."""
    return (start, face, mass / (face - start)) if face > max(0.0, start) else None


def beam_of(
    chain: Chain,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    masses: Masses,
    cuts_mm: Sequence[float],
) -> tuple[OrMissing[Beam], Missing | None]:
    """Return the beam from the gauge line to the tip, and the missing data of its masses.

    A component inside another bends with it as one piece. A slotted collet adds mass but carries no bending. A piece
    ends at each position in `cuts_mm`.
    """
    if isinstance(geometry.tip, Missing):
        return geometry.tip, None
    tip = geometry.tip
    ratio = (chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
    bodies: list[list[_Slice]] = []
    lacking: list[Missing] = []
    mass_lacks: list[Missing] = []
    added: list[tuple[float, float, float]] = []
    for index, member in enumerate(chain.members):
        if member.part.kind == "collet":
            place = geometry.places[index]
            weight = when_all_known(_spread, masses.masses[index], place.start, place.face)
            if isinstance(weight, Missing):
                mass_lacks.append(weight)
            elif weight is not None:
                added.append(weight)
            continue
        outline, modulus, density = outlines[index], youngs_modulus_of(member), _density(member, index, masses)
        if isinstance(outline, Missing) or isinstance(modulus, Missing):
            lacking.extend(one for one in (outline, modulus) if isinstance(one, Missing))
            continue
        if isinstance(density, Missing):
            mass_lacks.append(density)
            density = 0.0
        poisson = value_or(poisson_ratio_of(member), _POISSON_RATIO)
        bodies.append(_slices(index, modulus, poisson, density, outline, tip, _flutes(member.part, tip, ratio)))
    if lacking:
        return missing_of(*lacking) or lacking[0], None
    beam = _merged(bodies, added, _edges(bodies, added, tip, cuts_mm))
    if isinstance(beam, float) or not beam.segments:
        uncovered = beam if isinstance(beam, float) else 0.0
        return Missing((f"{_covering(chain, geometry, uncovered).at}/profile",)), None
    return beam, missing_of(*mass_lacks)


def _covering(chain: Chain, geometry: Positions, z_mm: float) -> Member:
    """Return the first component that should cover a position."""
    for member, place in zip(chain.members, geometry.places, strict=True):
        if member.part.kind != "collet" and isinstance(place.face, float) and place.face > z_mm:
            return member
    return chain.members[-1]


def _edges(
    bodies: list[list[_Slice]], added: list[tuple[float, float, float]], tip: float, cuts_mm: Sequence[float]
) -> list[float]:
    """Return the ends of the pieces; ends closer than any stated length are one."""
    cuts = {0.0, tip, *[cut for cut in cuts_mm if 0.0 <= cut <= tip]}
    for body in bodies:
        for one in body:
            cuts.add(one.from_mm)
            cuts.add(one.to_mm)
    for start, end, _ in added:
        cuts.update([edge for edge in (start, end) if 0.0 < edge < tip])
    edges = [0.0]
    for edge in sorted(cuts):
        if edge - edges[-1] >= _SHORTEST_MM:
            edges.append(edge)
    if len(edges) > 1:
        edges[-1] = tip if tip - edges[-1] < _SHORTEST_MM else edges[-1]
    return edges


def _merged(bodies: list[list[_Slice]], added: list[tuple[float, float, float]], edges: list[float]) -> Beam | float:
    """Return the superposed slices of all components, or a position that none covers."""
    middles = [0.5 * (first + last) for first, last in pairwise(edges)]
    present: list[list[_Slice]] = [[] for _ in middles]
    for body in bodies:
        at = 0
        for one in body:
            while at < len(middles) and middles[at] < one.to_mm:
                if middles[at] >= one.from_mm:
                    present[at].append(one)
                at += 1
    extra = [0.0] * len(middles)
    for start, end, mass in added:
        for at, middle in enumerate(middles):
            if start < middle < end:
                extra[at] += mass
    beam = Beam([], [])
    for at, middle in enumerate(middles):
        if not _laid(beam, present[at], edges[at + 1] - edges[at], extra[at]):
            return middle
    return beam


def _laid(beam: Beam, present: list[_Slice], length: float, mass: float) -> bool:
    """Add the next piece of the beam from the components at one position; False if none carries bending."""
    stiffness = shear = rotary = 0.0
    carried = []
    inner = len(present) - 1
    for place, one in enumerate(present):
        hole = one.bore_mm2
        if place < inner:
            hole = max(hole, present[place + 1].body_mm2)
        own = one.modulus * (one.bending_mm4 - hole * hole)
        if own > 0.0:
            stiffness += own
            shear += _shear_n(one, hole)
            carried.append((one.member, own))
        if one.body_mm2 > hole:
            body = one.density * (one.body_mm2 - hole)
            mass += body
            rotary += body * (one.body_mm2 + hole) / 16.0
    if stiffness < _NO_STIFFNESS:
        return False
    beam.segments.append(Segment(length, stiffness, mass, shear, rotary))
    if len(carried) == 1:
        beam.carried_by.append(((carried[0][0], 1.0),))
    else:
        beam.carried_by.append(tuple([(member, own / stiffness) for member, own in carried]))
    return True


def _shear_n(one: _Slice, hole_mm2: float) -> float:
    """Return the shear stiffness k·G·A of a slice around a hole, N."""
    outer = math.sqrt(one.bending_mm4)
    coefficient = shear_coefficient(math.sqrt(min(1.0, hole_mm2 / outer)), one.poisson)
    # E·π/64 times 16 is E·π/4
    return coefficient * 16.0 * one.modulus / (2.0 * (1.0 + one.poisson)) * (outer - hole_mm2)


class Share(NamedTuple):
    """Share of one component or joint in the deflection of the tip."""

    kind: Literal["component", "joint", "spindle"]
    component: str | None
    joint: JointEnds | None
    share: float


class Bending(NamedTuple):
    """Figures that follow from the outline alone."""

    compliance_um_per_n: Band
    shares: tuple[Share, ...]
    """With typical joints."""
    deciding: Interface | None
    """The assumed interface with the largest share in the deflection with soft joints; None if none is assumed."""


class StackStiffness(NamedTuple):
    """Bending of the stack as a beam on the springs of the spindle seat and the joints."""

    bending: OrMissing[Bending]
    deflection_um: OrMissing[Band] | None
    """Of the tip, under the radial force where it acts; None if none is stated."""
    frequencies_hz: OrMissing[tuple[Band, ...]]
    """First bending frequencies, lowest first; the first is the one of a tap test where that is stated."""
    interfaces: tuple[Interface, ...]
    measured: bool
    """Whether a tap test is stated."""
    spindle_stated: bool
    """Whether the stiffness of the spindle is stated."""

    @property
    def rests_on(self) -> tuple[str, ...]:
        """Ids of the assumed stiffnesses, in the order of the interfaces."""
        count = sum([len(one.assumed) for one in self.interfaces])
        return tuple([f"A{number}" for number in range(1, count + 1)])


def _bending(chain: Chain, beam: Beam, interfaces: Sequence[Interface], springs: Sequence[list[Spring]]) -> Bending:
    levels = tip_compliances(beam.segments, springs)
    soft, compliance, stiff = (levels * 3)[:3]
    total = compliance.total_mm_per_n
    parts = [0.0] * len(chain.members)
    for carried_by, own in zip(beam.carried_by, compliance.per_segment_mm_per_n, strict=True):
        for index, fraction in carried_by:
            parts[index] += own * fraction
    shares = [
        Share("component", member.part.id, None, part / total)
        for member, part in zip(chain.members, parts, strict=True)
        if part > 0.0
    ]
    shares.extend(
        Share("spindle" if one.joint is None else "joint", None, one.joint, own / total)
        for one, own in zip(interfaces, compliance.per_spring_mm_per_n, strict=True)
    )
    assumed = [(own, one) for one, own in zip(interfaces, soft.per_spring_mm_per_n, strict=True) if one.assumed]
    return Bending(
        Band(soft.total_mm_per_n * 1e3, total * 1e3, stiff.total_mm_per_n * 1e3),
        tuple(shares),
        max(assumed, key=lambda pair: pair[0])[1] if assumed else None,
    )


def _levels(interfaces: Sequence[Interface]) -> list[list[Spring]]:
    """Return the springs with soft, typical and stiff joints, or once if all are stated."""
    levels = [list(springs) for springs in zip(*[one.springs() for one in interfaces], strict=True)] or [[]]
    return levels if any(one.assumed for one in interfaces) else levels[:1]


def _frequencies(beam: Beam, springs: Sequence[list[Spring]], measured: float | None) -> tuple[Band, ...]:
    found = frequencies_by_springs(beam.segments, springs)
    soft, typical, stiff = (found * 3)[:3]
    bands = [Band(*three) for three in zip(soft, typical, stiff, strict=False)]
    if measured is None:
        return tuple(bands)
    return (Band(measured, measured, measured), *[band for band in bands[1:] if band.soft > measured])


def stiffness_of(
    chain: Chain,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    masses: Masses,
    load: CuttingLoad,
) -> StackStiffness:
    """Return the bending of the stack; figures without outline, material or mass are missing."""
    interfaces = interfaces_of(chain, geometry, outlines)
    spindle_stated = any(one.joint is None for one in interfaces)
    beam, masses_lack = beam_of(chain, geometry, outlines, masses, [one.z_mm for one in interfaces])
    measured = chain.request.stack.tap_test_hz
    bending: OrMissing[Bending]
    frequencies: OrMissing[tuple[Band, ...]]
    if isinstance(beam, Missing):
        bending = frequencies = beam
        interfaces = []
        springs = []
    else:
        interfaces = on_boundaries(interfaces, boundaries_of(beam.segments))
        springs = _levels(interfaces)
        bending = _bending(chain, beam, interfaces, springs)
        frequencies = _frequencies(beam, springs, measured) if masses_lack is None else masses_lack
    if measured is not None and isinstance(frequencies, Missing):
        frequencies = (Band(measured, measured, measured),)
    deflection: OrMissing[Band] | None = None
    if load.radial_force_n is not None:
        height = _height_of(load)
        if height == 0.0 or isinstance(beam, Missing):
            deflection = when_both_known(_deflection, bending, load.radial_force_n)
        else:
            deflection = when_known(lambda force: _deflection_under(beam, springs, height, force), load.radial_force_n)
    return StackStiffness(bending, deflection, frequencies, tuple(interfaces), measured is not None, spindle_stated)


def _height_of(load: CuttingLoad) -> float:
    """Return where the radial force acts, mm from the tip; 0, the worst place, where that is not known."""
    height = load.force_height_mm
    return 0.0 if height is None or isinstance(height, Missing) else height


def _deflection_under(beam: Beam, springs: Sequence[list[Spring]], height_mm: float, force_n: float) -> Band:
    """Return the deflection of the tip under a force that acts at a height above it, µm."""
    place = max(0.0, boundaries_of(beam.segments)[-1] - height_mm)
    levels = [one.deflection_um(force_n) for one in tip_compliances(beam.segments, springs, place)]
    return Band(*(levels * 3)[:3])


def _deflection(bending: Bending, force_n: float) -> Band:
    return Band(*[one * force_n for one in bending.compliance_um_per_n])


def critical_speed_of(chain: Chain, stiffness: StackStiffness) -> OrMissing[Band] | None:
    """Return the critical speed, one revolution per period of the first mode; None for a stack that does not run."""
    if chain.is_read_only:
        return None
    return when_known(lambda found: Band(*[one * 60.0 for one in found[0]]), stiffness.frequencies_hz)


ASSUMED: Final = "assumed_"
"""Prefix of the properties that rest on an assumed stiffness of the spindle."""


def vibration_properties(fact: Properties, chain: Chain, stiffness: StackStiffness, speed: OrMissing[float]) -> None:
    """Add rotational and tooth-passing frequency relative to the first bending frequency.

    Without a tap test or the stiffness of the spindle they have other names, since only advice can rest on them.
    """
    critical = critical_speed_of(chain, stiffness)
    if critical is None:
        return
    last = chain.members[-1] if chain.members else None
    teeth = None
    if last is not None and isinstance(last.part, Cutter):
        teeth = or_missing(last.part.teeth, last.at, "teeth")
    prefix = "" if stiffness.measured or stiffness.spindle_stated else ASSUMED
    fact.add("spindle_frequency_hz", when_known(lambda rpm: rpm / 60.0, speed))
    fact.add(f"{prefix}critical_speed_rpm", when_known(lambda band: band.low, critical))
    fact.add(f"{prefix}bending_frequency_hz", when_known(lambda band: band.low / 60.0, critical))
    fact.add(f"{prefix}stiff_frequency_hz", when_known(lambda band: band.high / 60.0, critical))
    fact.add("stiffness_basis", when_known(lambda _: _basis(stiffness, measured=stiffness.measured), critical))
    fact.add(f"{prefix}spindle_to_critical", when_both_known(lambda rpm, band: rpm / band.low, speed, critical))
    fact.add(f"{prefix}spindle_to_stiff", when_both_known(lambda rpm, band: rpm / band.high, speed, critical))
    if teeth is not None:
        passing = when_both_known(lambda rpm, count: rpm * count, speed, teeth)
        fact.add("tooth_passing_hz", when_known(lambda rpm: rpm / 60.0, passing))
        to_critical = when_both_known(lambda rpm, band: rpm / band.low, passing, critical)
        fact.add(f"{prefix}tooth_passing_to_critical", to_critical)
        to_stiff = when_both_known(lambda rpm, band: rpm / band.high, passing, critical)
        fact.add(f"{prefix}tooth_passing_to_stiff", to_stiff)


def _basis(stiffness: StackStiffness, *, measured: bool) -> str:
    """Return what a natural frequency or a deflection rests on, in words."""
    if measured:
        return "the tap test"
    bending = value_or(stiffness.bending, None)
    if bending is None or bending.deciding is None:
        return "the stated stiffness of spindle and joints"
    return f"the assumed stiffness of {bending.deciding.joint}"


_FACE_SHARE: Final = 0.9
"""Mean diameter of the contact ring over the flange diameter, common practice."""


def seat_properties(fact: Properties, chain: Chain, geometry: Positions, load: CuttingLoad) -> None:
    """Add the moment of the radial force about the gauge line, and the one at which a flange face begins to open.

    Only for a taper with face contact whose clamping force is stated or recommended.
    """
    side = chain.members[0].machine_side if chain.members else None
    if chain.machine is None or side is None or load.radial_force_n is None:
        return
    coupling = COUPLINGS[side.coupling]
    flange, force = coupling.flange_diameter(side), chain.machine.drawbar_force_n
    if force is None:
        force = coupling.clamping_force_n(side)
    if not coupling.face_contact or flange is None or force is None:
        return
    fact.add("clamping_force_n", force)
    if chain.machine.drawbar_force_n is None and isinstance(side, HollowTaper | PolygonalTaper):
        fact.add(f"clamping_{side.coupling}", side.size)
    height = _height_of(load)
    moment = when_both_known(lambda radial, tip: 1e-3 * radial * (tip - height), load.radial_force_n, geometry.tip)
    fact.add("seat_moment_n_m", moment)
    fact.add("lift_off_moment_n_m", lift_off_moment_n_m(force, _FACE_SHARE * flange))


def deflection_properties(
    fact: Properties, operation: Operation, at: str, stiffness: StackStiffness, load: CuttingLoad
) -> None:
    """Add the tip's deflection under the radial force with stiff and with soft joints, and its limit."""
    limit = operation.stated_limits.deflection_um
    if limit is None:
        return
    fact.add("deflection_limit_um", limit)
    force = load.radial_force_n
    fact.add("radial_force_n", or_missing(None, f"{at}/load/radial_force_n") if force is None else force)
    deflection = stiffness.deflection_um
    if deflection is None:
        deflection = Missing((f"{at}/load/radial_force_n",))
    fact.add("deflection_um", when_known(lambda band: band.low, deflection))
    if isinstance(deflection, Missing) or deflection.high > deflection.low:
        fact.add("soft_deflection_um", when_known(lambda band: band.high, deflection))
        fact.add("deflection_basis", when_known(lambda _: _basis(stiffness, measured=False), deflection))
