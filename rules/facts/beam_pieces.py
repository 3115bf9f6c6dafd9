"""The stack as a beam: uniform pieces from the gauge line to the tip, bending stiffness and mass of each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from rules.facts.body_material import density_of, youngs_modulus_of
from rules.facts.chain import Chain, Link
from rules.facts.geometry import Geometry
from rules.facts.masses import Masses
from rules.facts.outlines import OutlinePiece
from rules.facts.values import Lack, Maybe, lift, merge
from rules.mechanics.beam import Segment
from rules.mechanics.beam_section import cone_slices
from rules.model.components import BaseHolder, Collet, Cutter
from rules.model.policy import DEFAULT_POLICY

__all__ = ["BeamPiece", "beam_pieces_of"]

_SHORTEST_MM: Final = 1e-3
"""Pieces shorter than any stated length are rounding, and are left out."""
_NO_STIFFNESS: Final = 1e-15
"""N·mm²: less is what rounding leaves of a wall that is not there."""


class BeamPiece(NamedTuple):
    """A uniform piece of the beam."""

    segment: Segment
    carried_by: tuple[tuple[int, float], ...]
    """Links that carry the bending there, each with its fraction of the stiffness."""


class _Slice(NamedTuple):
    """A uniform slice of one component in its place; of cones such as bend and weigh as the cone does."""

    from_mm: float
    to_mm: float
    bending_mm4: float
    """Fourth power of the outer diameter that bends."""
    body_mm2: float
    """Square of the outer diameter of the body."""
    bore_mm2: float
    """Square of the bore."""


@dataclass(frozen=True, slots=True)
class _Body:
    """One component that bends: its slices in order, modulus times π/64 and density times π/4."""

    link: int
    slices: list[_Slice]
    modulus: float
    density: float


def _flutes(link: Link, tip: float, ratio: float) -> tuple[float, float]:
    """Return where the flutes begin, and by what they weaken the fourth power of the diameter."""
    part = link.part
    if not isinstance(part, Cutter) or part.flute_length_mm is None:
        return math.inf, 1.0
    return tip - part.flute_length_mm, ratio**4


def _parts(piece: OutlinePiece) -> Iterable[tuple[float, float, float]]:
    """Cut a piece into uniform parts: length, fourth power of the diameter that bends, square of the body's."""
    if piece.start_mm == piece.end_mm:
        square = piece.start_mm**2
        return ((piece.to_mm - piece.from_mm, square * square, square),)
    bore = piece.bore_mm
    return (
        (part.length_mm, 64.0 / math.pi * part.second_moment_mm4 + bore**4, 4.0 / math.pi * part.area_mm2 + bore**2)
        for part in cone_slices(piece.to_mm - piece.from_mm, piece.start_mm, piece.end_mm, bore)
    )


def _slices(link: Link, outline: Sequence[OutlinePiece], tip: float, ratio: float) -> list[_Slice]:
    """Cut an outline into uniform slices between gauge line and tip, weaker where flutes are cut."""
    flutes_from, weaker = _flutes(link, tip, ratio)
    found = []
    for piece in outline:
        position, bore = piece.from_mm, piece.bore_mm**2
        for length, bending, body in _parts(piece):
            first, last = max(position, 0.0), min(position + length, tip)
            position += length
            middle = min(max(flutes_from, first), last)
            if middle > first:
                found.append(_Slice(first, middle, bending, body, bore))
            if last > middle >= first:
                found.append(_Slice(middle, last, max(bending * weaker, bore * bore), body, bore))
    return found


def _density(link: Link, index: int, masses: Masses) -> Maybe[float]:
    """Return the density that gives the component its mass; a base holder's taper is no part of the beam."""
    own = masses.outline_masses[index]
    stated = link.part.mass_kg
    density = density_of(link)
    if stated is None or isinstance(link.part, BaseHolder) or isinstance(own, Lack) or isinstance(density, Lack):
        return density
    return density * stated / own


def _spread(mass: float, start: float, face: float) -> tuple[float, float, float] | None:
    """Spread a collet's mass over its length; None where it lies behind the gauge line."""
    return (start, face, mass / (face - start)) if face > max(0.0, start) else None


