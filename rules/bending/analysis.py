"""Stiffness at the tip and natural frequencies of a stack, modelled as a stepped beam from the gauge line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final, Literal, NamedTuple

from rules.bending.beam import Segment, Spring, cone_slices, tip_compliance
from rules.bending.frequencies import bending_frequencies
from rules.cutting.analysis import CuttingLoad
from rules.quantities.missing import (
    Missing,
    OrMissing,
    missing_of,
    or_missing,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.rulebook.fact import Properties
from rules.schema.components import Cutter, StackPart
from rules.schema.report import JointEnds
from rules.schema.request import DEFAULT_POLICY, Operation
from rules.stack.chain import Chain, Member, StackJoint
from rules.stack.mass import Masses
from rules.stack.outlines import OutlinePiece, density_of, youngs_modulus_of
from rules.stack.positions import Positions

__all__ = [
    "Bending",
    "StackStiffness",
    "critical_speed_of",
    "deflection_properties",
    "stiffness_of",
    "vibration_properties",
]


_SHORTEST_MM: Final = 1e-3
"""A piece shorter than any stated length comes from rounding and is left out."""
_NO_STIFFNESS: Final = 1e-15
"""N·mm²; less than this is rounding, not a wall."""


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
                found.append(_Slice(member, modulus, density, first, middle, bending, body, bore))
            if last > middle >= first:
                found.append(
                    _Slice(member, modulus, density, middle, last, max(bending * weaker, bore * bore), body, bore)
                )
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
        bodies.append(_slices(index, modulus, density, outline, tip, _flutes(member.part, tip, ratio)))
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
    stiffness = 0.0
    carried = []
    inner = len(present) - 1
    for place, one in enumerate(present):
        hole = one.bore_mm2
        if place < inner:
            hole = max(hole, present[place + 1].body_mm2)
        own = one.modulus * (one.bending_mm4 - hole * hole)
        if own > 0.0:
            stiffness += own
            carried.append((one.member, own))
        if one.body_mm2 > hole:
            mass += one.density * (one.body_mm2 - hole)
    if stiffness < _NO_STIFFNESS:
        return False
    beam.segments.append(Segment(length, stiffness, mass))
    if len(carried) == 1:
        beam.carried_by.append(((carried[0][0], 1.0),))
    else:
        beam.carried_by.append(tuple([(member, own / stiffness) for member, own in carried]))
    return True


_N_PER_MM: Final = 1e3
"""N/mm in one N/µm."""
_N_MM_PER_RAD: Final = 1e6
"""N·mm/rad in one N·m/mrad."""


class Share(NamedTuple):
    """Share of one component or joint in the deflection of the tip."""

    kind: Literal["component", "joint", "spindle"]
    component: str | None
    joint: JointEnds | None
    share: float


class Bending(NamedTuple):
    """Figures that follow from the outline alone."""

    compliance_um_per_n: float
    shares: tuple[Share, ...]


class StackStiffness(NamedTuple):
    """Bending of the stack as a beam clamped at the gauge line."""

    bending: OrMissing[Bending]
    deflection_um: OrMissing[float] | None
    """Under the radial force at the tip; None if none is stated."""
    frequencies_hz: OrMissing[tuple[float, ...]]
    """First bending frequencies, lowest first."""
    springs: bool
    """Whether any joint or the spindle is elastic; otherwise all are rigid."""


def _spring(z_mm: float, radial: float | None, tilting: float | None) -> Spring | None:
    if radial is None and tilting is None:
        return None
    return Spring(
        z_mm,
        None if radial is None else radial * _N_PER_MM,
        None if tilting is None else tilting * _N_MM_PER_RAD,
    )


def _springs(chain: Chain, geometry: Positions) -> tuple[list[Spring], list[JointEnds | None]]:
    """Return the springs in order, and the joint or spindle of each."""
    found: list[tuple[Spring | None, JointEnds | None]] = []
    machine = chain.machine
    if machine is not None:
        spindle = _spring(
            0.0, machine.spindle_radial_stiffness_n_per_um, machine.spindle_tilting_stiffness_n_m_per_mrad
        )
        found.append((spindle, None))
    cases: list[tuple[StackJoint | None, OrMissing[float]]] = [(chain.spindle_joint, 0.0)]
    cases.extend((case, geometry.places[index].face) for index, case in enumerate(chain.joints))
    for case, face in cases:
        if case is None or case.statement is None or isinstance(face, Missing):
            continue
        stated = case.statement
        one = _spring(face, stated.radial_stiffness_n_per_um, stated.tilting_stiffness_n_m_per_mrad)
        found.append((one, case.ends_named))
    known = [(spring, joint) for spring, joint in found if spring is not None]
    return [spring for spring, _ in known], [joint for _, joint in known]


def _on_boundaries(springs: Sequence[Spring], beam: Beam) -> list[Spring]:
    """Return the springs moved to the nearest end of a piece, which differs only by rounding."""
    if not springs:
        return []
    ends = list(accumulate((segment.length_mm for segment in beam.segments), initial=0.0))
    return [
        Spring(
            min(ends, key=lambda end, at=spring.z_mm: abs(end - at)),  # type: ignore[misc]
            spring.radial_n_per_mm,
            spring.tilting_n_mm_per_rad,
        )
        for spring in springs
    ]


def _bending(
    chain: Chain,
    beam: Beam,
    springs: Sequence[Spring],
    owners: Sequence[JointEnds | None],
) -> Bending:
    compliance = tip_compliance(beam.segments, springs)
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
        Share("spindle" if joint is None else "joint", None, joint, own / total)
        for joint, own in zip(owners, compliance.per_spring_mm_per_n, strict=True)
    )
    return Bending(total * 1e3, tuple(shares))


def stiffness_of(
    chain: Chain,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    masses: Masses,
    load: CuttingLoad,
) -> StackStiffness:
    """Return the bending of the stack; figures without outline, material or mass are missing."""
    springs, owners = _springs(chain, geometry)
    beam, masses_lack = beam_of(chain, geometry, outlines, masses, [spring.z_mm for spring in springs])
    bending: OrMissing[Bending]
    frequencies: OrMissing[tuple[float, ...]]
    if isinstance(beam, Missing):
        bending = frequencies = beam
    else:
        springs = _on_boundaries(springs, beam)
        bending = _bending(chain, beam, springs, owners)
        frequencies = bending_frequencies(beam.segments, springs) if masses_lack is None else masses_lack
    deflection: OrMissing[float] | None = None
    if load.radial_force_n is not None:
        deflection = when_both_known(lambda bent, force: bent.compliance_um_per_n * force, bending, load.radial_force_n)
    return StackStiffness(bending, deflection, frequencies, bool(springs))


def critical_speed_of(chain: Chain, stiffness: StackStiffness) -> OrMissing[float] | None:
    """Return the critical speed, one revolution per period of the first mode; None for a stack that does not run."""
    if chain.is_read_only:
        return None
    return when_known(lambda frequencies: frequencies[0] * 60.0, stiffness.frequencies_hz)


def vibration_properties(fact: Properties, chain: Chain, stiffness: StackStiffness, speed: OrMissing[float]) -> None:
    """Add rotational and tooth-passing frequency relative to the first bending frequency."""
    critical = critical_speed_of(chain, stiffness)
    if critical is None:
        return
    last = chain.members[-1] if chain.members else None
    teeth = None
    if last is not None and isinstance(last.part, Cutter):
        teeth = or_missing(last.part.teeth, last.at, "teeth")
    fact.add("critical_speed_rpm", critical)
    fact.add("bending_frequency_hz", when_known(lambda rpm: rpm / 60.0, critical))
    fact.add("spindle_frequency_hz", when_known(lambda rpm: rpm / 60.0, speed))
    fact.add("spindle_to_critical", when_both_known(lambda rpm, most: rpm / most, speed, critical))
    if teeth is not None:
        fact.add("tooth_passing_hz", when_both_known(lambda rpm, count: rpm / 60.0 * count, speed, teeth))
        fact.add(
            "tooth_passing_to_critical",
            when_all_known(_teeth_to_critical, speed, teeth, critical),
        )


def _teeth_to_critical(speed_rpm: float, teeth: int, critical_rpm: float) -> float:
    return speed_rpm * teeth / critical_rpm


def deflection_properties(
    fact: Properties, operation: Operation, at: str, stiffness: StackStiffness, load: CuttingLoad
) -> None:
    """Add the tip's deflection under the radial force, and its limit."""
    limit = operation.stated_limits.deflection_um
    if limit is None:
        return
    fact.add("deflection_limit_um", limit)
    force = load.radial_force_n
    fact.add("radial_force_n", or_missing(None, f"{at}/load/radial_force_n") if force is None else force)
    deflection = stiffness.deflection_um
    fact.add("deflection_um", or_missing(None, f"{at}/load/radial_force_n") if deflection is None else deflection)
