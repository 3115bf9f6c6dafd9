"""Mass, centre of mass and residual unbalance of each component, stated or from its outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.facts.chain import Chain, Link
from rules.facts.geometry import Geometry, Place
from rules.facts.values import Lack, Maybe, given, lift, merge
from rules.mechanics.mass import Body, Frustum, body_of
from rules.model.components import BaseHolder, Collet, ProfilePiece
from rules.tables import materials

__all__ = ["Masses", "masses_of", "thinnest_wall"]


@dataclass(frozen=True, slots=True)
class Masses:
    """Mass properties of a stack."""

    masses: tuple[Maybe[float], ...]
    """Per link, kg."""
    centres: tuple[Maybe[float], ...]
    """Per link: axial position of the centre of mass, mm from the gauge line."""
    total: Maybe[float]
    """All components, knobs too, kg."""
    centre: Maybe[float]
    """Centre of mass of the links, mm from the gauge line; the knob is left out."""


def thinnest_wall(profile: Sequence[ProfilePiece]) -> float:
    """Return the thinnest wall of an outline, mm; zero or less means the bore breaks through."""
    return min(
        (min(piece.outer_mm, piece.outer_end_mm or piece.outer_mm) - (piece.bore_mm or 0.0)) / 2.0 for piece in profile
    )


def _body(link: Link) -> Maybe[Body]:
    """Mass properties from the outline, where it shows the whole component and the material is stated."""
    part = link.part
    if isinstance(part, BaseHolder):
        # the outline starts at the gauge line; the taper behind it is not drawn, so it tells no mass
        return Lack((f"{link.at}/mass_kg",))
    if not part.profile:
        return Lack((f"{link.at}/profile",))
    if thinnest_wall(part.profile) <= 0.0:
        return Lack((f"{link.at}/profile",))
    if part.material is None:
        return Lack((f"{link.at}/material",))
    pieces = [
        Frustum(piece.length_mm, piece.outer_mm, piece.outer_end_mm or piece.outer_mm, piece.bore_mm or 0.0)
        for piece in part.profile
    ]
    return body_of(pieces, materials.material(part.material).density_kg_m3)


def _mass(link: Link) -> Maybe[float]:
    if link.part.mass_kg is not None:
        return link.part.mass_kg
    body = _body(link)
    return body.mass_kg if isinstance(body, Body) else Lack((f"{link.at}/mass_kg",))


def _centre(link: Link, place: Place) -> Maybe[float]:
    part = link.part
    if part.centre_of_mass_mm is not None:
        own: Maybe[float] = part.centre_of_mass_mm
    else:
        body = _body(link)
        own = body.centre_mm if isinstance(body, Body) else Lack((f"{link.at}/centre_of_mass_mm",))
        if isinstance(own, Lack) and isinstance(part, Collet):
            # a collet is short and about even along its length: its middle serves
            own = lift(lambda face, start: (face - start) / 2.0, place.face, place.start)
    return lift(lambda start, offset: start + offset, place.start, own)


def masses_of(chain: Chain, geometry: Geometry) -> Masses:
    """Collect the mass properties of every component."""
    masses = tuple(_mass(link) for link in chain.links)
    centres = tuple(_centre(link, place) for link, place in zip(chain.links, geometry.places, strict=True))
    knobs = tuple(given(link.part.mass_kg, f"{link.at}/mass_kg") for link in chain.knobs)
    total = lift(lambda *values: sum(values), *masses, *knobs)
    lacking = merge(*masses, *centres)
    centre: Maybe[float] = lacking if lacking else Lack(("/stack/components/-",))
    if lacking is None and masses:
        centre = lift(
            lambda *values: (
                sum(m * z for m, z in zip(values[: len(masses)], values[len(masses) :], strict=True))
                / sum(values[: len(masses)])
            ),
            *masses,
            *centres,
        )
    return Masses(masses, centres, total, centre)