def beam_pieces_of(
    chain: Chain,
    geometry: Geometry,
    outlines: tuple[Maybe[tuple[OutlinePiece, ...]], ...],
    masses: Masses,
    cuts_mm: Sequence[float],
) -> tuple[Maybe[list[BeamPiece]], Lack | None]:
    """Return the pieces from the gauge line to the tip, and what is lacking of their masses.

    Where one component sits in another both bend as one. A slotted collet carries no bending, only its mass.
    Pieces end at every place of `cuts_mm`.
    """
    if isinstance(geometry.tip, Lack):
        return geometry.tip, None
    tip = geometry.tip
    ratio = (chain.request.policy or DEFAULT_POLICY).flute_bending_ratio
    bodies: list[_Body] = []
    lacking: list[Lack] = []
    mass_lacks: list[Lack] = []
    added: list[tuple[float, float, float]] = []
    for index, link in enumerate(chain.links):
        if isinstance(link.part, Collet):
            place = geometry.places[index]
            weight = lift(_spread, masses.masses[index], place.start, place.face)
            if isinstance(weight, Lack):
                mass_lacks.append(weight)
            elif weight is not None:
                added.append(weight)
            continue
        outline, modulus, density = outlines[index], youngs_modulus_of(link), _density(link, index, masses)
        if isinstance(outline, Lack) or isinstance(modulus, Lack):
            lacking.extend(one for one in (outline, modulus) if isinstance(one, Lack))
            continue
        if isinstance(density, Lack):
            mass_lacks.append(density)
            density = 0.0
        slices = _slices(link, outline, tip, ratio)
        bodies.append(_Body(index, slices, modulus * 1e3 * math.pi / 64.0, density * 1e-9 * math.pi / 4.0))
    if lacking:
        return merge(*lacking) or lacking[0], None
    pieces = _merged(bodies, added, tip, cuts_mm)
    if isinstance(pieces, float) or not pieces:
        uncovered = pieces if isinstance(pieces, float) else 0.0
        return Lack((f"{_covering(chain, geometry, uncovered).at}/profile",)), None
    return pieces, merge(*mass_lacks)


def _covering(chain: Chain, geometry: Geometry, z_mm: float) -> Link:
    """Return the first component that should reach over a place."""
    for link, place in zip(chain.links, geometry.places, strict=True):
        if not isinstance(link.part, Collet) and isinstance(place.face, float) and place.face > z_mm:
            return link
    return chain.links[-1]


def _edges(
    bodies: list[_Body], added: list[tuple[float, float, float]], tip: float, cuts_mm: Sequence[float]
) -> list[float]:
    """Return where pieces begin and end; what lies closer than any stated length is one edge."""
    cuts = {0.0, tip, *(cut for cut in cuts_mm if 0.0 <= cut <= tip)}
    for body in bodies:
        for one in body.slices:
            cuts.add(one.from_mm)
            cuts.add(one.to_mm)
    for start, end, _ in added:
        cuts.update(edge for edge in (start, end) if 0.0 < edge < tip)
    edges = [0.0]
    for edge in sorted(cuts):
        if edge - edges[-1] >= _SHORTEST_MM:
            edges.append(edge)
    if len(edges) > 1:
        edges[-1] = tip if tip - edges[-1] < _SHORTEST_MM else edges[-1]
    return edges


def _merged(
    bodies: list[_Body], added: list[tuple[float, float, float]], tip: float, cuts_mm: Sequence[float]
) -> list[BeamPiece] | float:
    """Lay the slices of all components over each other; a place that none covers is returned instead."""
    at = [0] * len(bodies)
    pieces = []
    for first, last in pairwise(_edges(bodies, added, tip, cuts_mm)):
        middle = 0.5 * (first + last)
        present = []
        for number, body in enumerate(bodies):
            slices = body.slices
            place = at[number]
            while place < len(slices) and slices[place].to_mm <= middle:
                place += 1
            at[number] = place
            if place < len(slices) and slices[place].from_mm <= middle:
                present.append((body, slices[place]))
        extra = sum(mass for start, end, mass in added if start < middle < end)
        piece = _piece(present, last - first, extra)
        if piece is None:
            return middle
        pieces.append(piece)
    return pieces


def _piece(present: list[tuple[_Body, _Slice]], length: float, mass: float) -> BeamPiece | None:
    """Add up the components at one place, the outer one first; None where nothing is left to bend."""
    stiffness = 0.0
    carried = []
    for place, (body, one) in enumerate(present):
        hole = one.bore_mm2
        if place + 1 < len(present):
            hole = max(hole, present[place + 1][1].body_mm2)
        own = body.modulus * (one.bending_mm4 - hole * hole)
        if own > 0.0:
            stiffness += own
            carried.append((body.link, own))
        if one.body_mm2 > hole:
            mass += body.density * (one.body_mm2 - hole)
    if stiffness < _NO_STIFFNESS:
        return None
    segment = Segment(length, stiffness, mass)
    if len(carried) == 1:
        return BeamPiece(segment, ((carried[0][0], 1.0),))
    return BeamPiece(segment, tuple((link, own / stiffness) for link, own in carried))
